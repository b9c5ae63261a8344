"""Addresses, made from the tables of rights: the pages, and the calls under /api/v1/."""

from __future__ import annotations

from importlib import import_module

from django.urls import URLPattern, URLResolver, path

from drybank.web.api.app import api
from drybank.web.guard import guarded
from drybank.web.rights import PAGES, Page


def _pattern(page: Page) -> URLPattern:
    module, _, name = page.view.partition(".")
    view = getattr(import_module(f"drybank.web.views.{module}"), name)
    return path(page.path, guarded(page, view), name=page.name)


urlpatterns: list[URLPattern | URLResolver] = [*map(_pattern, PAGES), path("api/v1/", api().urls)]
handler404 = "drybank.web.speech.not_found"
handler500 = "drybank.web.speech.broken"
handler400 = "drybank.web.speech.refused"
