"""The site's addresses, a table of contents."""

from django.urls import include, path

from club import offline, views, wellknown
from club.accounts.views import member
from club.racing.views.check import setup_classes
from club.reader import choose

handler400 = "club.refusals.bad_request"
handler403 = "club.refusals.not_allowed"
handler404 = "club.refusals.not_found"
handler429 = "club.refusals.too_often"
handler500 = "club.refusals.failed"

urlpatterns = [
    path("account/", include("club.accounts.urls")),
    path("members/<str:username>/", member, name="member"),
    path("reader/", choose, name="choose-reader"),
    path(".well-known/security.txt", wellknown.security, name="security-txt"),
    path(".well-known/change-password", wellknown.change_password, name="well-known-change-password"),
    path("manifest.webmanifest", offline.manifest, name="manifest"),
    path("worker.js", offline.worker, name="worker"),
    path("offline/", offline.offline, name="offline"),
    path("health/", views.health, name="health"),
    path("health/live/", views.live, name="live"),
    path("health/ready/", views.ready, name="ready"),
    path("garage/pages.json", offline.garage_pages, name="garage-pages"),
    path("garage/", include("club.garage.urls")),
    path("classes/", include("club.racing.urls")),
    path("setups/<int:number>/classes/", setup_classes, name="setup-classes"),
    path("events/<slug:slug>/pages.json", offline.event_pages, name="event-pages"),
    path("events/", include("club.racing.events.urls")),
    path("api/", include("club.api.urls")),
    path("api/", include("setups.api.urls")),
    path("", include("setups.urls")),
]
