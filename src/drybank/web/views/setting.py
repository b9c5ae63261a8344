"""Set: one pocket's control as found and as left, read first; a bank's change day from one sign to the next."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _

from drybank.control import common
from drybank.desk import change_day as day
from drybank.desk import pages_setting as desk
from drybank.desk.standing import layout_at
from drybank.desk.wording import name_of, value_of
from drybank.records.errors import DrybankError, InputErrors, Missing
from drybank.web import forms as ask
from drybank.web import site
from drybank.web.guard import Seat
from drybank.web.rights import OFFICE
from drybank.web.said import said
from drybank.web.shown import kept
from drybank.web.speech import page


def set_pocket(request: HttpRequest, seat: Seat, pocket: str) -> HttpResponse:
    from drybank.web.views.papers import language

    laid = layout_at(site.book(), seat.store, site.now())
    if pocket not in laid.pockets:
        raise Http404
    what = kept(
        seat.store,
        "to set",
        lambda: desk.to_set(site.book(), seat.store, pocket, site.now(), language()),
        pocket,
        language(),
    )
    shown: dict[str, Any] = {
        "pocket": pocket,
        "to_set": what,
        "typed": {},
        "first": {},
        "day": _open_day(seat, what.bank),
    }
    if request.method != "POST":
        return page(request, "web/set_pocket.html", shown)
    typed = ask.typed_of(request)
    try:
        done = desk.record_typed(site.book(), seat.store, pocket, _typed(typed, laid.store.time_zone), seat.pen())
    except DrybankError as wrong:
        names = dict(what.devices)
        # An unlikely figure is asked for again, its field empty; typed the same a second time it is taken.
        again = {e.where for e in wrong.errors if e.where in names} if isinstance(wrong, InputErrors) else set()
        shown |= {
            "first": {d: typed[f"d-{d}"] for d in again}, "mistakes": ask.mistakes_of(wrong, names),
            "typed": {k: v for k, v in typed.items() if k[2:] not in again or not k.startswith("d-")},
        }  # fmt: skip
        return page(request, "web/set_pocket.html", shown, status=422)
    _say(request, done, dict(what.devices))
    where = typed.get("change_day") and reverse("change-day", kwargs={"store": seat.store, "bank": what.bank})
    return HttpResponseRedirect(where or reverse("pocket", kwargs={"store": seat.store, "pocket": pocket}))


def _typed(typed: dict[str, str], zone: str) -> desk.Typed:
    def begun(mark: str) -> dict[str, str]:
        return {k[len(mark) :]: v for k, v in typed.items() if k.startswith(mark)}

    happened = ask.not_still_to_come(ask.moment_of(typed.get("when", ""), zone), site.now())
    return desk.Typed(
        found=begun("f-"), left=begun("l-"), as_house=typed.get("as_house") == "1", is_read_back=typed.get("read_back") == "1",
        devices=begun("d-"), first=begun("1-"), test_coins=typed.get("test_coins", ""), card=typed.get("card", "")[:80],
        change_day=typed.get("change_day", "")[:80], happened=happened,
    )  # fmt: skip


def _say(request: HttpRequest, done: Any, names: dict[str, str]) -> None:
    messages.success(request, _("Entered for %(control)s.") % {"control": done.control})
    for one in done.differs:
        text = _("%(name)s is %(now)s; the house says %(should)s.")
        messages.warning(request, text % {"name": one.name, "now": said(one.is_now), "should": one.should_be})
    for line in done.says:
        if not line.startswith("Not read: "):
            device, colon, rest = line.partition(": ")
            messages.warning(request, f"{said(names.get(device, device))}{colon}{said(rest)}")
    if done.left_out:
        left = ", ".join(said(names.get(d, d)) for d in done.left_out)
        messages.warning(
            request, _("Not read: %(devices)s. The balance gives a wider interval for them.") % {"devices": left}
        )


def _open_day(seat: Seat, bank: str) -> str:
    """The bank's change day where one is open, so that what is set counts toward it."""
    state = _state(seat, bank)
    return "" if state is None or state.is_ended else state.day


def change_day(request: HttpRequest, seat: Seat, bank: str) -> HttpResponse:
    """A whole bank tonight: begin, set pocket by pocket, test each input, change the sign; or roll it back."""
    laid = layout_at(site.book(), seat.store, site.now())
    found = next((b for b in laid.store.banks if b.key == bank), None)
    if found is None:
        raise Http404
    may_begin = bool(seat.roles & set(OFFICE))
    shown: dict[str, Any] = {"bank": found, "state": _state(seat, bank), "lines": _house_lines(seat, bank), "may_begin": may_begin, "typed": {}}  # fmt: skip
    if request.method != "POST":
        return page(request, "web/change_day.html", shown)
    typed = ask.typed_of(request)
    try:
        _step(typed, seat, bank, may_begin=may_begin)
    except DrybankError as wrong:
        shown |= {"mistakes": ask.mistakes_of(wrong), "typed": typed}
        return page(request, "web/change_day.html", shown, status=422)
    messages.success(request, _("Entered."))
    return HttpResponseRedirect(reverse("change-day", kwargs={"store": seat.store, "bank": bank}))


def _state(seat: Seat, bank: str) -> day.ChangeDay | None:
    def found() -> day.ChangeDay | None:
        try:
            return day.status(site.book(), seat.store, bank, site.now())
        except Missing:
            return None

    return kept(seat.store, "change day", found, bank)


def _house_lines(seat: Seat, bank: str) -> list[tuple[str, str, str]]:
    """Every line that the bank's controls have in common: the desk's name, the same in words, today's value."""
    laid = layout_at(site.book(), seat.store, site.now())
    today = {
        name_of(v, laid.store): value_of(v, laid.store) for v in site.book().house_at(seat.store, bank, site.now())
    }
    names = dict.fromkeys([*today, *(name_of(s.line, laid.store) for s in common(laid, bank))])
    return [(name, said(name), today.get(name, "")) for name in names]


def _step(typed: dict[str, str], seat: Seat, bank: str, *, may_begin: bool) -> None:
    book, pen, what = site.book(), seat.pen(), typed.get("what", "")
    if what == "begin" and may_begin:
        changed = [f"{name}={typed[f'h-{name}']}" for name, _words, today in _house_lines(seat, bank) if typed.get(f"h-{name}", today) != today]  # fmt: skip
        day.begin(book, seat.store, bank, pen, texts=changed)
    elif what == "roll-back" and may_begin:
        day.roll_back(book, seat.store, bank, pen)
    elif what in ("old down", "new up"):
        day.sign_changed(book, seat.store, bank, what, pen)
    elif what == "coin-test":
        pieces = ask.number_of(typed.get("pieces", ""), _("Pieces put in")) or 0
        seconds = _seconds(typed.get("ran", ""))
        day.coin_test(book, seat.store, typed.get("input", ""), int(pieces), seconds, pen)
    else:
        ask.form_of((), typed)


def _seconds(text: str) -> float:
    from drybank.desk.quantity import watch_s

    return watch_s(text, where=str(_("The run")))
