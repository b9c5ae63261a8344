"""Today: what needs me, by danger, money and date; then the week."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse

from drybank.desk.pages import money_chart, money_weeks
from drybank.desk.today import MOST, last_week
from drybank.desk.today import today as today_of
from drybank.web import site, work
from drybank.web.guard import Seat
from drybank.web.shown import kept
from drybank.web.speech import page


@work.patient
def today(request: HttpRequest, seat: Seat) -> HttpResponse:
    store = seat.store
    everything = request.GET.get("all") == "1"
    name = site.book().store_at(store, site.now()).name
    seen = today_of(name, work.upkeep(store), work.findings(seat), most=10_000 if everything else MOST)
    shown: dict[str, Any] = {"today": seen, "sees_money": seat.sees_money}
    if seat.sees_money:
        weeks = kept(store, "weeks", lambda: money_weeks(site.book(), store, site.now()))
        before = weeks[-2].takings if len(weeks) > 1 else None
        shown["week"] = kept(store, "last week", lambda: last_week(site.book(), store, site.now(), before))
        if any(w.takings.minor for w in weeks):
            chart = money_chart(weeks, weeks[-1].takings.currency)
            shown |= {"chart": chart, "svg": work.svg(chart, store, height=160)}
    return page(request, "web/today.html", shown)
