"""Before every call: who asks (a session or a device token), how often, and whether a row of the table lets them."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from ninja.utils import check_csrf

from drybank.desk.stamp import Pen
from drybank.web import devices, site
from drybank.web.api import limits
from drybank.web.api.said import Refused, answer, not_found
from drybank.web.models import EVERY_STORE, DeviceToken, Membership, Person
from drybank.web.rights import Call, is_asked_again, kinds_of

SAFE = ("GET", "HEAD")
LOG_IN = "Log in again, or send a device token that still holds."


class ApiSeat:
    """Who asks, for which store, with which roles."""

    def __init__(self, person: Person, store: str, token: DeviceToken | None, address: str) -> None:
        self.person, self.store, self.token, self.address = person, store, token, address
        held = Membership.objects.filter(person=person)
        self.held = [m for m in held if token is None or m.store in (token.store, EVERY_STORE)]
        self.roles = self.roles_in(store) if store else frozenset()
        here = (m.partner for m in self.held if m.store in (store, EVERY_STORE))
        self.partners = tuple(sorted({p for p in here if p}))

    def roles_in(self, store: str) -> frozenset[str]:
        if self.token is not None and self.token.store != store:
            return frozenset()
        return frozenset(m.role for m in self.held if m.store in (store, EVERY_STORE))

    @property
    def owns_book(self) -> bool:
        return self.token is None and any(m.role == "owner" and m.store == EVERY_STORE for m in self.held)

    @property
    def sees_money(self) -> bool:
        from drybank.web.rights import may

        return may("balance", self.roles)

    @property
    def kinds(self) -> frozenset[str]:
        return kinds_of(self.roles)

    @property
    def is_asked(self) -> bool:
        return is_asked_again(self.roles)

    def stores(self) -> tuple[str, ...]:
        return tuple(s for s in site.book().stores() if self.roles_in(s))

    def pen(self, label: str = "") -> Pen:
        """Signs what is entered: who, from which device; with a token, who made it, for a maker could have kept a copy."""
        if self.token is not None:
            origin = f"phone {self.token.label} (token {self.token.pk}, made by {self.token.made_by})"
        else:
            name = " ".join(label.split())[:40]
            origin = f"phone {name}" if name and name.isprintable() else f"phone {self.address}"
        return Pen(by=self.person.handle, origin=origin[:200], clock=site.now)


def address_of(request: HttpRequest) -> str:
    """Where a request comes from; behind a proxy the server has put in what the proxy says."""
    return str(request.META.get("REMOTE_ADDR", ""))[:45]


def _wait(what: str, who: str, limit: limits.Limit) -> None:
    wait = limits.buckets.take(what, who, limit)
    if wait:
        raise Refused(
            429,
            "Too many requests.",
            mend=f"Wait {wait} s and send again; nothing was lost.",
            code="too-often",
            wait_s=wait,
        )


def _who(request: HttpRequest, address: str) -> tuple[Person, DeviceToken | None]:
    said = request.META.get("HTTP_AUTHORIZATION", "")
    if said:
        return _by_token(said, address)
    person = request.user
    if not isinstance(person, Person) or not person.is_active:
        raise Refused(401, "You are not logged in.", mend=LOG_IN, code="log-in")
    if request.method not in SAFE and check_csrf(request) is not None:
        raise Refused(
            401,
            "The form mark is missing or too old.",
            mend="Fetch /api/v1/me and send its csrf as X-CSRFToken.",
            code="csrf",
        )
    _wait("person", str(person.pk), limits.BY_PERSON)
    return person, None


def _by_token(said: str, address: str) -> tuple[Person, DeviceToken]:
    if limits.buckets.left("stranger", address, limits.BY_STRANGER) < 1:
        _wait("stranger", address, limits.BY_STRANGER)
    scheme, _, secret = said.partition(" ")
    token = devices.token_of(secret.strip(), site.now()) if scheme.lower() == "bearer" else None
    if token is None:
        limits.buckets.take("stranger", address, limits.BY_STRANGER)
        raise Refused(
            401, "This token is not known, has expired or was ended.", mend="Ask for a new one.", code="token"
        )
    _wait("token", str(token.pk), limits.BY_TOKEN)
    return token.person, token


def seat_for(request: HttpRequest, call: Call, store: str) -> ApiSeat | None:
    """The seat of who asks; `Refused` where they may not."""
    address = address_of(request)
    _wait("address", address, limits.BY_ADDRESS)
    if call.scope == "anyone":
        return None
    person, token = _who(request, address)
    seat = ApiSeat(person, store, token, address)
    if call.scope == "book" and not seat.owns_book:
        raise not_found()
    if call.scope == "store" and (not seat.roles & set(call.roles) or not site.book().tip(store)):
        raise not_found()
    return seat


def guarded(call: Call, view: Callable[..., Any]) -> Callable[..., HttpResponse]:
    """The view with its row's rule in front of it, under a signature that says what comes from the address."""

    def checked(request: HttpRequest, **given: Any) -> HttpResponse:
        seat = seat_for(request, call, str(given.get("store", "")))
        words = {name: value for name, value in given.items() if name != "store"}
        return answer(view(request, seat, **words))

    said = inspect.signature(view, eval_str=True)
    named = list(said.parameters.values())
    words = [p.replace(kind=inspect.Parameter.KEYWORD_ONLY) for p in named[2:]]
    store = inspect.Parameter("store", inspect.Parameter.KEYWORD_ONLY, annotation=str)
    request = inspect.Parameter("request", inspect.Parameter.POSITIONAL_OR_KEYWORD)
    in_path = [store] if "{store}" in call.path else []
    checked.__signature__ = inspect.Signature([request, *in_path, *words])  # type: ignore[attr-defined]
    checked.__name__, checked.__doc__ = call.name.replace("-", "_"), view.__doc__
    return checked
