"""Addresses of the REST interface."""

from django.urls import include, path, re_path
from rest_framework.routers import SimpleRouter

from . import comparing, computing, disputes, drafts, measurements, photos, schema, setups, standing, views

router = SimpleRouter(use_regex_path=False)
router.register("bodies", views.Bodies, "api-body")
router.register("parts", views.Parts, "api-part")
router.register("platforms", views.Platforms, "api-platform")
router.register("makers", views.Makers, "api-maker")
router.register("configurations", views.Configurations, "api-configuration")
router.register("setups", setups.Setups, "api-setup")
router.register("setups/<int:setup>/revisions", setups.Revisions, "api-revision")
router.register("measurements", measurements.Measurements, "api-measurement")
router.register("disputes", disputes.Disputes, "api-dispute")

A_SETUP, A_REVISION = "v1/setups/<int:setup>/", "v1/setups/<int:setup>/revisions/<int:number>/"

urlpatterns = [
    path("v1/", views.Contents.as_view(), name="api-root"),
    path("v1/", include(router.urls)),
    path(
        "v1/drafts/",
        drafts.Drafts.as_view({"get": "list", "post": "create"}, detail=False, basename="api-draft"),
        name="api-draft-list",
    ),
    # Of one setup
    path(f"{A_SETUP}draft/", drafts.DraftOfSetup.as_view(), name="api-draft"),
    path(f"{A_SETUP}standing/", standing.StandingOfSetup.as_view(), name="api-standing"),
    path(f"{A_SETUP}record/", setups.Record.as_view(), name="api-record"),
    path(f"{A_SETUP}photos/", photos.Photos.as_view(), name="api-photos"),
    path(f"{A_SETUP}photos/<int:photo>/", photos.OnePhoto.as_view(), name="api-photo"),
    path(f"{A_SETUP}withdraw/", setups.Withdraw.as_view(), name="api-withdraw-setup"),
    path(f"{A_SETUP}restore/", setups.Restore.as_view(), name="api-restore-setup"),
    path(f"{A_REVISION}changes/", comparing.Changes.as_view(), name="api-changes"),
    # Decisions about measurements
    path(
        "v1/measurements/<int:pk>/withdraw/",
        measurements.WithdrawMeasurement.as_view(),
        name="api-withdraw-measurement",
    ),
    path("v1/disputes/<int:pk>/settle/", disputes.Settle.as_view(), name="api-settle"),
    # Computing, with or without the slash: a redirect would lose what was posted.
    re_path(r"^v1/fit/?$", computing.Fit.as_view(), name="api-fit"),
    re_path(r"^v1/solve/?$", computing.Solve.as_view(), name="api-solve"),
    re_path(r"^v1/compare/?$", comparing.Compare.as_view(), name="api-compare"),
    path("problems/", views.Problems.as_view(), name="api-problems"),
    path("problems/<str:code>", views.OneProblem.as_view(), name="api-problem"),
    path("schema/", schema.Schema.as_view(), name="api-schema"),
    path("schema/openapi.json", schema.SchemaJson.as_view(), name="api-schema-json"),
    path("schema/openapi.yaml", schema.SchemaYaml.as_view(), name="api-schema-yaml"),
    path("docs/", schema.docs, name="api-docs"),
]
