"""Weeks: what stands in the way of closing one, then its close under a seal; fuel bills and payouts by form."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from drybank.desk import cash
from drybank.desk import pages_weeks as look
from drybank.desk.pages import week_before
from drybank.desk.standing import layout_at
from drybank.desk.takings import FUELS, close, enter_bill
from drybank.records.errors import DrybankError
from drybank.web import forms as ask
from drybank.web import site
from drybank.web.forms import Ask, Form
from drybank.web.guard import Seat
from drybank.web.rights import OFFICE
from drybank.web.said import said
from drybank.web.shown import kept
from drybank.web.speech import page

GAS_UNITS = ("m3", "therm", "Ccf", "GJ", "kWh", "gal", "L", "kg")


def weeks(request: HttpRequest, seat: Seat) -> HttpResponse:
    return page(request, "web/weeks.html", {"weeks": look.weeks_lately(site.book(), seat.store, site.now())})


def week(request: HttpRequest, seat: Seat, week: str) -> HttpResponse:
    shown: dict[str, Any] = {"name": week, "may_close": bool(seat.roles & set(OFFICE))}
    try:
        shown["week"] = kept(
            seat.store, "week", lambda: look.week_shown(site.book(), seat.store, week, site.now()), week
        )
        if request.method == "POST":
            return _close(request, seat, week)
    except DrybankError as wrong:
        return page(request, "web/week.html", shown | {"mistakes": ask.mistakes_of(wrong)}, status=422)
    return page(request, "web/week.html", shown)


def _close(request: HttpRequest, seat: Seat, week: str) -> HttpResponse:
    if not seat.roles & set(OFFICE):
        ask.form_of((), {})
    close(site.book(), seat.store, week, seat.pen(), although_missing=request.POST.get("although_missing") == "1")
    messages.success(request, _("Closed. Keep its seal somewhere else."))
    return HttpResponseRedirect(reverse("week", kwargs={"store": seat.store, "week": week}))


def bills(request: HttpRequest, seat: Seat) -> HttpResponse:
    forms = _forms(seat)
    book, now = site.book(), site.now()
    shown: dict[str, Any] = {
        "forms": forms, "bills": look.bills_lately(book, seat.store, now), "payouts": look.payouts_lately(book, seat.store, now),
        "week": week_before(book, seat.store, now),
    }  # fmt: skip
    if request.method != "POST":
        return page(request, "web/bills.html", shown)
    typed = ask.typed_of(request)
    try:
        _enter(ask.form_of(forms, typed).key, typed, seat)
    except DrybankError as wrong:
        shown |= {"forms": ask.forms_with(forms, typed), "mistakes": ask.mistakes_of(wrong)}
        return page(request, "web/bills.html", shown, status=422)
    messages.success(request, _("Entered."))
    return HttpResponseRedirect(reverse("bills", kwargs={"store": seat.store}))


def _forms(seat: Seat) -> list[Form]:
    laid = layout_at(site.book(), seat.store, site.now())
    days = (
        Ask(name="first", label=_l("First day"), kind="date", is_needed=True),
        Ask(name="last", label=_l("Last day"), kind="date", is_needed=True),
    )
    bill = Form(key="bill", title=_l("A fuel bill"), button=_l("Enter the bill"), asks=(
        Ask(name="fuel", label=_l("Fuel"), kind="choice", options=tuple((f, said(f)) for f in FUELS)), *days,
        Ask(name="quantity", label=_l("What the meter measured"), kind="number", is_needed=True),
        Ask(name="unit", label=_l("Its unit"), kind="choice", value=laid.store.units.gas, options=tuple((u, u) for u in GAS_UNITS)),
        Ask(name="amount", label=_l("What it cost"), kind="money", is_needed=True),
    ))  # fmt: skip
    accounts = sorted({i.account for i in laid.inputs.values() if i.account})
    if not accounts:
        return [bill]
    payout = Form(key="payout", title=_l("A payout of cards, apps or tokens"), button=_l("Enter the payout"), asks=(
        Ask(name="account", label=_l("Account"), kind="choice", options=tuple((a, a) for a in accounts)), *days,
        Ask(name="gross", label=_l("What was sold"), kind="money", is_needed=True), Ask(name="fee", label=_l("Fees"), kind="money", value="0"),
        Ask(name="paid", label=_l("What was paid out"), kind="money", is_needed=True),
    ))  # fmt: skip
    return [bill, payout]


def _enter(key: str, typed: dict[str, str], seat: Seat) -> None:
    book, pen = site.book(), seat.pen()
    if key == "bill":
        quantity = ask.number_of(typed["quantity"], _("What the meter measured"))
        period = f"{typed['first']}..{typed['last']}"
        enter_bill(book, seat.store, typed["fuel"], period, quantity or 0.0, typed["unit"], typed["amount"], pen)
        return
    payout = cash.PayoutSaid(
        account=typed["account"], period_from=typed["first"], period_to=typed["last"], gross=typed["gross"], fee=typed.get("fee") or "0",
        paid=typed["paid"],
    )  # fmt: skip
    cash.payout(book, seat.store, payout, pen)
