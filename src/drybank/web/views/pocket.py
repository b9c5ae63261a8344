"""Pocket: its story. Settings as of any day, readings, findings, field tests, service."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from drybank.desk.drying_ask import as_said, ask_from
from drybank.desk.drying_chart import lines_of
from drybank.desk.pages import places_of
from drybank.desk.pages_charts import drying_chart
from drybank.desk.standing import layout_at, parse_day
from drybank.desk.stories import PocketStory, pocket_story, story_chart
from drybank.records.errors import DrybankError
from drybank.web import forms as ask
from drybank.web import site, work
from drybank.web.guard import Seat
from drybank.web.shown import is_ready, kept
from drybank.web.speech import page

if TYPE_CHECKING:
    from drybank.desk.drying import Dried

SHOWN = 40
KINDS_OF_LOAD = ("mixed", "towels", "half cotton")


@work.patient
def story(request: HttpRequest, seat: Seat, pocket: str) -> HttpResponse:
    if pocket not in layout_at(site.book(), seat.store, site.now()).pockets:
        raise Http404
    typed = request.GET.get("on", "")
    shown: dict[str, Any] = {"typed": typed}
    try:
        seen = _story(seat.store, pocket, parse_day(typed))
    except DrybankError as wrong:
        seen, shown["mistakes"] = _story(seat.store, pocket, None), ask.mistakes_of(wrong)
    events = [e for e in seen.events if seat.sees_money or not e.is_cash]
    everything = request.GET.get("all") == "1"
    chart = kept(
        seat.store, "story chart", lambda: story_chart(seen, work.use(seat.store), since=_two_years(seen.as_of)), pocket
    )
    shown |= {
        "story": seen, "events": events if everything else events[:SHOWN], "more": 0 if everything else max(0, len(events) - SHOWN),
        "findings": [f for f in work.findings(seat) if pocket in places_of(f.where)], "chart": chart,
        "svg": work.svg(chart, seat.store, width=620, height=200) if chart else "",
    }  # fmt: skip
    return page(request, "web/pocket.html", shown)


def drying(request: HttpRequest, seat: Seat, pocket: str) -> HttpResponse:
    """One load in this pocket: when it is dry, how hot it gets, what it burns; asked for by load, water left, heat, time sold."""
    laid = layout_at(site.book(), seat.store, site.now())
    if pocket not in laid.pockets:
        raise Http404
    typed = {name: request.GET.get(name, "").strip()[:40] for name in ("load", "left", "kind", "heat", "sold")}
    shown: dict[str, Any] = {"pocket": pocket, "typed": typed, "heats": laid.store.heats, "kinds": KINDS_OF_LOAD}
    is_asked = bool(request.headers.get("HX-Request")) or "wait" in request.GET
    if not is_asked and not is_ready(seat.store, "drying", pocket, *typed.values()):
        return page(request, "web/working_out.html", {"what": _("Drying one load, second by second.")})
    try:
        told = kept(seat.store, "drying", lambda: _dried(seat.store, pocket, typed), pocket, *typed.values())
    except DrybankError as wrong:
        return page(request, "web/drying.html", shown | {"mistakes": ask.mistakes_of(wrong)}, status=422)
    chart = kept(seat.store, "drying chart", lambda: drying_chart(told), pocket, *typed.values())
    shown |= {"told": told, "lines": lines_of(told), "chart": chart, "svg": work.svg(chart, seat.store, width=520)}
    return page(request, "web/drying.html", shown)


def _dried(store: str, pocket: str, typed: dict[str, str]) -> Dried:
    from drybank.desk.drying import dry_in_store

    words = {f"--{name}": text for name, text in typed.items()}
    with as_said():
        return dry_in_store(site.book(), store, pocket, ask_from(words), site.now())


def _story(store: str, pocket: str, day: date | None) -> PocketStory:
    return kept(store, "story", lambda: pocket_story(site.book(), store, pocket, site.now(), as_of=day), pocket, day)


def _two_years(day: date) -> date:
    return day - timedelta(days=730)
