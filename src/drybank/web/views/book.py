"""Book: entries, one entry and its correction, verify, export."""

from __future__ import annotations

import io
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _

from drybank.desk import correcting as desk
from drybank.desk.entry_form import changes_from, fields_of
from drybank.desk.entry_words import told
from drybank.desk.keeping import read_seals, verify_book
from drybank.records.entry import KINDS
from drybank.records.errors import DrybankError
from drybank.web import forms as ask
from drybank.web import site
from drybank.web.guard import Seat
from drybank.web.speech import page
from drybank.web.views import papers

A_PAGE = 60
OWN_WORDS = ("says", "why", "why not read", "slip", "account", "to", "bag", "seal number")
"""Fields in which a person wrote freely: shown as written, in no other language."""


def entries(request: HttpRequest, seat: Seat) -> HttpResponse:
    typed = {k: request.GET.get(k, "") for k in ("kind", "since", "until")}
    shown: dict[str, Any] = {"typed": typed, "kinds": KINDS, "a_page": A_PAGE}
    try:
        first, end = desk.between(site.book(), seat.store, typed["since"], typed["until"])
        kinds = (typed["kind"],) if typed["kind"] else ()
        everything = request.GET.get("all") == "1"
        found = desk.entries(
            site.book(), seat.store, kinds=kinds, since=first, until=end, last=0 if everything else A_PAGE
        )
    except DrybankError as wrong:
        return page(
            request, "web/book.html", shown | {"mistakes": wrong.sentence().splitlines(), "entries": ()}, status=422
        )
    return page(
        request,
        "web/book.html",
        shown | {"entries": tuple(reversed(found)), "everything": everything, "currency": _currency(seat)},
    )


def _line(seat: Seat, entry: str) -> tuple[Any, desk.EntryLine]:
    """The entry as first booked and as it stands; only of this store."""
    booked = site.book().find(entry)
    if booked.entry.store != seat.store:
        raise Http404
    line = desk.entry_line(site.book(), seat.store, booked.entry.kind, entry)
    if line is None:
        raise Http404
    return booked, line


def entry(request: HttpRequest, seat: Seat, entry: str) -> HttpResponse:
    booked, line = _line(seat, entry)
    return page(
        request,
        "web/entry.html",
        {"booked": booked, "line": line, "fields": told(line.says, _currency(seat)), "own_words": OWN_WORDS},
    )


def _currency(seat: Seat) -> str:
    return site.book().store_at(seat.store, site.now()).currency


def correct(request: HttpRequest, seat: Seat, entry: str) -> HttpResponse:
    """Undo or put right: asked for the reason, shown what changes, entered as a correction; the first stays."""
    booked, line = _line(seat, entry)
    currency = _currency(seat)
    fields = fields_of(line.says, currency)
    initial = {f.path: f.value for f in fields}
    shown: dict[str, Any] = {"booked": booked, "line": line, "fields": fields, "currency": currency, "initial": initial}
    if request.method != "POST":
        return page(request, "web/correct.html", shown)
    take_back = request.POST.get("take_back") == "1"
    typed = {f.path: request.POST.get(f"f-{f.path}", f.value) for f in fields}
    reason = request.POST.get("reason", "")
    try:
        changes = () if take_back else changes_from(fields, typed, currency)
        done = desk.correct(site.book(), entry, seat.pen(), reason=reason, changes=changes, take_back=take_back)
    except DrybankError as wrong:
        shown |= {"mistakes": ask.mistakes_of(wrong), "reason": reason, "typed": typed}
        return page(request, "web/correct.html", shown, status=422)
    messages.success(request, _("Corrected. The first entry stays in the book, and both are shown."))
    return HttpResponseRedirect(reverse("entry", kwargs={"store": seat.store, "entry": done.corrects}))


def verify(request: HttpRequest, seat: Seat) -> HttpResponse:
    typed = request.GET.get("seals", "")[:20_000]
    try:
        seals = read_seals([line for line in typed.splitlines() if line.strip().startswith("drybank seal")])
        made = verify_book(site.book(), seat.store, seals)
    except DrybankError as wrong:
        return page(request, "web/verify.html", {"mistakes": wrong.sentence().splitlines(), "typed": typed}, status=422)
    return page(request, "web/verify.html", {"verified": made, "typed": typed})


def export(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The store as JSON Lines, lossless."""
    out = io.BytesIO()
    site.book().export(out, [seat.store])
    name = papers.safe_name(f"{seat.store}-{site.now():%Y-%m-%d}")
    headers = {"Content-Disposition": f'attachment; filename="{name}.jsonl"'}
    return HttpResponse(out.getvalue(), content_type="application/jsonl", headers=headers)
