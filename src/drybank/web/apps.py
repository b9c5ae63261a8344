"""The app's place in Django."""

from django.apps import AppConfig


class Pages(AppConfig):
    name = "drybank.web"
    label = "web"
    verbose_name = "Drybank"
