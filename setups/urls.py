"""The library's addresses, grouped by what they act on."""

from django.urls import path

from setups.views import (
    catalogue,
    compare,
    disputes,
    drafts,
    exports,
    find,
    fit,
    imports,
    measure,
    measure_car,
    photos,
    post,
    setup,
    setups,
    tools,
)

urlpatterns = [
    # Bodies
    path("", find.find, name="find"),
    path("bodies/<slug:slug>/", fit.body, name="body"),
    path("bodies/<slug:slug>/check/", fit.check, name="check"),
    path("bodies/<slug:slug>/setups/", fit.setups_of, name="body-setups"),
    path("compare/", compare.compare_cars, name="compare"),
    # Measurements
    path("bodies/<slug:slug>/measure/<slug:quantity>/", measure.measure_body, name="measure-body"),
    path("parts/<slug:slug>/measure/<slug:quantity>/", measure.measure_part, name="measure-part"),
    path("measurements/<int:number>/withdraw/", measure.withdraw, name="withdraw-measurement"),
    # Setups
    path("setups/", setups.setups, name="setups"),
    path("setups/new/", drafts.new, name="new-setup"),
    path("setups/mine/", drafts.mine, name="my-setups"),
    path("setups/<int:number>/edit/", post.edit, name="edit-setup"),
    path("setups/<int:number>/discard/", drafts.discard, name="discard-draft"),
    path("setups/<int:number>/photos/", photos.add, name="setup-photos"),
    path("setups/<int:number>/photos/<int:photo>/caption/", photos.caption, name="caption-photo"),
    path("setups/<int:number>/photos/<int:photo>/remove/", photos.remove, name="remove-photo"),
    path("setups/<int:number>/photos/<int:photo>.webp", photos.photo, name="photo"),
    path(
        "setups/<int:number>/photos/<int:photo>-small.webp", photos.photo, {"small": True}, name="photo-small"
    ),
    path("setups/<int:number>/", setup.setup, name="setup"),
    path("setups/<int:number>/revisions/<int:revision>/", setup.revision, name="revision"),
    path("setups/<int:number>/measure/<slug:quantity>/", measure_car.measure_car, name="measure-car"),
    path("setups/<int:number>/withdraw/", setup.withdraw, name="withdraw-setup"),
    path("setups/<int:number>/restore/", setup.restore, name="restore-setup"),
    # Disputes
    path("stewards/", disputes.stewards, name="stewards"),
    path("disputes/<int:number>/", disputes.dispute, name="dispute"),
    # Platforms
    path("platforms/", catalogue.platforms, name="platforms"),
    path("platforms/<slug:slug>/", catalogue.platform, name="platform"),
    # Parts
    path("parts/", catalogue.parts, name="parts"),
    path("parts/<slug:slug>/", catalogue.part, name="part"),
    # In the pits
    path("gearing/", tools.gearing, name="gearing"),
    path("balance/", tools.balance, name="balance"),
    # A member's spreadsheet
    path("imports/", imports.imports, name="imports"),
    path("imports/loaded/", imports.loaded, name="import-loaded"),
    path("imports/<str:what>.csv", imports.template, name="import-template"),
    path("exports/", exports.exports, name="exports"),
    path("exports/<str:what>.<str:how>", exports.export, name="export"),
]
