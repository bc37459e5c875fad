"""Addresses of the REST interface."""

from django.urls import include, path, re_path
from rest_framework.routers import SimpleRouter

from . import computing, schema, views

router = SimpleRouter(use_regex_path=False)
router.register("bodies", views.Bodies, "api-body")
router.register("parts", views.Parts, "api-part")
router.register("platforms", views.Platforms, "api-platform")
router.register("makers", views.Makers, "api-maker")
router.register("configurations", views.Configurations, "api-configuration")

urlpatterns = [
    path("v1/", views.Contents.as_view(), name="api-root"),
    path("v1/", include(router.urls)),
    # With or without the slash: a redirect would lose what was posted.
    re_path(r"^v1/fit/?$", computing.Fit.as_view(), name="api-fit"),
    re_path(r"^v1/solve/?$", computing.Solve.as_view(), name="api-solve"),
    path("problems/", views.Problems.as_view(), name="api-problems"),
    path("problems/<str:code>", views.OneProblem.as_view(), name="api-problem"),
    path("schema/", schema.Schema.as_view(), name="api-schema"),
    path("schema/openapi.json", schema.SchemaJson.as_view(), name="api-schema-json"),
    path("schema/openapi.yaml", schema.SchemaYaml.as_view(), name="api-schema-yaml"),
    path("docs/", schema.docs, name="api-docs"),
]
