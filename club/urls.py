"""The site's addresses, a table of contents."""

from django.urls import include, path

urlpatterns = [
    path("", include("setups.urls")),
]
