"""Addresses, made from the table of rights."""

from __future__ import annotations

from importlib import import_module

from django.urls import URLPattern, path

from drybank.web.guard import guarded
from drybank.web.rights import PAGES, Page


def _pattern(page: Page) -> URLPattern:
    module, _, name = page.view.partition(".")
    view = getattr(import_module(f"drybank.web.views.{module}"), name)
    return path(page.path, guarded(page, view), name=page.name)


urlpatterns = [_pattern(page) for page in PAGES]
handler404 = "drybank.web.speech.not_found"
handler500 = "drybank.web.speech.broken"
handler400 = "drybank.web.speech.refused"
