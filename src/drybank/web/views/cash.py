"""Cash: boxes emptied, bags counted blind, handed over, paid in. Nothing on these pages speaks of what was expected."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _

from drybank.desk import cash as desk
from drybank.desk.cash import Entered
from drybank.desk.pages_rounds import BagOut, bags_out, boxes_to_empty, coins_taken
from drybank.records.errors import DrybankError, InputError, InputErrors
from drybank.web import site
from drybank.web.guard import Seat
from drybank.web.said import said
from drybank.web.shown import kept
from drybank.web.speech import page

COUNTERS = ("owner", "manager", "counter")
COLLECTORS = ("owner", "manager", "collector")


def cash(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Three forms: collect, count, hand over. Each is sent by itself; what was typed stays when it is refused."""
    shown = _shown(seat)
    if request.method != "POST":
        return page(request, "web/cash.html", shown)
    what = request.POST.get("what", "")
    try:
        done = _enter(what, request, seat)
    except DrybankError as wrong:
        several = wrong.errors if isinstance(wrong, InputErrors) else (wrong,)
        shown |= {
            "mistakes": [e.sentence() for e in several],
            "typed": request.POST,
            "typed_boxes": request.POST.getlist("boxes"),
            "failed": what,
        }
        shown["counts"] = [(w, n, request.POST.get(f"piece-{w}", "")) for w, n, _old in shown["counts"]]
        return page(request, "web/cash.html", shown, status=422)
    messages.success(request, said(done.says))
    return HttpResponseRedirect(reverse("cash", kwargs={"store": seat.store}))


def _shown(seat: Seat) -> dict[str, Any]:
    book, now = site.book(), site.now()
    return {
        "boxes": kept(seat.store, "boxes", lambda: boxes_to_empty(book, seat.store, now)), "bags": _bags(seat), "typed": {},
        "counts": [(w, n, "") for w, n in coins_taken(book, seat.store, now)], "asks_two": book.store_at(seat.store, now).counting.asks_two,
        "may_count": bool(seat.roles & set(COUNTERS)), "may_collect": bool(seat.roles & set(COLLECTORS)),
        "may_deposit": seat.may("deposit"),
    }  # fmt: skip


def _bags(seat: Seat) -> tuple[BagOut, ...]:
    return kept(seat.store, "bags", lambda: bags_out(site.book(), seat.store, site.now()))


def _enter(what: str, request: HttpRequest, seat: Seat) -> Entered:
    said_of = {
        k: request.POST.get(k, "").strip() for k in ("bag", "second", "to", "seal", "foreign", "method", "grams")
    }
    book, pen = site.book(), seat.pen()
    if what == "collect" and seat.roles & set(COLLECTORS):
        after = request.POST.get("after_reading") == "1"
        return desk.collect(
            book,
            seat.store,
            request.POST.getlist("boxes"),
            pen,
            bag=said_of["bag"],
            second=said_of["second"],
            after_reading=after,
        )
    if what == "count" and seat.roles & set(COUNTERS):
        return _count(request, seat, said_of)
    if what == "hand-over":
        if not (said_of["bag"] and said_of["to"]):
            raise InputError(_("A hand-over needs its bag and who has it now."))
        return desk.hand_over(book, seat.store, said_of["bag"], said_of["to"], pen, seal=said_of["seal"])
    raise InputError(_("This form is not one of yours."))


def _count(request: HttpRequest, seat: Seat, typed: dict[str, str]) -> Entered:
    pieces = [f"{name.removeprefix('piece-')}x{request.POST[name].strip()}" for name in request.POST if name.startswith("piece-") and request.POST[name].strip()]  # fmt: skip
    foreign = typed["foreign"] or "0"
    if not foreign.isdigit() or len(foreign) > 9:
        raise InputError(_("Foreign pieces are a whole number."), where="foreign")
    said_count = desk.CountSaid(
        bag=typed["bag"],
        pieces=tuple(pieces),
        method=typed["method"] or "hand",
        foreign=int(foreign),
        second=typed["second"],
    )
    return desk.count(site.book(), seat.store, said_count, seat.pen())


def deposit(request: HttpRequest, seat: Seat) -> HttpResponse:
    shown: dict[str, Any] = {"bags": _bags(seat), "typed": {}}
    if request.method != "POST":
        return page(request, "web/deposit.html", shown)
    typed = {k: request.POST.get(k, "").strip() for k in ("value", "to", "slip")}
    try:
        done = desk.deposit(
            site.book(),
            seat.store,
            request.POST.getlist("bags"),
            typed["value"],
            seat.pen(),
            to=typed["to"] or "bank",
            slip=typed["slip"],
        )
    except DrybankError as wrong:
        shown |= {"mistakes": wrong.sentence().splitlines(), "typed": typed, "ticked": request.POST.getlist("bags")}
        return page(request, "web/deposit.html", shown, status=422)
    messages.success(request, said(done.says))
    return HttpResponseRedirect(reverse("cash", kwargs={"store": seat.store}))
