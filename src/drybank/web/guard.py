"""Before every page: logged in, a store of this book, a role that may open it. Everybody else gets "not found"."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any
from urllib.parse import urlencode

from django.contrib.auth import logout
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotAllowed, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone

from drybank.desk.stamp import Pen
from drybank.web import site
from drybank.web.models import EVERY_STORE, Membership, Person
from drybank.web.rights import BY_NAME, Page, may

View = Callable[..., HttpResponse]


class Seat:
    """Who asks, for which store, with which roles: everything a view needs beside the desk."""

    def __init__(self, request: HttpRequest, page: Page, store: str = "") -> None:
        self.request, self.page, self.store = request, page, store
        self.person: Person | None = request.user if isinstance(request.user, Person) else None
        self.held = list(Membership.objects.filter(person=self.person)) if self.person else []
        self.roles = frozenset(m.role for m in self._here(store)) if store else frozenset()
        self.partners = tuple(sorted({m.partner for m in self._here(store) if m.partner}))

    def _here(self, store: str) -> list[Membership]:
        return [m for m in self.held if m.store in (store, EVERY_STORE)]

    @property
    def owns_book(self) -> bool:
        return any(m.role == "owner" and m.store == EVERY_STORE for m in self.held)

    @property
    def sees_money(self) -> bool:
        """Findings of cash and what was expected: only those who may open the balance."""
        return "balance" in BY_NAME and may("balance", self.roles)

    def stores(self) -> tuple[str, ...]:
        """Stores of the book in which this person has any role."""
        return tuple(s for s in site.book().stores() if self._here(s))

    def roles_in(self, store: str) -> frozenset[str]:
        return frozenset(m.role for m in self._here(store))

    def may(self, page: str) -> bool:
        return may(page, self.roles)

    def pen(self) -> Pen:
        """Signs what is entered: who, and from where."""
        assert self.person is not None
        address = self.request.META.get("REMOTE_ADDR", "")
        return Pen(by=self.person.handle, origin=f"page {address}"[:200], clock=site.now)


def guarded(page: Page, view: View) -> View:
    """The view with its row's rule in front of it."""

    @wraps(view)
    def checked(request: HttpRequest, **given: Any) -> HttpResponse:
        if request.method not in (*page.methods, "HEAD"):
            return HttpResponseNotAllowed(page.methods)
        if page.scope != "anyone" and not request.user.is_authenticated:
            return _to_log_in(request)
        if request.user.is_authenticated and not isinstance(request.user, Person):
            logout(request)
        store = given.pop("store", "")
        seat = Seat(request, page, store)
        _check(page, seat, store)
        request.seat = seat  # type: ignore[attr-defined]
        if store:
            timezone.activate(site.book().store_at(store, site.now()).time_zone)
        try:
            response = view(request, seat, **given)
        finally:
            timezone.deactivate()
        if page.scope != "anyone":
            response.headers["Cache-Control"] = "private, no-store"
        return response

    return checked


def _check(page: Page, seat: Seat, store: str) -> None:
    if page.scope == "book" and not seat.owns_book:
        raise Http404
    if page.scope == "store" and (not may(page.name, seat.roles) or store not in site.book().stores()):
        raise Http404


def _to_log_in(request: HttpRequest) -> HttpResponse:
    where = f"{reverse('log-in')}?{urlencode({'next': request.get_full_path()})}"
    if request.headers.get("HX-Request"):
        return HttpResponse(status=401, headers={"HX-Redirect": where})
    return HttpResponseRedirect(where)


def frame(request: HttpRequest) -> dict[str, Any]:
    """What every page's frame shows: the person's stores, the pages open to them here, doubts of the book."""
    from drybank.web.speech import frame_of

    seat = getattr(request, "seat", None)
    return frame_of(seat) | {"is_demo": site.standing.is_demo, "asset_mark": ""}
