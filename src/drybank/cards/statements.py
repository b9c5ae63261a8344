"""Statements and proofs of income on paper and as spreadsheets, in English and Spanish.

The same rows go to the PDF and to the XLSX or CSV, so that they cannot differ.
"""

from __future__ import annotations

import csv
import io
from datetime import date
from typing import Any

import msgspec

from drybank.cards.paper import pdf
from drybank.records.card import Language
from drybank.records.money import Money
from drybank.records.takings import IncomeProof, PeriodTakings, Statement

WORDS: dict[Language, dict[str, str]] = {
    "en": {
        "statement": "Statement", "owner": "Owner's statement", "for": "Statement for {reader}", "proof": "Proof of income",
        "from": "{a} to {b}", "weeks": "Week by week", "sum": "How it adds up", "from_day": "from", "to_day": "to", "coins": "coins",
        "cards": "cards", "takings": "takings", "fees": "fees", "refunds": "refunds", "tax": "tax", "base": "after tax", "total": "total",
        "adjustments": "adjustments of weeks closed before", "adjusted": "adjusted", "what": "line", "amount": "amount", "tax_line": "Sales tax, {percent} % {how} ({where})", "included": "included", "added": "on top",
        "no_tax": "Sales tax: none on file", "share": "Share of {name}: {lines}", "percent_of": " % of ",
        "rounded": "The share of {name} was worked out exactly and rounded once, {rule}.", "half up": "half a unit up",
        "half even": "half a unit to the even", "down": "down", "up": "up", "minimum": "guaranteed minimum", "costs": "Fuel bills of the period",
        "kept": "Kept", "due": "Due to {name}", "notes": "Read this too", "seals": "Seals of the weeks", "answer_owner": "Took {takings}, kept {kept}.",
        "answer_partner": "{due} is due to {name}, of {base}.", "month": "month", "pieces": "pieces", "hours": "hours", "fuel": "fuel used",
        "agrees": "fuel against hours", "pays": "takings against hours", "earned": "earned", "answer_proof": "Took {total} in {n} months.", "months": "Month by month", "unknown": "not known",
    },
    "es": {
        "statement": "Liquidación", "owner": "Liquidación del propietario", "for": "Liquidación para {reader}", "proof": "Justificante de ingresos",
        "from": "{a} a {b}", "weeks": "Semana a semana", "sum": "Cómo se suma", "from_day": "desde", "to_day": "hasta", "coins": "monedas",
        "cards": "tarjetas", "takings": "recaudado", "fees": "comisiones", "refunds": "devoluciones", "tax": "impuesto", "base": "sin impuesto", "total": "total",
        "adjustments": "ajustes de semanas ya cerradas", "adjusted": "ajustes", "what": "concepto", "amount": "importe", "tax_line": "Impuesto sobre ventas, {percent} % {how} ({where})", "included": "incluido", "added": "aparte",
        "no_tax": "Impuesto sobre ventas: ninguno registrado", "share": "Parte de {name}: {lines}", "percent_of": " % de ",
        "rounded": "La parte de {name} se calculó exacta y se redondeó una vez, {rule}.", "half up": "la media unidad hacia arriba",
        "half even": "la media unidad al par", "down": "hacia abajo", "up": "hacia arriba", "minimum": "mínimo garantizado", "costs": "Facturas de energía del periodo",
        "kept": "Queda", "due": "A pagar a {name}", "notes": "Lea también esto", "seals": "Sellos de las semanas", "answer_owner": "Recaudado {takings}, queda {kept}.",
        "answer_partner": "Corresponden {due} a {name}, de {base}.", "month": "mes", "pieces": "piezas", "hours": "horas", "fuel": "energía usada",
        "agrees": "energía frente a horas", "pays": "recaudado frente a horas", "earned": "ganado", "answer_proof": "Recaudado {total} en {n} meses.", "months": "Mes a mes", "unknown": "no se sabe",
    },
}  # fmt: skip
WORDS["fr"] = WORDS["en"]

