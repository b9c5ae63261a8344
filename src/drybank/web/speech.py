"""What a page says around its answer: the language of a request, the frame, and plain sentences for what went wrong."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from drybank.records.errors import BookError, DrybankError, Missing

if TYPE_CHECKING:
    from drybank.web.guard import Seat

log = logging.getLogger("drybank.web")
TABS = (
    ("today", gettext_lazy("Today")), ("store", gettext_lazy("Store")), ("plan", gettext_lazy("Plan")),
    ("balance", gettext_lazy("Balance")), ("rounds", gettext_lazy("Rounds")), ("cash", gettext_lazy("Cash")),
    ("statements", gettext_lazy("Statements")), ("book", gettext_lazy("Book")), ("set-up", gettext_lazy("Set-up")),
)  # fmt: skip
TAB_OF = {
    "waiting": "store", "drying": "store", "income": "statements",
    "pocket": "store", "people": "set-up", "devices": "set-up", "entry": "book", "correct": "book", "verify": "book", "deposit": "cash", "readings": "rounds",
    "given-back": "cash", "set-pocket": "store", "change-day": "plan", "plan-bank": "plan", "field-tests": "rounds", "field-test": "rounds",
    "weeks": "statements", "week": "statements", "bills": "statements", "sheet": "set-up", "open-names": "balance", "set-up-basics": "set-up", "set-up-tariff": "set-up",
}  # fmt: skip


class Language:
    """Speaks the person's language, else the one chosen before log-in, else the browser's."""

    def __init__(self, answer: Callable[[HttpRequest], HttpResponse]) -> None:
        self.answer = answer

    def __call__(self, request: HttpRequest) -> HttpResponse:
        chosen = getattr(request.user, "language", "") or request.COOKIES.get(settings.LANGUAGE_COOKIE_NAME, "")
        if chosen not in dict(settings.LANGUAGES):
            chosen = translation.get_language_from_request(request)
        with translation.override(chosen):
            request.LANGUAGE_CODE = chosen
            response = self.answer(request)
            response.headers.setdefault("Content-Language", chosen)
        return response


class Faults:
    """Every fault becomes a plain sentence on a page; no traceback reaches a person."""

    def __init__(self, answer: Callable[[HttpRequest], HttpResponse]) -> None:
        self.answer = answer

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.answer(request)

    def process_exception(self, request: HttpRequest, fault: Exception) -> HttpResponse | None:
        if isinstance(fault, Missing):
            return not_found(request, fault)
        if isinstance(fault, DrybankError):
            status = 503 if type(fault) is BookError else 422
            return page(request, "web/fault.html", {"sentences": fault.sentence().splitlines()}, status=status)
        return None


def page(request: HttpRequest, template: str, context: dict[str, Any], *, status: int = 200) -> HttpResponse:
    return render(request, template, context, status=status)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """No such page, or none for this person: the same words for both."""
    if request.path.startswith("/api/"):
        from drybank.web.api import said

        return said.refuse(request, said.not_found())
    return page(request, "web/not_found.html", {}, status=404)


def refused(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return page(request, "web/fault.html", {"sentences": [_("This request cannot be read.")]}, status=400)


def broken(request: HttpRequest) -> HttpResponse:
    """A fault of our own; the log has it."""
    sentence = _(
        "Something failed that Drybank did not foresee. Nothing was half stored. Try again; if it stays, see the log."
    )
    return page(request, "web/fault.html", {"sentences": [sentence]}, status=500)


def frame_of(seat: Seat | None) -> dict[str, Any]:
    """Tabs open to this person here, their stores, and any doubt about the book."""
    from drybank.web import site

    if seat is None or seat.person is None:
        return {"tabs": [], "my_stores": []}
    now = site.now()
    names = {s: site.book().store_at(s, now).name for s in seat.stores()}
    here = TAB_OF.get(seat.page.name, seat.page.name)
    tabs = [(name, words, name == here) for name, words in TABS if seat.store and _is_open(seat, name)]
    return {
        "seat": seat, "tabs": tabs, "store_key": seat.store, "store_name": names.get(seat.store, ""),
        "my_stores": list(names.items()), "doubt": site.book().doubts.get(seat.store, "") if seat.store else "",
    }  # fmt: skip


def _is_open(seat: Seat, name: str) -> bool:
    from drybank.web.rights import BY_NAME

    return name in BY_NAME and seat.may(name)
