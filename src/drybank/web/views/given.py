"""Given back: complaints, refunds, house use, offers. What the house gave away is money that the balance expects."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from drybank.desk import cash as desk
from drybank.desk.cash import Entered
from drybank.desk.pages_entries import Lately, given_lately
from drybank.desk.standing import layout_at
from drybank.records.errors import DrybankError, InputError
from drybank.web import forms as ask
from drybank.web import site
from drybank.web.forms import Ask, Form
from drybank.web.guard import Seat
from drybank.web.rights import OFFICE
from drybank.web.said import said
from drybank.web.shown import kept
from drybank.web.speech import page

COMPLAINTS = ("no time", "short time", "not hot", "too hot", "coin jam", "other")
PAID_BY = ("cash", "card", "credit", "post")


def given_back(request: HttpRequest, seat: Seat) -> HttpResponse:
    forms = _forms(seat)
    shown: dict[str, Any] = {"forms": forms, "latest": _lately(seat)}
    if request.method != "POST":
        return page(request, "web/given_back.html", shown)
    typed = ask.typed_of(request)
    try:
        done = _enter(ask.form_of(forms, typed).key, typed, seat)
    except DrybankError as wrong:
        shown |= {"forms": ask.forms_with(forms, typed), "mistakes": ask.mistakes_of(wrong)}
        return page(request, "web/given_back.html", shown, status=422)
    messages.success(request, said(done.says))
    return HttpResponseRedirect(reverse("given-back", kwargs={"store": seat.store}))


def _forms(seat: Seat) -> list[Form]:
    where = Ask(name="pocket", label=_l("Pocket"), kind="choice", options=ask.pockets_of(seat), is_needed=True)
    made = [
        Form(key="refund", title=_l("Money given back"), button=_l("Enter the refund"), asks=(
            where, Ask(name="value", label=_l("How much?"), kind="money", is_needed=True),
            Ask(name="why", label=_l("Why?"), hint=_l("Without a name: who it was need not be known.")),
            Ask(name="paid_by", label=_l("How paid?"), kind="choice", options=tuple((w, said(w)) for w in PAID_BY)),
            Ask(name="claim", label=_l("Answers which complaint?"), kind="choice", options=_open_claims(seat)),
        )),
        Form(key="claim", title=_l("A complaint"), button=_l("Enter the complaint"), asks=(
            where, Ask(name="kind", label=_l("What about?"), kind="choice", options=tuple((w, said(w)) for w in COMPLAINTS)),
            Ask(name="value", label=_l("Money said to be lost"), kind="money", hint=_l("May be left out.")),
            Ask(name="words", label=_l("The customer's words"), kind="long", hint=_l("Kept beside the book, and can be erased. May be left out.")),
        )),
        Form(key="house-use", title=_l("Used by the house"), button=_l("Enter the house use"), asks=(
            where, Ask(name="time", label=_l("Time run"), hint=_l("Such as 45 min. Or the pieces below.")),
            Ask(name="pieces", label=_l("Pieces of the house's own"), hint=_l("Worth x number, such as 25x4. May be left out.")),
            Ask(name="why", label=_l("What for?")),
        )),
    ]  # fmt: skip
    return [*made, _offer(seat)] if seat.roles & set(OFFICE) else made


def _offer(seat: Seat) -> Form:
    banks = tuple((b.key, b.name) for b in layout_at(site.book(), seat.store, site.now()).store.banks)
    return Form(key="offer", title=_l("An offer"), button=_l("Enter the offer"), asks=(
        Ask(name="bank", label=_l("Bank"), kind="choice", options=banks),
        Ask(name="starts", label=_l("From"), kind="moment", is_needed=True),
        Ask(name="ends", label=_l("Until"), kind="moment", is_needed=True),
        Ask(name="minutes", label=_l("Minutes given free in all, in this bank, during the offer"), kind="number", hint=_l("May be left out.")),
        Ask(name="says", label=_l("What the offer says")),
    ))  # fmt: skip


def _lately(seat: Seat) -> tuple[Lately, ...]:
    return kept(seat.store, "given lately", lambda: given_lately(site.book(), seat.store, site.now()))


def _open_claims(seat: Seat) -> tuple[tuple[str, Any], ...]:
    lately = _lately(seat)
    return (("", _l("none")), *((c.id, f"{c.place}, {c.happened:%Y-%m-%d}: {said(c.says)}") for c in lately if c.kind == "claim"))  # fmt: skip


def _enter(key: str, typed: dict[str, str], seat: Seat) -> Entered:
    book, store, pen = site.book(), seat.store, seat.pen()
    get = typed.get
    if key == "refund":
        return desk.refund(book, store, get("pocket", ""), get("value", ""), pen, why=get("why", ""), paid_by=get("paid_by") or "cash", claim_id=get("claim", ""))  # fmt: skip
    if key == "claim":
        return desk.claim(book, store, get("pocket", ""), get("kind", ""), pen, value=get("value") or "0", words=get("words", ""))  # fmt: skip
    if key == "house-use":
        return desk.house_use(book, store, get("pocket", ""), pen, time=get("time", ""), pieces=get("pieces", "").split(), why=get("why", ""))  # fmt: skip
    zone = book.store_at(store, site.now()).time_zone
    starts, ends = ask.moment_of(get("starts", ""), zone), ask.moment_of(get("ends", ""), zone)
    if starts is None or ends is None:
        raise InputError(_("An offer needs both its moments."))
    minutes = ask.number_of(get("minutes", ""), _("Minutes given free in all, in this bank, during the offer"))
    return desk.offer(book, store, get("bank", ""), starts, ends, pen, minutes=minutes, says=get("says", ""))
