"""The library's addresses, grouped by what they act on."""

from django.urls import path

from setups.views import catalogue, compare, find, fit, imports, measure, tools

urlpatterns = [
    # Bodies
    path("", find.find, name="find"),
    path("bodies/<slug:slug>/", fit.body, name="body"),
    path("bodies/<slug:slug>/check/", fit.check, name="check"),
    path("compare/", compare.compare_cars, name="compare"),
    # Measurements
    path("bodies/<slug:slug>/measure/<slug:quantity>/", measure.measure_body, name="measure-body"),
    path("parts/<slug:slug>/measure/<slug:quantity>/", measure.measure_part, name="measure-part"),
    path("measurements/<int:number>/withdraw/", measure.withdraw, name="withdraw-measurement"),
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
]
