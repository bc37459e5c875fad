"""The garage's addresses."""

from django.urls import path

from club.garage import views

urlpatterns = [
    path("", views.garage, name="garage"),
    # Parts
    path("parts/add/", views.add_part, name="garage-add-part"),
    path("parts/<int:pk>/", views.owned_part, name="owned-part"),
    path("parts/<int:pk>/remove/", views.remove_part, name="remove-part"),
    # Bodies
    path("bodies/add/", views.add_body, name="garage-add-body"),
    path("bodies/<int:pk>/remove/", views.remove_body, name="remove-body"),
    # Chassis
    path("chassis/new/", views.new_chassis, name="new-chassis"),
    path("chassis/<int:pk>/", views.chassis, name="chassis"),
    path("chassis/<int:pk>/fits/", views.fits, name="chassis-fits"),
    path("chassis/<int:pk>/remove/", views.remove_chassis, name="remove-chassis"),
    # Planning
    path("for/<slug:slug>/", views.needs, name="garage-needs"),
    path("kit/", views.kit, name="kit"),
]
