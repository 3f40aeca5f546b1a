"""The customer's pages."""

from django.urls import path

from . import views

app_name = "customer"
urlpatterns = [
    path("", views.home, name="home"),
    path("vehicle/<int:vehicle_id>/", views.vehicle, name="vehicle"),
    path("choices/", views.choices, name="choices"),
]
