"""Balance: the period, pocket by pocket, every finding with its evidence and next check, how it came out."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _

from drybank.desk.balancing import cash_chart, enter_outcome
from drybank.desk.custody import gaps_by
from drybank.desk.pages import named_outcomes
from drybank.desk.pages_charts import hours_chart
from drybank.desk.standing import parse_day
from drybank.records.balance import CustodyBy
from drybank.records.errors import InputError
from drybank.web import forms as ask
from drybank.web import site, work
from drybank.web.guard import Seat
from drybank.web.shown import kept
from drybank.web.speech import page

MOST = 40


@work.patient
def balance(request: HttpRequest, seat: Seat) -> HttpResponse:
    if request.method == "POST":
        return _outcome(request, seat)
    since, until = request.GET.get("since", ""), request.GET.get("until", "")
    shown: dict[str, Any] = {"typed": {"since": since, "until": until}}
    try:
        result = work.balance(seat.store, since, until)
    except InputError as wrong:
        shown["mistakes"] = ask.mistakes_of(wrong)
        return page(request, "web/balance.html", shown, status=422)
    chart = cash_chart(result)
    hours = kept(seat.store, "hours chart", lambda: hours_chart(result), since, until)
    trail = work.trail(seat.store)
    found = (*result.findings, *trail.findings)
    most = len(found) if request.GET.get("all") == "1" else MOST
    shown |= {
        "result": result, "trail": trail, "found": found[:most], "more": max(0, len(found) - most), "outcomes": named_outcomes(site.book(), seat.store),
        "chart": chart, "svg": work.svg(chart, seat.store, height=28 * max(4, len(chart.rows))) if chart.rows else "",
        "gaps": _gaps(seat.store, since, until), "hours_chart": hours, "hours_svg": work.svg(hours, seat.store) if hours else "", "is_owner": "owner" in seat.roles,
    }  # fmt: skip
    return page(request, "web/balance.html", shown)


def _gaps(store: str, since: str, until: str) -> CustodyBy:
    """Gaps by round, in letters."""
    first, last = parse_day(since, "The first day"), parse_day(until, "The last day")
    return kept(
        store, "gaps", lambda: gaps_by(site.book(), store, site.now(), "round", since=first, until=last), since, until
    )


def _outcome(request: HttpRequest, seat: Seat) -> HttpResponse:
    said = {k: request.POST.get(k, "").strip() for k in ("finding", "outcome", "cause")}
    if not said["finding"]:
        raise InputError(_("No finding was named."))
    enter_outcome(site.book(), seat.store, said["finding"], said["outcome"], seat.pen(), cause=said["cause"][:200])
    messages.success(request, _("Entered. Later findings of this kind show how earlier ones came out."))
    return HttpResponseRedirect(reverse("balance", kwargs={"store": seat.store}))
