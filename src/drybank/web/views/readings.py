"""Readings: one walk through the store, meters and counters in walking order. Nothing says what was expected."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from drybank.desk.cards import cautions_for
from drybank.desk.readings import Walked, record_walk, stops
from drybank.desk.standing import layout_at
from drybank.records.errors import DrybankError
from drybank.web import forms as ask
from drybank.web import site
from drybank.web.guard import Seat
from drybank.web.rights import FLOOR
from drybank.web.said import said
from drybank.web.speech import page


def walk(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Every figure is typed; an unlikely one is asked for again, empty, and taken when it comes out the same."""
    if request.method != "POST":
        return page(request, "web/readings.html", _shown(seat, {}, {}))
    typed = ask.typed_of(request)
    read = {name[2:]: text for name, text in typed.items() if name.startswith("d-")}
    first = {name[2:]: text for name, text in typed.items() if name.startswith("1-")}
    shown: dict[str, Any] = {"when": typed.get("when", "")}
    try:
        zone = site.book().store_at(seat.store, site.now()).time_zone
        happened = ask.not_still_to_come(ask.moment_of(typed.get("when", ""), zone), site.now())
        done = record_walk(site.book(), seat.store, read, seat.pen(), first=first, happened=happened)
    except DrybankError as wrong:
        shown |= _shown(seat, read, first) | {"mistakes": ask.mistakes_of(wrong)}
        return page(request, "web/readings.html", shown, status=422)
    if done.again:
        doubtful = {d.device for d in done.again}
        first = {d: read[d] for d in doubtful}
        shown |= _shown(seat, {d: t for d, t in read.items() if d not in doubtful}, first) | {"again": done.again}
        return page(request, "web/readings.html", shown, status=422)
    _say(request, seat, done)
    return HttpResponseRedirect(reverse("readings", kwargs={"store": seat.store}))


def _say(request: HttpRequest, seat: Seat, done: Walked) -> None:
    messages.success(
        request, ngettext("%(n)d figure entered.", "%(n)d figures entered.", done.number) % {"n": done.number}
    )
    for one in done.kept:
        # What a figure might have been is for those who may see what was expected.
        words = said(one.says) if seat.roles & set(FLOOR) else said("Kept as you read it twice; it will be looked at.")
        messages.warning(request, words)
    if done.left_out:
        some = ", ".join(done.left_out[:6]) + (" …" if len(done.left_out) > 6 else "")
        messages.warning(
            request, _("Not read: %(devices)s. The balance gives a wider interval for them.") % {"devices": some}
        )


def _shown(seat: Seat, read: dict[str, str], first: dict[str, str]) -> dict[str, Any]:
    from drybank.web.views.papers import language

    walked = [
        (stop, [(key, words, read.get(key, ""), first.get(key, "")) for key, words in stop.devices])
        for stop in stops(site.book(), seat.store, site.now())
    ]
    laid = layout_at(site.book(), seat.store, site.now())
    return {"walked": walked, "cautions": cautions_for(laid, tuple(laid.controls), "reading", language())}
