"""Pocket: its story. Settings as of any day, readings, findings, field tests, service."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse

from drybank.desk.pages import places_of
from drybank.desk.standing import layout_at, parse_day
from drybank.desk.stories import PocketStory, pocket_story, story_chart
from drybank.records.errors import DrybankError
from drybank.web import site, work
from drybank.web.guard import Seat
from drybank.web.shown import kept
from drybank.web.speech import page

SHOWN = 40


@work.patient
def story(request: HttpRequest, seat: Seat, pocket: str) -> HttpResponse:
    if pocket not in layout_at(site.book(), seat.store, site.now()).pockets:
        raise Http404
    typed = request.GET.get("on", "")
    shown: dict[str, Any] = {"typed": typed}
    try:
        seen = _story(seat.store, pocket, parse_day(typed))
    except DrybankError as wrong:
        seen, shown["mistakes"] = _story(seat.store, pocket, None), [wrong.sentence()]
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


def _story(store: str, pocket: str, day: date | None) -> PocketStory:
    return kept(store, "story", lambda: pocket_story(site.book(), store, pocket, site.now(), as_of=day), pocket, day)


def _two_years(day: date) -> date:
    return day - timedelta(days=730)
