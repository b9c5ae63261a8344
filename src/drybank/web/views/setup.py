"""Set-up: the store's file, its control sheets, what a changed file would change; a new store; the demo in a book of its own."""

from __future__ import annotations

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
from drybank.web.guard import Seat
from drybank.web.speech import page


def set_up(request: HttpRequest, seat: Seat) -> HttpResponse:
    laid = layout_at(site.book(), seat.store, site.now())
    states = [(s, site.book().sheet_state(seat.store, key)) for key, s in sorted(laid.sheets.items())]
    shown: dict[str, Any] = {"laid": laid, "states": states, "text": write_store(laid.store)}
    if request.method != "POST":
        return page(request, "web/set_up.html", shown)
    return _load(request, seat, shown, store=seat.store)


def new_store(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The first store, or one more: its file and its control sheets together."""
    if request.method != "POST":
        return page(request, "web/new_store.html", {})
    return _load(request, seat, {}, store="")


def _load(request: HttpRequest, seat: Seat, shown: dict[str, Any], *, store: str) -> HttpResponse:
    """Checked as `drybank check` does, every mistake at once; first shown, then entered."""
    template = "web/set_up.html" if store else "web/new_store.html"
    try:
        named = _files(request)
        known = dict(layout_at(site.book(), store, site.now()).sheets) if store else {}
        checked = check_files(named, known)
        if any(c.mistakes for c in checked):
            return page(request, template, shown | {"checked": checked, "named": _texts(named)}, status=422)
        is_real = request.POST.get("enter") == "1"
        day = parse_day(request.POST.get("from", ""), "The day")
        done = load(site.book(), named, seat.pen(), from_date=day, store=store, is_real=is_real)
    except DrybankError as wrong:
        return page(request, template, shown | {"mistakes": wrong.sentence().splitlines()}, status=422)
    if not done.is_entered:
        return page(request, template, shown | {"checked": checked, "loaded": done, "named": _texts(named)})
    messages.success(request, _("Entered from %(day)s on.") % {"day": done.from_date})
    new = store or next(c.store for c in done.changes)
    return HttpResponseRedirect(reverse("set-up", kwargs={"store": new}))


def _files(request: HttpRequest) -> list[tuple[str, bytes]]:
    """Files as sent, or the texts of the step before."""
    sent = [(f.name or "file", f.read(LARGEST_BYTES + 1)) for f in request.FILES.getlist("files")]
    texts = zip(request.POST.getlist("name"), request.POST.getlist("text"), strict=False)
    named = sent or [(name[:120], text.encode()) for name, text in texts]
    if not named:
        raise InputError(_("No file was chosen."), mend=_("Choose the store's file and its control sheets."))
    if any(len(content) > LARGEST_BYTES for _name, content in named):
        raise InputError(_("A file is too large to be a store or sheet file."))
    return named


def _texts(named: list[tuple[str, bytes]]) -> list[tuple[str, str]]:
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
