"""Who held the money: the owner opens the names behind the letters, for a reason that is entered first."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _l

from drybank.desk import custody as desk
from drybank.desk.standing import parse_day
from drybank.records.errors import DrybankError
from drybank.web import forms as ask
from drybank.web import site
from drybank.web.forms import Ask, Form
from drybank.web.guard import Seat
from drybank.web.speech import page

TEMPLATE = "web/open_names.html"
WAYS = (("round", _l("by round")), ("holder", _l("by who emptied")), ("counter", _l("by who counted")))
FORM = Form(key="open-names", title="", button=_l("Enter the reason and open the names"), asks=(
    Ask(name="why", label=_l("Why?"), is_needed=True, hint=_l("It is kept in the book with your short name.")),
    Ask(name="by", label=_l("Gaps"), kind="choice", options=WAYS),
    Ask(name="since", label=_l("First day"), kind="date"), Ask(name="until", label=_l("Last day"), kind="date"),
))  # fmt: skip


def open_names(request: HttpRequest, seat: Seat) -> HttpResponse:
    if request.method != "POST":
        days = {name: request.GET.get(name, "") for name in ("since", "until")}
        return page(request, TEMPLATE, {"form": ask.filled(FORM, days)})
    typed = ask.typed_of(request)
    shown: dict[str, Any] = {"form": ask.filled(FORM, typed)}
    try:
        since, until = (
            parse_day(typed.get("since", ""), "The first day"),
            parse_day(typed.get("until", ""), "The last day"),
        )
        by, why = typed.get("by") or "round", typed.get("why", "")
        opened = desk.open_names(site.book(), seat.store, seat.pen(), by, why, since=since, until=until)
    except DrybankError as wrong:
        return page(request, TEMPLATE, shown | {"mistakes": ask.mistakes_of(wrong)}, status=422)
    return page(request, TEMPLATE, shown | {"opened": opened})
