"""Statements: a month's money as its reader may see it; a partner sees the own share only."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse

from drybank.cards import statement_grids
from drybank.desk.pages import months_before, week_before
from drybank.desk.takings import statement_of
from drybank.records.errors import DrybankError
from drybank.records.takings import Statement
from drybank.web import site
from drybank.web.guard import Seat
from drybank.web.rights import BOOKS
from drybank.web.shown import kept
from drybank.web.speech import page


def statement_for(seat: Seat, period: str) -> Statement:
    """Everything for those who keep the books; for a partner their own, whatever was asked."""
    reader = ""
    if not seat.roles & set(BOOKS):
        if not seat.partners:
            raise Http404
        reader = seat.partners[0]
    return kept(
        seat.store,
        "statement",
        lambda: statement_of(site.book(), seat.store, period, site.now(), reader=reader),
        period,
        reader,
    )


def statements(request: HttpRequest, seat: Seat) -> HttpResponse:
    from drybank.web.views.papers import language

    months = months_before(site.book(), seat.store, site.now())
    typed = request.GET.get("period", months[0])
    shown: dict[str, Any] = {
        "months": months,
        "period": typed,
        "week": week_before(site.book(), seat.store, site.now()),
    }
    try:
        made = statement_for(seat, typed)
    except DrybankError as wrong:
        return page(request, "web/statements.html", shown | {"mistakes": wrong.sentence().splitlines()}, status=422)
    return page(request, "web/statements.html", shown | {"statement": made, "grids": statement_grids(made, language())})
