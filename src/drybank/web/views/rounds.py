"""Rounds: what is due at this visit, machine by machine; enter it as done. Who only collects sees the boxes, and nothing expected."""

from __future__ import annotations

from typing import Any

import msgspec
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _

from drybank.desk.pages_charts import due_chart
from drybank.desk.pages_rounds import boxes_to_empty
from drybank.desk.stamp import Pen
from drybank.desk.standing import parse_day
from drybank.desk.upkeep import Done, Round, record_service, round_of
from drybank.records.errors import DrybankError, InputError
from drybank.web import site, work
from drybank.web.guard import Seat
from drybank.web.rights import FLOOR
from drybank.web.shown import is_ready, kept
from drybank.web.speech import page


def rounds(request: HttpRequest, seat: Seat) -> HttpResponse:
    does_upkeep = bool(seat.roles & set(FLOOR))
    if request.method == "POST":
        if not does_upkeep:
            raise InputError(_("This form is not one of yours."))
        return _done(request, seat)
    if not does_upkeep:
        return page(request, "web/rounds_boxes.html", {"boxes": boxes_to_empty(site.book(), seat.store, site.now())})
    typed = request.GET.get("until", "")
    if not (request.headers.get("HX-Request") or "wait" in request.GET) and not is_ready(seat.store, "round", typed):
        return page(request, "web/working_out.html", {"what": _("Working out what is due at this visit.")})
    chart = kept(seat.store, "due chart", lambda: due_chart(work.upkeep(seat.store)))
    shown: dict[str, Any] = {"typed": {"until": typed}, "chart": chart}
    if chart:
        shown["svg"] = work.svg(chart, seat.store, height=26 * max(4, len(chart.rows)))
    try:
        shown["round"] = _spoken(_round(seat.store, typed))
    except DrybankError as wrong:
        shown |= {"mistakes": wrong.sentence().splitlines(), "round": _spoken(_round(seat.store, ""))}
    shown["cards"] = _cards(seat, shown["round"], typed if "mistakes" not in shown else "")
    return page(request, "web/rounds.html", shown)


def _cards(seat: Seat, made: Round, until: str) -> str:
    """The cards as they stand in the page, made once for each language while the book stands still: they are the most of it."""
    from django.template.loader import render_to_string

    from drybank.web.views.papers import language

    return kept(
        seat.store,
        "round cards",
        lambda: render_to_string("web/round_cards.html", {"round": made, "typed": {}}),
        until,
        language(),
    )


def _round(store: str, until: str) -> Round:
    pen = Pen(by="page", clock=site.now)
    return kept(
        store, "round", lambda: round_of(site.book(), store, pen, until=parse_day(until, "The next visit")), until
    )


def _done(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Ticked jobs, each "place task"; one entry for each place."""
    ticked = [text.partition("|") for text in request.POST.getlist("done")]
    by_place: dict[str, list[str]] = {}
    for place, _bar, task in ticked:
        by_place.setdefault(place, []).append(task)
    try:
        day = parse_day(request.POST.get("on", ""), "The day")
        entries = [
            entry
            for place, tasks in by_place.items()
            for entry in record_service(
                site.book(), seat.store, Done(at=place or "store", tasks=tuple(tasks), on=day), seat.pen()
            )
        ]
    except DrybankError as wrong:
        shown: dict[str, Any] = {
            "typed": {"until": "", "on": request.POST.get("on", ""), "done": request.POST.getlist("done")}
        }
        shown |= {"mistakes": wrong.sentence().splitlines(), "round": _spoken(_round(seat.store, ""))}
        return page(request, "web/rounds.html", shown, status=422)
    if not entries:
        messages.warning(request, _("Nothing was ticked, so nothing was entered."))
    else:
        messages.success(request, _("Entered as done. The clocks of these jobs start again."))
    return HttpResponseRedirect(reverse("rounds", kwargs={"store": seat.store}))


def _spoken(made: Round) -> Round:
    """The cards in the page's language."""
    from drybank.upkeep import in_language
    from drybank.web.views.papers import language

    return msgspec.structs.replace(made, cards=tuple(in_language(c, language()) for c in made.cards))
