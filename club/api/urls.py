"""The club's addresses of the REST interface."""

from django.urls import include, path, re_path
from rest_framework.routers import SimpleRouter

from club.api import garage, kit
from setups.api.views import CONTENTS_OF_V1

router = SimpleRouter(use_regex_path=False)
router.register("garage/parts", garage.OwnedParts, "api-owned-part")
router.register("garage/bodies", garage.OwnedBodies, "api-owned-body")
router.register("garage/chassis", garage.AllChassis, "api-chassis")

CONTENTS_OF_V1 |= {
    "garage-parts": "api-owned-part-list",
    "garage-bodies": "api-owned-body-list",
    "garage-chassis": "api-chassis-list",
    "kit-plan": "api-kit-plan",
}

urlpatterns = [
    path("v1/", include(router.urls)),
    re_path(r"^v1/kit-plan/?$", kit.KitPlan.as_view(), name="api-kit-plan"),
]
