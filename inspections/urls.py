"""Addresses of one bearing and of how its dates come about."""

from django.urls import path

from inspections.views import bearing, method

urlpatterns = [
    path("bearings/<str:pump>/<str:position>/", bearing.bearing, name="bearing"),
    path("b/<uuid:pk>/", bearing.label, name="bearing-label"),
    path("method/", method.method, name="method"),
]
