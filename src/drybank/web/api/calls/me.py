"""Who asks, and what this interface is."""

from __future__ import annotations

from typing import Any

import msgspec
from django.http import HttpRequest
from django.middleware.csrf import get_token

from drybank.web import site
from drybank.web.api.app import describes
from drybank.web.api.guard import ApiSeat
from drybank.web.rights import kinds_of


class StoreOpen(msgspec.Struct, frozen=True, kw_only=True):
    """A store in which this person has a role, and the kinds of entry they may send there."""

    store: str
    name: str
    roles: tuple[str, ...]
    kinds: tuple[str, ...]


class Me(msgspec.Struct, frozen=True, kw_only=True):
    """Who asks. ``csrf`` goes back as X-CSRFToken with whatever a session sends; ``now`` is the book's clock."""

    handle: str
    name: str
    language: str
    csrf: str
    now: str
    stores: tuple[StoreOpen, ...]


@describes(gives=Me)
def me(request: HttpRequest, seat: ApiSeat) -> Me:
    """Who asks, their stores, roles and kinds of entry."""
    now = site.now()
    stores = tuple(
        StoreOpen(
            store=s, name=site.book().store_at(s, now).name, roles=tuple(sorted(seat.roles_in(s))),
            kinds=tuple(sorted(kinds_of(seat.roles_in(s)))),
        )
        for s in seat.stores()
    )  # fmt: skip
    csrf = "" if seat.token is not None else get_token(request)
    person = seat.person
    return Me(
        handle=person.handle, name=person.name, language=person.language, csrf=csrf, now=f"{now:%Y-%m-%dT%H:%M:%S.%fZ}", stores=stores
    )  # fmt: skip


@describes(gives=dict)
def described(_request: HttpRequest, _seat: None) -> dict[str, Any]:
    """This description, in OpenAPI's form."""
    from drybank.web.api.app import description

    return description()