AGREES: dict[Language, dict[str, str]] = {
    "es": {
        "fuel and hours agree": "la energía y las horas concuerdan", "less fuel than the hours burn": "menos energía de la que gastan las horas",
        "more fuel than the hours burn": "más energía de la que gastan las horas",
        "takings and hours agree": "lo recaudado y las horas concuerdan",
        "less taken than the hours usually bring": "menos recaudado de lo que suelen dar las horas",
        "more taken than the hours usually bring": "más recaudado de lo que suelen dar las horas",
    },
}  # fmt: skip
CHECK: dict[Language, tuple[str, ...]] = {
    "es": (
        "Compare el sello de cada semana con la copia guardada en otro lugar desde entonces (impresa o enviada).",
        "Ejecute: drybank verify {store} --seal LÍNEA, con una línea de un sello guardado en otro lugar. Dice si la cadena pasa todavía por él.",
        "Pida las facturas de la compañía y los extractos del banco, y compárelos con la energía y los ingresos de aquí.",
    ),
}
AS_EARNED: dict[Language, str] = {
    "es": "Frente a las horas, las monedas de una caja se reparten por igual entre los días desde que se vació antes, así que un mes de cinco recogidas no parece más rico. Los márgenes comparan estos meses entre sí (su mediana y tres desviaciones robustas), no con una verdad.",
}
NO_SEAL: dict[Language, str] = {
    "es": "Ninguna semana de estos meses se cerró con sello: nada muestra aquí cómo estaba el libro entonces.",
}

TRUTH: dict[Language, str] = {
    "es": "Una cadena íntegra prueba que nadie cambió una anotación después de hacerla. No prueba que fuera cierta cuando se escribió.",
}


class Grid(msgspec.Struct, frozen=True, kw_only=True):
    """One table of a statement; ``columns`` left or right for each."""

    title: str
    heads: tuple[str, ...]
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    total: tuple[str, ...] = ()
    note: str = ""


def _day(day: date, language: Language) -> str:
    from babel.dates import format_date

    return str(format_date(day, "d MMM", locale=language))


def _week_row(p: PeriodTakings, language: Language) -> tuple[str, ...]:
    money = (p.coins, p.cards, p.adjustments, p.takings, p.fees, p.refunds, p.tax.tax, p.tax.base)
    return (_day(p.starts, language), _day(p.ends, language), *(m.plain() for m in money))


def _lines(s: Statement, w: dict[str, str]) -> list[tuple[str, str]]:
    total = s.total
    tax = total.tax
    how = w["included"] if tax.total == total.takings else w["added"]
    out = [(w["coins"], total.coins.plain()), (w["cards"], total.cards.plain())]
    if total.adjustments.minor:
        out.append((w["adjustments"], total.adjustments.plain()))
    out.append((w["takings"], total.takings.plain()))
    out.append(
        (w["tax_line"].format(percent=tax.percent, how=how, where=tax.jurisdiction), (-tax.tax).plain())
        if tax.source
        else (w["no_tax"], "0.00")
    )
    if s.is_owner:
        out += [(w["fees"], (-total.fees).plain()), (w["refunds"], (-total.refunds).plain())]
    if s.costs.minor:
        out.append((w["costs"], (-s.costs).plain()))
    for share in s.shares:
        parts = "; ".join(line.says.replace(" % of ", w["percent_of"]) for line in share.lines) or "0"
        text = w["share"].format(name=share.name, lines=w["minimum"] if share.is_guaranteed else parts)
        out.append((text, (-share.due).plain() if s.is_owner else share.due.plain()))
    return out


