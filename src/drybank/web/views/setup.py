"""Set-up: the store's file, its control sheets, what a changed file would change; a new store; the demo in a book of its own."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _

from drybank.book.files import write_sheet, write_store
from drybank.desk.files import LARGEST_BYTES, check_files, load
from drybank.desk.standing import layout_at, parse_day
from drybank.records.errors import DrybankError, InputError
from drybank.web import demo_town, site
from drybank.web import forms as ask
from drybank.web.guard import Seat
from drybank.web.speech import page

Files = list[tuple[str, bytes]]


def set_up(request: HttpRequest, seat: Seat) -> HttpResponse:
    laid = layout_at(site.book(), seat.store, site.now())
    states = [(s, site.book().sheet_state(seat.store, key)) for key, s in sorted(laid.sheets.items())]
    shown: dict[str, Any] = {"laid": laid, "states": states, "text": write_store(laid.store)}
    if request.method != "POST":
        return page(request, "web/set_up.html", shown)
    return entered(request, seat, "web/set_up.html", shown, lambda: _files(request))


def new_store(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The first store, or one more: its file and its control sheets together."""
    if request.method != "POST":
        return page(request, "web/new_store.html", {})
    return entered(request, seat, "web/new_store.html", {}, lambda: _files(request))


def entered(
    request: HttpRequest, seat: Seat, template: str, shown: dict[str, Any], files: Callable[[], Files]
) -> HttpResponse:
    """Checked as `drybank check` does, every mistake at once; first shown, then entered."""
    store = seat.store
    try:
        named = files()
        known = dict(layout_at(site.book(), store, site.now()).sheets) if store else {}
        checked = check_files(named, known)
        if any(c.mistakes for c in checked):
            return page(request, template, shown | {"checked": checked, "named": _texts(named)}, status=422)
        is_real = request.POST.get("enter") == "1"
        day = parse_day(request.POST.get("from", ""), "The day")
        done = load(site.book(), named, seat.pen(), from_date=day, store=store, is_real=is_real)
    except DrybankError as wrong:
        return page(request, template, shown | {"mistakes": ask.mistakes_of(wrong, shown.get("labels"))}, status=422)
    if not done.is_entered:
        return page(request, template, shown | {"checked": checked, "loaded": done, "named": _texts(named)})
    messages.success(request, _("Entered from %(day)s on.") % {"day": done.from_date})
    new = store or next(c.store for c in done.changes)
    return HttpResponseRedirect(reverse("set-up", kwargs={"store": new}))


def files_sent(request: HttpRequest) -> Files:
    """Files as sent; one too large to be ours is refused before it is read further."""
    return _bounded([(f.name or "file", f.read(LARGEST_BYTES + 1)) for f in request.FILES.getlist("files")])


def _bounded(named: Files) -> Files:
    if any(len(content) > LARGEST_BYTES for _name, content in named):
        raise InputError(_("A file is too large to be a store or sheet file."))
    return named


def _files(request: HttpRequest) -> Files:
    """Files as sent, or the texts of the step before."""
    sent = files_sent(request)
    texts = zip(request.POST.getlist("name"), request.POST.getlist("text"), strict=False)
    named = sent or [(name[:120], text.encode()) for name, text in texts]
    if not named:
        raise InputError(_("No file was chosen."), mend=_("Choose the store's file and its control sheets."))
    return _bounded(named)


def _texts(named: Files) -> list[tuple[str, str]]:
    return [(name, content.decode("utf-8", "replace")) for name, content in named]


def sheet(request: HttpRequest, seat: Seat, sheet: str) -> HttpResponse:
    """A control sheet as its file, to read, copy, mend and load again."""
    laid = layout_at(site.book(), seat.store, site.now())
    if sheet not in laid.sheets:
        raise Http404
    state = site.book().sheet_state(seat.store, sheet)
    return page(
        request,
        "web/sheet.html",
        {"sheet": laid.sheets[sheet], "state": state, "text": write_sheet(laid.sheets[sheet])},
    )


def demo(request: HttpRequest, seat: Seat) -> HttpResponse:
    """One click: an invented town in a book of its own, served apart; nothing of it enters this book."""
    if request.method == "POST":
        demo_town.begin()
        return HttpResponseRedirect(reverse("demo"))
    return page(request, "web/demo.html", {"demo": demo_town.state()})
