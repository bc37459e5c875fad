"""The site's addresses, a table of contents."""

from django.urls import include, path

from club import views

handler400 = "club.refusals.bad_request"
handler403 = "club.refusals.not_allowed"
handler404 = "club.refusals.not_found"
handler500 = "club.refusals.failed"

urlpatterns = [
    path("account/sign-in/", views.sign_in, name="sign-in"),
    path("account/sign-out/", views.sign_out, name="sign-out"),
    path("health/", views.health, name="health"),
    path("garage/", include("club.garage.urls")),
    path("api/", include("setups.api.urls")),
    path("", include("setups.urls")),
]