def statement_grids(s: Statement, language: Language = "en") -> tuple[Grid, ...]:
    """How the period adds up, then week by week."""
    w = WORDS[language]
    last = (w["kept"], s.kept.plain()) if s.is_owner else (w["due"].format(name=s.reader), s.shares[0].due.plain())
    sums = Grid(
        title=w["sum"],
        heads=(w["what"], f"{w['amount']}, {s.currency}"),
        columns=("left", "right"),
        rows=tuple(_lines(s, w)),
        total=last,
    )
    names = ("from_day", "to_day", "coins", "cards", "adjusted", "takings", "fees", "refunds", "tax", "base")
    is_adjusted = any(p.adjustments.minor for p in s.weeks)
    keep = [
        i for i, name in enumerate(names)
        if (name != "adjusted" or is_adjusted)
        and (s.is_owner or name not in ("fees", "refunds"))  # a partner does not see the owner's fees and refunds
    ]  # fmt: skip
    rows = [_week_row(p, language) for p in s.weeks]
    total = (w["total"], "", *_week_row(s.total, language)[2:])
    weeks = Grid(
        title=w["weeks"], heads=tuple(w[names[i]] for i in keep), columns=("right",) * len(keep),
        rows=tuple(tuple(row[i] for i in keep) for row in rows), total=tuple(total[i] for i in keep),
    )  # fmt: skip
    return (sums, weeks)


def proof_grids(p: IncomeProof, language: Language = "en") -> tuple[Grid, ...]:
    """Month by month: takings beside pieces, hours and fuel."""
    w = WORDS[language]

    def known(value: float | None, unit: str = "", digits: int = 0) -> str:
        return w["unknown"] if value is None else f"{value:,.{digits}f} {unit}".strip()

    said = AGREES.get(language, {})
    rows = tuple(
        (
            m.month, m.takings.plain(), known(m.pieces), known(m.hours), known(m.fuel, m.fuel_unit),
            _between(_number(m.fuel_low), _number(m.fuel_high, m.fuel_unit), said.get(m.agrees, m.agrees)),
            _between(_whole(m.takings_low), _whole(m.takings_high), said.get(m.took, m.took), f"{w['earned']} {_whole(m.earned)}; "),
        )
        for m in p.months
    )  # fmt: skip
    heads = (w["month"], f"{w['takings']}, {p.currency}", w["pieces"], w["hours"], w["fuel"], w["agrees"], w["pays"])
    total = (w["total"], p.total.plain(), "", "", "", "", "")
    return (Grid(title=w["months"], heads=heads, columns=("right",) * 5 + ("left",) * 2, rows=rows, total=total),)


def _number(value: float | None, unit: str = "") -> str:
    return "" if value is None else f"{value:,.0f} {unit}".strip()


def _whole(amount: Money | None) -> str:
    return "" if amount is None else f"{amount.decimal():,.0f}"


def _between(low: str, high: str, says: str, before: str = "") -> str:
    return f"{says} ({before}{low}–{high})" if low and high else says


def statement_notes(s: Statement, language: Language = "en") -> tuple[str, ...]:
    """What must be read beside a statement: how each share was rounded, and what a true chain proves."""
    w = WORDS[language]
    rounded = tuple(w["rounded"].format(name=x.name, rule=w[x.rounding]) for x in s.shares if not x.is_guaranteed)
    return (*rounded, *(TRUTH.get(language, n) for n in s.notes))


def statement_pdf(s: Statement, language: Language = "en", paper: str = "letter") -> bytes:
    """The statement as a PDF."""
    w = WORDS[language]
    answer = (
        w["answer_owner"].format(takings=s.total.takings, kept=s.kept)
        if s.is_owner
        else w["answer_partner"].format(due=s.shares[0].due, name=s.reader, base=s.shares[0].base)
    )
    title = w["owner"] if s.is_owner else w["for"].format(reader=s.reader)
    notes = list(statement_notes(s, language))
    seals = seal_rows(s)
    return _paper(
        title,
        s.store_name,
        w["from"].format(a=s.starts, b=s.ends),
        answer,
        statement_grids(s, language),
        (notes, seals, language, paper),
    )


def proof_pdf(p: IncomeProof, language: Language = "en", paper: str = "letter") -> bytes:
    """The proof of income as a PDF."""
    w = WORDS[language]
    span = w["from"].format(a=p.months[0].month, b=p.months[-1].month)
    answer = w["answer_proof"].format(total=p.total, n=len(p.months))
    check = check_words(p, language)
    notes = [*income_notes(p, language), *check]
    seals = seal_rows(p)
    return _paper(w["proof"], p.store_name, span, answer, proof_grids(p, language), (notes, seals, language, paper))


