"""Desk results that several pages show, each worked out once while the book stands still, and seen with one's own eyes only.

Findings of cash go to those who may open the balance, and to nobody else.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import wraps
from typing import TYPE_CHECKING, Any, Protocol

import msgspec
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from drybank.desk.stamp import Pen
from drybank.web import site
from drybank.web.shown import is_ready, kept
from drybank.web.speech import page

if TYPE_CHECKING:
    from drybank.desk.drawing import Chart
    from drybank.desk.takings import MoneyTrail
    from drybank.desk.upkeep import Upkeep
    from drybank.desk.use import StoreUse
    from drybank.records.balance import BalanceResult
    from drybank.records.finding import Finding
    from drybank.web.guard import Seat

_SAYS = re.compile(r' (?:role|aria-[a-z]+)="[^"]*"')


def balance(store: str, since: str = "", until: str = "") -> BalanceResult:
    from drybank.desk.balancing import balance_store
    from drybank.desk.standing import parse_day

    days = {"since": parse_day(since, "The first day"), "until": parse_day(until, "The last day")}
    return kept(store, "balance", lambda: balance_store(site.book(), store, site.now(), **days), since, until)


def trail(store: str) -> MoneyTrail:
    from drybank.desk.takings import money_trail

    return kept(store, "trail", lambda: money_trail(site.book(), store, site.now()))


def use(store: str) -> StoreUse:
    from drybank.desk.use import use_of

    return kept(store, "use", lambda: use_of(site.book(), store, site.now()))


def upkeep(store: str) -> Upkeep:
    from drybank.desk.upkeep import upkeep as of

    return kept(store, "upkeep", lambda: of(site.book(), store, Pen(by="page", clock=site.now)))


class Eyes(Protocol):
    """Who looks, at which store: a seat at a page or at a call."""

    @property
    def store(self) -> str: ...
    @property
    def sees_money(self) -> bool: ...


def findings(seat: Eyes) -> tuple[Finding, ...]:
    """What this person may see of what is wrong here."""
    seen = upkeep(seat.store).look_at
    if not seat.sees_money:
        return seen
    return (*balance(seat.store).findings, *trail(seat.store).findings, *seen)


def svg(chart: Chart, store: str, *, width: int = 560, height: int = 240) -> str:
    """A chart as SVG for the page, its title left to the page; its colours follow the page's by the look's own rules."""
    from drybank.desk.drawing import draw

    bare = msgspec.structs.replace(chart, title="")

    def made() -> str:
        # The page says in words what the chart shows; the drawing's own labels would say it twice, in one language.
        return _SAYS.sub("", draw(bare, width=width, height=height).decode())

    return kept(store, "svg", made, chart.title, chart.alt, width, height)


def patient(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A view over findings: where they are not at hand, the page comes at once, says what is worked out, and follows."""

    @wraps(view)
    def shown(request: HttpRequest, seat: Seat, **given: Any) -> HttpResponse:
        is_asked = bool(request.headers.get("HX-Request")) or "wait" in request.GET or request.method == "POST"
        if not is_asked and not _at_hand(seat):
            what = _("Working out what is due, from hours, loads and dates.")
            if seat.sees_money:
                what = _("Working out hours against coins, coins against cash, and what is due.")
            return page(request, "web/working_out.html", {"what": what})
        return view(request, seat, **given)

    return shown


def _at_hand(seat: Seat) -> bool:
    if not is_ready(seat.store, "upkeep"):
        return False
    return not seat.sees_money or (is_ready(seat.store, "balance", "", "") and is_ready(seat.store, "trail"))
