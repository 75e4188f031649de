"""Addresses of one bearing and of how its dates come about."""

from django.urls import path

from inspections.views import method
from inspections.views.bearing import bearing, label

urlpatterns = [
    path("bearings/<str:pump>/<str:position>/", bearing, name="bearing"),
    path("b/<uuid:pk>/", label, name="bearing-label"),
    path("method/", method.method, name="method"),
]
