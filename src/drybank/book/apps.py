"""The book as a Django application."""

from django.apps import AppConfig


class BookConfig(AppConfig):
    """Named ``book`` in the migrations table of every book."""

    name = "drybank.book"
    label = "book"
    default_auto_field = "django.db.models.BigAutoField"
