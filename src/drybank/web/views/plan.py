"""Plan: today beside proposed, what it rests on, runners-up; adopted, it becomes work cards."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _

from drybank.desk import pages_plan as look
from drybank.desk.learning import sight_of
from drybank.desk.planning import adopt_plan, digest, plan_bank
from drybank.desk.stamp import Pen
from drybank.records.errors import DrybankError
from drybank.records.learn import Sight
from drybank.records.plan import Plan
from drybank.web import forms as ask
from drybank.web import site, work
from drybank.web.guard import Seat
from drybank.web.shown import is_ready, kept
from drybank.web.speech import page


def plan(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The banks, each with what it is set to today."""
    return page(request, "web/plan.html", {"banks": look.banks_planned(site.book(), seat.store, site.now())})


def of_bank(request: HttpRequest, seat: Seat, bank: str) -> HttpResponse:
    banks = {b.key: b for b in look.banks_planned(site.book(), seat.store, site.now())}
    if bank not in banks:
        raise Http404
    is_asked = bool(request.headers.get("HX-Request")) or "wait" in request.GET or request.method == "POST"
    if not is_asked and not is_ready(seat.store, "plan", bank):
        return page(
            request, "web/working_out.html", {"what": _("Searching every setting that this bank's controls can hold.")}
        )
    shown: dict[str, Any] = {"bank": banks[bank]}
    try:
        made = _plan(seat.store, bank)
        if request.method == "POST":
            return _adopt(request, seat, made)
    except DrybankError as wrong:
        return page(request, "web/plan_bank.html", shown | {"mistakes": wrong.sentence().splitlines()}, status=422)
    chart = look.front_chart(made)
    notes = [n for n in map(ask.without_commands, made.notes) if n]
    unread = [n for n in notes if n.startswith("Nobody has read back")]  # what must be heeded before anything is set
    shown |= {
        "plan": made, "notes": [n for n in notes if n not in unread], "unread": unread, "sight": _sight(seat.store),
        "minute": look.minute_said(made), "digest": digest(made), "figures": look.figures_said(made), "chart": chart,
        "svg": work.svg(chart, seat.store, height=240) if chart else "", "changed": [c for c in made.changes if c.is_changed],
        "same": [c for c in made.changes if not c.is_changed],
    }  # fmt: skip
    return page(request, "web/plan_bank.html", shown)


def _sight(store: str) -> Sight | None:
    """What a change here could show at all."""
    return kept(store, "sight", lambda: sight_of(site.book(), store, site.now()))


def _plan(store: str, bank: str) -> Plan:
    return kept(store, "plan", lambda: plan_bank(site.book(), store, bank, Pen(by="page", clock=site.now)), bank)


def _adopt(request: HttpRequest, seat: Seat, made: Plan) -> HttpResponse:
    """Adopt the very plan that was shown; where the book moved on since, show the new one first."""
    where = reverse("plan-bank", kwargs={"store": seat.store, "bank": made.bank})
    if request.POST.get("digest") != digest(made):
        messages.warning(
            request, _("The book changed since this plan was shown. Nothing was adopted: look at it again.")
        )
        return HttpResponseRedirect(where)
    adopted = adopt_plan(site.book(), made, seat.pen(), from_day=request.POST.get("from", ""))
    day = adopted.proposal.from_date
    messages.success(
        request, _("Adopted from %(day)s. Next: print the cards and the sign, then set the bank.") % {"day": day}
    )
    return HttpResponseRedirect(reverse("plan", kwargs={"store": seat.store}))
