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
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from drybank.desk.drawing import LOOK
from drybank.desk.stamp import Pen
from drybank.web import site
from drybank.web.said import said
from drybank.web.shown import is_ready, kept
from drybank.web.speech import page

if TYPE_CHECKING:
    from drybank.desk.drawing import Chart
    from drybank.desk.takings import MoneyTrail
    from drybank.desk.traffic import StoreWeek
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


def week(store: str) -> StoreWeek:
    from drybank.desk.traffic import store_week

    return kept(store, "store week", lambda: store_week(site.book(), store, Pen(by="page", clock=site.now)))


def findings(seat: Eyes) -> tuple[Finding, ...]:
    """What this person may see of what is wrong here."""
    seen = upkeep(seat.store).look_at
    if not seat.sees_money:
        return seen
    return (*balance(seat.store).findings, *trail(seat.store).findings, *seen)


NARROW, NARROW_INNER = 316, 232
"""Width of a drawing that fits a phone of 360 px, and of one panel of several."""


def svg(chart: Chart, store: str, *, width: int = 560, height: int = 240) -> str:
    """A chart as SVG for the page, wide and narrow, its title left to the page; its colours follow the page's by the look's own rules."""
    from drybank.desk.drawing import draw, spoken

    language = (get_language() or "en").split("-")[0]
    words = chart.spec if language == "en" else spoken(chart.spec, said)
    bare = msgspec.structs.replace(chart, title="", spec=words)
    slim = msgspec.structs.replace(bare, spec=_slim(words))

    def made() -> str:
        # The page says in words what the chart shows; the drawing's own labels would say it twice, in one language.
        wide, narrow = (
            _SAYS.sub("", draw(c, width=w, height=height, language=language).decode())
            for c, w in ((bare, width), (slim, NARROW))
        )
        return f'<div class="on-wide">{wide}</div><div class="on-narrow">{narrow}</div>'

    return kept(store, "svg", made, language, chart.title, chart.alt, width, height)


def _slim(spec: dict[str, Any]) -> dict[str, Any]:
    """The same description for a narrow screen: drawn to fit, panels narrower, labels shorter, fewer ticks."""
    if "vconcat" in spec:
        lanes = [row.get("lane", "") for panel in spec["vconcat"] for row in panel.get("data", {}).get("values", ())]
        inner = NARROW_INNER - max(
            0, 8 * (max(map(len, lanes), default=0) - 10)
        )  # long names of lanes stand left of the panels
        return {**spec, "vconcat": [{**panel, "width": inner} for panel in spec["vconcat"]]}
    small = {"axis": {"labelLimit": 130}, "axisX": {"tickCount": 4}}
    return {**spec, "autosize": {"type": "fit", "contains": "padding"}, "config": {**LOOK, "axis": {**LOOK["axis"], **small["axis"]}, "axisX": small["axisX"]}}  # fmt: skip


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
    if seat.page.name != "balance" and not is_ready(seat.store, "upkeep"):
        return False
    return not seat.sees_money or (is_ready(seat.store, "balance", "", "") and is_ready(seat.store, "trail"))
