"""Statements: a month's or a year's money as its reader may see it; a partner sees the own shares only."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse

from drybank.cards import proof_grids, statement_grids
from drybank.cards.statements import check_words, income_notes
from drybank.desk.pages import months_before, week_before
from drybank.desk.takings import proof_of_income, statement_of
from drybank.records.errors import DrybankError
from drybank.records.takings import IncomeProof, Statement
from drybank.web import forms as ask
from drybank.web import site
from drybank.web.guard import Seat
from drybank.web.rights import BOOKS
from drybank.web.shown import kept
from drybank.web.speech import page


def readers_of(seat: Seat) -> tuple[str, ...]:
    """Whose statements this person may read: "" is the owner's; a partner's are the shares they were invited to."""
    if seat.roles & set(BOOKS):
        return ("", *(s.name for s in site.book().store_at(seat.store, site.now()).shares))
    return seat.partners


def reader_of(request: HttpRequest, seat: Seat) -> str:
    """The reader asked for; the first that this person may read where none or another's was."""
    may = readers_of(seat)
    if not may:
        raise Http404
    wanted = request.GET.get("for", may[0])
    return wanted if wanted in may else may[0]


def statement_for(seat: Seat, period: str, reader: str) -> Statement:
    """The statement of one reader whom this person may read, whatever was asked."""
    if reader not in readers_of(seat):
        raise Http404
    return kept(
        seat.store, "statement", lambda: statement_of(site.book(), seat.store, period, site.now(), reader=reader), period, reader
    )  # fmt: skip


def statements(request: HttpRequest, seat: Seat) -> HttpResponse:
    from drybank.web.views.papers import language

    months = months_before(site.book(), seat.store, site.now())
    typed, reader = request.GET.get("period", months[0]), reader_of(request, seat)
    years = tuple(sorted({m[:4] for m in months}, reverse=True))
    shown: dict[str, Any] = {
        "months": months, "years": years, "period": typed, "week": week_before(site.book(), seat.store, site.now()),
        "readers": readers_of(seat), "reader": reader,
    }  # fmt: skip
    try:
        made = statement_for(seat, typed, reader)
    except DrybankError as wrong:
        return page(request, "web/statements.html", shown | {"mistakes": ask.mistakes_of(wrong)}, status=422)
    return page(request, "web/statements.html", shown | {"statement": made, "grids": statement_grids(made, language())})


def income_of(seat: Seat, first: str, last: str) -> IncomeProof:
    """Months of takings beside hours and fuel; the last twelve whole months where none are said."""
    months = months_before(site.book(), seat.store, site.now())
    start, end = first or months[11], last or months[0]
    return kept(
        seat.store, "income", lambda: proof_of_income(site.book(), seat.store, start, end, site.now()), start, end
    )


def income(request: HttpRequest, seat: Seat) -> HttpResponse:
    """What a buyer or a bank is shown: takings beside what they must have used, and how to check the seals."""
    from drybank.web.views.papers import language

    months = months_before(site.book(), seat.store, site.now())
    typed = {"first": request.GET.get("first") or months[11], "last": request.GET.get("last") or months[0]}
    shown: dict[str, Any] = {"months": months, "typed": typed}
    try:
        made = income_of(seat, typed["first"], typed["last"])
    except DrybankError as wrong:
        return page(request, "web/income.html", shown | {"mistakes": ask.mistakes_of(wrong)}, status=422)
    checks = tuple(
        line for line in check_words(made, language()) if "drybank verify" not in line
    )  # said on a page of its own
    shown |= {
        "proof": made,
        "grids": proof_grids(made, language()),
        "notes": income_notes(made, language()),
        "checks": checks,
    }
    return page(request, "web/income.html", shown)
