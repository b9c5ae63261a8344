"""The week's report on two pages, and a bank's work cards in one file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import msgspec

from drybank.cards.paper import pdf, qr_svg
from drybank.cards.words import CARD
from drybank.records.card import Language, WorkCard
from drybank.records.errors import InputError

if TYPE_CHECKING:
    from drybank.desk.pages_report import WeekReport

WORDS: dict[str, dict[str, str]] = {
    "en": {
        "title": "The week", "in": "What came in", "cost": "What it cost", "wrong": "What is wrong", "do": "What to do", "coins": "coins",
        "cards": "cards", "takings": "takings", "before": "Week by week", "fees": "fees", "refunds": "given back", "tax": "tax", "costs": "fuel bills of the week",
        "share": "share of {name}", "kept": "kept", "none_wrong": "Nothing stands out.", "none_do": "Nothing is due.", "next": "Next:",
        "answer": "Took {took}, kept {kept} {currency}.", "missing": "Not complete yet", "week": "week of", "what": "line", "bills": "Bills count in the week they end.",
    },
    "es": {
        "title": "La semana", "in": "Qué entró", "cost": "Qué costó", "wrong": "Qué va mal", "do": "Qué hacer", "coins": "monedas",
        "cards": "tarjetas", "takings": "recaudado", "before": "Semana a semana", "fees": "comisiones", "refunds": "devuelto", "tax": "impuesto", "costs": "facturas de energía de la semana",
        "share": "parte de {name}", "kept": "queda", "none_wrong": "Nada llama la atención.", "none_do": "No toca nada.", "next": "Después:",
        "answer": "Recaudado {took}, queda {kept} {currency}.", "missing": "Aún no está completa", "week": "semana del", "what": "concepto", "bills": "Las facturas cuentan en la semana en que terminan.",
    },
}  # fmt: skip
MOST_CARDS = 400


def report_data(report: WeekReport, language: Language) -> dict[str, Any]:
    """What stands on the two pages."""
    w = WORDS.get(language, WORDS["en"])
    total, money = report.statement.total, report.money
    cost = [
        (w["fees"], (-total.fees).plain()), (w["refunds"], (-total.refunds).plain()), (w["tax"], (-total.tax.tax).plain()),
        (w["costs"], (-report.statement.costs).plain()),
        *((w["share"].format(name=s.name), (-s.due).plain()) for s in report.statement.shares),
    ]  # fmt: skip
    return {
        "title": f"{w['title']} {report.week}", "store": report.name, "span": f"{report.first} – {report.last}", "labels": w,
        "answer": w["answer"].format(took=total.takings.plain(), kept=report.statement.kept.plain(), currency=report.currency),
        "came": [(w["coins"], total.coins.plain()), (w["cards"], total.cards.plain()), (w["takings"], total.takings.plain())],
        "cost": [*cost, (w["kept"], report.statement.kept.plain())],
        "before": [(f"{p.starts}", p.coins.plain(), p.cards.plain(), p.takings.plain()) for p in report.before],
        "bars": [_bar(p.takings.minor, max((b.takings.minor for b in report.before), default=0)) for p in report.before],
        "wrong": [{"head": f"{f.name}, {f.where}", "says": f.says, "next": f.next_check} for f in report.wrong],
        "todo": [{"says": n.says, "next": n.next_step} for n in report.to_do if n.weight == "due"],
        "missing": list(money.missing), "currency": report.currency,
    }  # fmt: skip


def _bar(minor: int, largest: int) -> float:
    """Length of a bar as a percentage of the longest."""
    return round(100 * minor / largest, 1) if largest > 0 else 0.0


def report_pdf(report: WeekReport, language: Language = "en", paper: str = "letter") -> bytes:
    """The report as a PDF of two pages."""
    return pdf("report.typ", {**report_data(report, language), "paper": paper}, language)


def work_cards_pdf(cards: Sequence[WorkCard], paper: str = "a5") -> bytes:
    """Every card of a bank in one file, in walking order."""
    if len(cards) > MOST_CARDS:
        raise InputError(
            f"{len(cards)} cards are more than one file should hold.", mend="Print them machine by machine."
        )
    if not cards:
        raise InputError("There is no card to print.", mend="Does this bank have machines?")
    language = cards[0].language
    made = [
        {"card": msgspec.to_builtins(c), "title": f"{CARD[language]['card']} {c.machine}", "qr": qr_svg(c.id)}
        for c in cards
    ]
    return pdf(
        "work_cards.typ", {"cards": made, "paper": paper, "title": f"{cards[0].store} · {cards[0].bank}"}, language
    )
