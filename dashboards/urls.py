"""Addresses of the questions over the whole fleet."""

from django.urls import path

from dashboards.views import watch

urlpatterns = [
    path("", watch.watch, name="watch-list"),
    path("watch-list.xlsx", watch.watch_sheet, name="watch-list-sheet"),
]