def income_notes(p: IncomeProof, language: Language) -> tuple[str, ...]:
    """What must be read beside a proof of income, in a language."""
    if language not in CHECK:
        return p.says
    is_held = any(m.took for m in p.months)
    return (TRUTH[language], *((AS_EARNED[language],) if is_held else ()), *_unknown(p))


def check_words(p: IncomeProof, language: Language) -> tuple[str, ...]:
    """How to check a proof of income, in a language."""
    if language not in CHECK:
        return p.how_to_check
    first, *rest = (c.format(store=p.store) for c in CHECK[language])
    return (first if p.seals else NO_SEAL[language], *rest)


def seal_rows(p: IncomeProof | Statement) -> list[str]:
    """Each closed week with its seal's line; with the tip that it froze where no seal was handed out."""
    return [f"{x.week}  {x.line or x.tip}" for x in p.seals]


def _unknown(p: IncomeProof) -> list[str]:
    """Months without hours or bills, in Spanish."""
    hours, fuel = [m.month for m in p.months if m.hours is None], [m.month for m in p.months if m.fuel is None]
    out = [f"No se conocen las horas de {', '.join(hours)}: faltan lecturas."] if hours else []
    return out + ([f"No hay factura de energía de {', '.join(fuel)}: esos meses no tienen contraste."] if fuel else [])


def _paper(
    title: str,
    store: str,
    span: str,
    answer: str,
    grids: tuple[Grid, ...],
    rest: tuple[list[str], list[str], Language, str],
) -> bytes:
    notes, seals, language, size = rest
    w = WORDS[language]
    data: dict[str, Any] = {
        "title": title, "store": store, "span": span, "answer": answer, "tables": [msgspec.to_builtins(g) for g in grids], "notes": notes,
        "notes_head": w["notes"], "seals": seals, "seals_head": w["seals"], "paper": size,
    }  # fmt: skip
    return pdf("statement.typ", data, language)


def grids_xlsx(grids: tuple[Grid, ...]) -> bytes:
    """Tables as a spreadsheet, a sheet each. Text stays text: nothing in it can become a formula."""
    import xlsxwriter

    out = io.BytesIO()
    with xlsxwriter.Workbook(
        out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    ) as book:
        bold, money = book.add_format({"bold": True}), book.add_format({"num_format": "#,##0.00"})
        for number, grid in enumerate(grids, 1):
            sheet = book.add_worksheet(f"{number} {grid.title}"[:31].translate(str.maketrans("[]:*?/\\", "-------")))
            for column, head in enumerate(grid.heads):
                sheet.write_string(0, column, head, bold)
            for row, cells in enumerate((*grid.rows, *((grid.total,) if grid.total else ())), 1):
                for column, cell in enumerate(cells):
                    _cell(sheet, row, column, cell, money)
            sheet.set_column(0, len(grid.heads) - 1, 16)
    return out.getvalue()


def _cell(sheet: Any, row: int, column: int, text: str, money: Any) -> None:
    plain = text.replace(",", "")
    digits = plain.lstrip("-")
    if digits.count(".") <= 1 and digits.replace(".", "").isdigit() and not text.startswith("0" * 2):
        sheet.write_number(row, column, float(plain), money if "." in plain else None)
    else:
        sheet.write_string(row, column, text)


def grids_csv(grids: tuple[Grid, ...]) -> str:
    """Tables as CSV, one after another with an empty line between; a cell that a spreadsheet would run is quoted out."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for number, grid in enumerate(grids):
        if number:
            writer.writerow([])
        for row in (grid.heads, *grid.rows, *((grid.total,) if grid.total else ())):
            writer.writerow([_harmless(cell) for cell in row])
    return out.getvalue()


def _harmless(cell: str) -> str:
    """A leading =, + or @ would be run by a spreadsheet; a minus before digits is a number and stays. No line breaks."""
    plain = " ".join(cell.split())  # a bare return would begin a row of its own for some readers
    runs = plain[:1] in ("=", "+", "@") or (
        plain[:1] == "-" and not plain[1:].replace(",", "").replace(".", "").isdigit()
    )
    return f"'{plain}" if runs else plain
