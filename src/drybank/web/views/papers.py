"""PDFs from the pages: work cards, price sign, round cards, statements, the week's report."""

from __future__ import annotations

from typing import Literal

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.translation import get_language

from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at
from drybank.web import site, work
from drybank.web.guard import Seat


def language() -> Literal["en", "es"]:
    return "es" if (get_language() or "").startswith("es") else "en"


def safe_name(name: str) -> str:
    """A file's name of letters, digits, dots and dashes."""
    return "".join(c if c.isascii() and (c.isalnum() or c in "-.") else "-" for c in name)


def _pdf(content: bytes, name: str) -> HttpResponse:
    headers = {"Content-Disposition": f'inline; filename="{safe_name(name)}.pdf"'}
    return HttpResponse(content, content_type="application/pdf", headers=headers)


def _paper(seat: Seat) -> tuple[str, str]:
    """Large and small paper as the store's country has it."""
    is_letter = layout_at(site.book(), seat.store, site.now()).store.country in ("US", "CA", "MX")
    return ("letter", "half-letter") if is_letter else ("a4", "a5")


def _known_bank(seat: Seat, bank: str) -> None:
    if bank not in {b.key for b in layout_at(site.book(), seat.store, site.now()).store.banks}:
        raise Http404


def cards(request: HttpRequest, seat: Seat, bank: str) -> HttpResponse:
    """Every work card of a bank in one file."""
    from drybank.cards.report import work_cards_pdf
    from drybank.desk.cards import work_cards

    _known_bank(seat, bank)
    made = work_cards(site.book(), seat.store, seat.pen(), bank=bank, language=language())
    return _pdf(work_cards_pdf(made, _paper(seat)[1]), f"cards-{seat.store}-{bank}")


def sign(request: HttpRequest, seat: Seat, bank: str) -> HttpResponse:
    from drybank.cards import sign_pdf
    from drybank.desk.cards import bank_sign

    _known_bank(seat, bank)
    made = bank_sign(site.book(), seat.store, bank, pen=seat.pen())
    return _pdf(sign_pdf(made, _paper(seat)[0]), f"sign-{seat.store}-{bank}")


def round_cards(request: HttpRequest, seat: Seat) -> HttpResponse:
    from drybank.cards import pdf
    from drybank.desk.standing import parse_day
    from drybank.desk.upkeep import paper_of, round_of

    made = round_of(
        site.book(), seat.store, Pen(by="page", clock=site.now), until=parse_day(request.GET.get("until", ""))
    )
    spoken = language()
    return _pdf(
        pdf("round_card.typ", {**paper_of(made, spoken), "paper": _paper(seat)[1]}, spoken), f"round-{seat.store}"
    )


def statement(request: HttpRequest, seat: Seat, period: str) -> HttpResponse:
    """The owner's statement, or a partner's own."""
    from drybank.cards import statement_pdf
    from drybank.web.views.statements import reader_of, statement_for

    made = statement_for(seat, period, reader_of(request, seat))
    return _pdf(statement_pdf(made, language(), _paper(seat)[0]), f"statement-{seat.store}-{period}")


def _file(content: bytes | str, kind: str, name: str) -> HttpResponse:
    return HttpResponse(content, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})


def statement_sheet(request: HttpRequest, seat: Seat, period: str) -> HttpResponse:
    """The statement as a spreadsheet."""
    from drybank.cards import grids_xlsx, statement_grids
    from drybank.web.views.statements import reader_of, statement_for

    grids = statement_grids(statement_for(seat, period, reader_of(request, seat)), language())
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    return _file(grids_xlsx(grids), kind, safe_name(f"statement-{seat.store}-{period}") + ".xlsx")


def statement_csv(request: HttpRequest, seat: Seat, period: str) -> HttpResponse:
    """The statement as comma-separated text."""
    from drybank.cards import grids_csv, statement_grids
    from drybank.web.views.statements import reader_of, statement_for

    grids = statement_grids(statement_for(seat, period, reader_of(request, seat)), language())
    return _file(grids_csv(grids), "text/csv; charset=utf-8", safe_name(f"statement-{seat.store}-{period}") + ".csv")


def journal(request: HttpRequest, seat: Seat, period: str) -> HttpResponse:
    """The accountant's plain journal of a period."""
    from drybank.desk.takings import journal_of

    text = journal_of(site.book(), seat.store, period, site.now())
    return _file(text, "text/plain; charset=utf-8", safe_name(f"journal-{seat.store}-{period}") + ".txt")


def income(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Proof of income, to hand on."""
    from drybank.cards import proof_pdf
    from drybank.web.views.statements import income_of

    made = income_of(seat, request.GET.get("first", ""), request.GET.get("last", ""))
    return _pdf(proof_pdf(made, language(), _paper(seat)[0]), f"income-{seat.store}")


def report(request: HttpRequest, seat: Seat, week: str) -> HttpResponse:
    """The week on two pages: what came in, what it cost, what is wrong, what to do."""
    from drybank.cards.report import report_pdf
    from drybank.desk.pages_report import week_report

    made = week_report(site.book(), seat.store, week, site.now(), work.upkeep(seat.store), work.findings(seat))
    return _pdf(report_pdf(made, language(), _paper(seat)[0]), f"report-{seat.store}-{week}")
