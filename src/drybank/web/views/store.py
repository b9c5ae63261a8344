"""Store: banks and pockets as they stand, one glance; its week hour by hour."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from drybank.desk.pages import floor as floor_of
from drybank.desk.pages_charts import waiting_chart
from drybank.desk.traffic import HEADS, day_rows, effect_rows
from drybank.records.errors import DrybankError
from drybank.web import forms as ask
from drybank.web import site, work
from drybank.web.guard import Seat
from drybank.web.shown import is_ready, kept
from drybank.web.speech import page


@work.patient
def floor(request: HttpRequest, seat: Seat) -> HttpResponse:
    seen = kept(
        seat.store, "floor", lambda: floor_of(site.book(), seat.store, site.now(), work.use(seat.store), work.findings(seat)), seat.sees_money
    )  # fmt: skip
    return page(request, "web/store.html", {"floor": seen})


def waiting(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The store's week as it is simulated: waits hour by hour, and what one pocket more or fewer would do."""
    is_asked = bool(request.headers.get("HX-Request")) or "wait" in request.GET
    if not is_asked and not is_ready(seat.store, "store week"):
        return page(request, "web/working_out.html", {"what": _("Simulating the store's week, customer by customer.")})
    try:
        week = work.week(seat.store)
    except DrybankError as wrong:
        return page(request, "web/waiting.html", {"mistakes": ask.mistakes_of(wrong)}, status=422)
    chart = kept(seat.store, "waiting chart", lambda: waiting_chart(week))
    shown = {
        "week": week, "chart": chart, "svg": work.svg(chart, seat.store), "heads": HEADS, "days": day_rows(week.traffic),
        "changes": [(c.change, effect_rows(c)) for c in week.changes],
    }  # fmt: skip
    return page(request, "web/waiting.html", shown)
