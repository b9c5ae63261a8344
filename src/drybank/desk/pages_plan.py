"""A plan made for looking at: its figures in a person's units, and its trade-offs as a chart."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

import msgspec

from drybank.desk.drawing import DYE, QUIET, Chart
from drybank.desk.pages import major
from drybank.desk.standing import layout_at
from drybank.desk.wording import name_of, value_of
from drybank.records.money import MINOR_DIGITS, Money
from drybank.records.plan import Plan, PlanFigure
from drybank.records.working import Estimate

if TYPE_CHECKING:
    from drybank.book import Book


class FigureSaid(msgspec.Struct, frozen=True, kw_only=True):
    """One figure a week in words: today, proposed, the change with its give or take, the range if assumptions are off."""

    name: str
    unit: str
    today: str
    proposed: str
    change: str
    give: str
    wide: str


class BankPlanned(msgspec.Struct, frozen=True, kw_only=True):
    """A bank as a plan finds it: what it is set to, name and value, and how many pockets it has."""

    key: str
    name: str
    pockets: int
    house: tuple[tuple[str, str], ...]


def banks_planned(book: Book, store: str, when: datetime) -> tuple[BankPlanned, ...]:
    """Every bank of a store with its house settings in words."""
    laid = layout_at(book, store, when)
    return tuple(
        BankPlanned(
            key=bank.key, name=bank.name, pockets=sum(len(m.pockets) for m in laid.machines.values() if m.bank == bank.key),
            house=tuple((name_of(v, laid.store), value_of(v, laid.store)) for v in book.house_at(store, bank.key, when)),
        )
        for bank in laid.store.banks
    )  # fmt: skip


def figures_said(plan: Plan) -> tuple[FigureSaid, ...]:
    """The plan's figures in major units, percent and minutes."""
    return tuple(_figure(f, plan.currency) for f in plan.figures)


def _figure(one: PlanFigure, currency: str) -> FigureSaid:
    unit = one.proposed.unit
    gap = one.difference
    far = one.proposed.assumption
    return FigureSaid(
        name=one.name, unit=currency if unit.startswith("minor") else "%" if unit in ("frac", "share") else unit,
        today=_words(one.today.value, unit, currency) if one.today else "", proposed=_words(one.proposed.value, unit, currency),
        change=_words(gap.value, unit, currency, signed=True) if gap else "", give=_give(gap, currency),
        wide=f"{_words(far.low, unit, currency)} … {_words(far.high, unit, currency)}" if far else "",
    )  # fmt: skip


def _give(gap: Estimate | None, currency: str) -> str:
    if gap is None or gap.interval is None:
        return ""
    return _words((gap.interval.high - gap.interval.low) / 2, gap.unit, currency)


def _words(value: float, unit: str, currency: str, *, signed: bool = False) -> str:
    sign = "+" if signed and value > 0 else ""
    if unit.startswith("minor"):
        return sign + Money(round(value), currency).plain()
    if unit in ("frac", "share"):
        return f"{sign}{100 * value:.1f}"
    return f"{sign}{value:,.1f}"


def front_chart(plan: Plan) -> Chart | None:
    """Margin against the price of a normal load: the settings that nothing beats, the answer named."""
    if not plan.front:
        return None
    values = [
        {"price": major(p.price_normal_minor, plan.currency), "margin": major(p.contribution_minor, plan.currency),
         "answer": p.is_answer, "label": "proposed" if p.is_answer else ""}
        for p in plan.front
    ]  # fmt: skip
    colour = {"condition": {"test": "datum.answer", "value": DYE}, "value": QUIET}
    x = {"field": "price", "type": "quantitative", "scale": {"zero": False}, "axis": {"title": f"a normal load, {plan.currency}", "tickCount": 5}}  # fmt: skip
    y = {"field": "margin", "type": "quantitative", "scale": {"zero": False}, "axis": {"title": f"margin a week, {plan.currency}", "tickCount": 5}}  # fmt: skip
    spec = {
        "data": {"values": values},
        "layer": [
            {"mark": {"type": "point", "size": 90, "filled": True, "opacity": 1}, "encoding": {"x": x, "y": y, "color": colour}},
            {"mark": {"type": "text", "dy": -14, "align": "center"}, "encoding": {"x": x, "y": y, "text": {"field": "label"}, "color": {"value": DYE}}},
        ],
    }  # fmt: skip
    title = f"{len(plan.front)} settings that nothing beats in margin, price and wait at once"
    rows = tuple(
        (p.says, Money(p.price_normal_minor, plan.currency).plain(), Money(round(p.contribution_minor), plan.currency).plain(),
         "not known" if p.wait_p95_s is None else f"{p.wait_p95_s / 60:.1f} min")
        for p in plan.front
    )  # fmt: skip
    heads = ("setting", "a normal load", "margin a week", "wait, 95 of 100")
    return Chart(title=title, alt=f"{title}. The proposed one is named.", spec=spec, heads=heads, rows=rows)


def minute_said(made: Plan) -> str:
    """What a heated minute costs in energy, at the margin and on average; "" where it is not known."""
    cost = made.minute_cost
    if cost is None:
        return ""
    digits = MINOR_DIGITS[made.currency]
    price = made.figure("price per minute").proposed.value
    next_, whole, sold = (
        f"{minor / 10**digits:,.{digits + 2}f} {made.currency}"
        for minor in (cost.total_marginal.value, cost.total_average.value, price)
    )
    return (
        f"A heated minute burns {next_} of energy at the price of the next unit ({whole} at the bill's average) "
        f"and is sold for {sold}."
    )
