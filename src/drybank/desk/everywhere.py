"""A plan of every bank, or a week of every store, of a whole book: inputs are read here, the work is done here or on a cluster.

Each bank and store is worked out by itself from the same inputs, so the answers do not depend on where that was.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, NamedTuple

import msgspec

from drybank.desk.far import each_on
from drybank.desk.planning import inputs_of
from drybank.desk.stamp import Pen
from drybank.records.errors import DrybankError
from drybank.records.plan import Plan, PlanInputs
from drybank.records.traffic import Settings, Traffic
from drybank.traffic.running import Work

if TYPE_CHECKING:
    from drybank.book import Book
    from drybank.records.traffic import Store as Trade

Step = Callable[[int, int, str], None]


class Told(msgspec.Struct, frozen=True, kw_only=True):
    """One store's week, or one bank's plan, in a sentence."""

    store: str
    bank: str
    says: str
    currency: str = ""


class Everywhere(msgspec.Struct, frozen=True, kw_only=True):
    """Every bank or store in order, and those that could not be worked out, with why."""

    lines: tuple[Told, ...]
    left_out: tuple[str, ...]


class _Bank(NamedTuple):
    inputs: PlanInputs | None
    where: tuple[str, str]
    refused: str


class _Week(NamedTuple):
    trade: Trade | None
    settings: Settings | None
    work: Work
    where: tuple[str, str]
    refused: str


def plans(book: Book, pen: Pen, *, cluster: str = "", step: Step | None = None) -> Iterator[Plan | str]:
    """The plan of every bank, in the order of stores and banks; a sentence where one cannot be made."""
    banks = [(s, b.key) for s in sorted(book.stores()) for b in book.store_at(s, pen.clock()).banks]
    made = each_on(cluster, plan_one, (_bank(book, pen, s, b) for s, b in banks))
    for n, ((store, bank), one) in enumerate(zip(banks, made, strict=True), 1):
        if step is not None:
            step(n, len(banks), f"{store}, {bank}")
        yield one


def plan_everywhere(book: Book, pen: Pen, *, cluster: str = "", step: Step | None = None) -> Everywhere:
    """What to set on every bank of the book."""
    lines, left_out = [], []
    for one in plans(book, pen, cluster=cluster, step=step):
        if isinstance(one, str):
            left_out.append(one)
        else:
            lines.append(Told(store=one.store, bank=one.bank, says=f"{one.what_to_set} {one.what_it_brings}", currency=one.currency))  # fmt: skip
    return Everywhere(lines=tuple(lines), left_out=tuple(left_out))


def _bank(book: Book, pen: Pen, store: str, bank: str) -> _Bank:
    try:
        return _Bank(inputs_of(book, store, bank, pen), (store, bank), "")
    except DrybankError as bad:
        return _Bank(None, (store, bank), f"{store}, {bank}: {bad.sentence()}")


def plan_one(given: _Bank) -> Plan | str:
    """One bank's plan, wherever this runs."""
    from drybank.plan import make_plan

    if given.inputs is None:
        return given.refused
    try:
        return make_plan(given.inputs)
    except DrybankError as bad:
        return f"{', '.join(given.where)}: {bad.sentence()}"


def weeks(book: Book, pen: Pen, work: Work, *, cluster: str = "", step: Step | None = None) -> Iterator[Traffic | str]:
    """The week of every store as it stands, in the order of their keys; a sentence where it cannot be told."""
    stores = sorted(book.stores())
    made = each_on(cluster, week_one, (_week(book, pen, s, work) for s in stores))
    for n, (store, one) in enumerate(zip(stores, made, strict=True), 1):
        if step is not None:
            step(n, len(stores), store)
        yield one


def weeks_everywhere(book: Book, pen: Pen, work: Work, *, cluster: str = "", step: Step | None = None) -> Everywhere:
    """Every store's week in a sentence."""
    from drybank.desk.traffic import answer

    lines, left_out = [], []
    stores = sorted(book.stores())
    for store, one in zip(stores, weeks(book, pen, work, cluster=cluster, step=step), strict=True):
        if isinstance(one, str):
            left_out.append(one)
        else:
            name = book.store_at(store, pen.clock()).name
            lines.append(Told(store=store, bank="", says=answer(name, one)))
    return Everywhere(lines=tuple(lines), left_out=tuple(left_out))


def _week(book: Book, pen: Pen, store: str, work: Work) -> _Week:
    from drybank.desk.traffic import stand

    try:
        now = stand(book, store, pen)
    except DrybankError as bad:
        return _Week(None, None, work, (store, ""), f"{store}: {bad.sentence()}")
    return _Week(now.trade, now.settings, work, (store, ""), "")


def week_one(given: _Week) -> Traffic | str:
    """One store's week, wherever this runs."""
    from drybank.traffic import simulate

    if given.trade is None or given.settings is None:
        return given.refused
    work = given.work
    try:
        return simulate(
            given.trade, given.settings, weeks=work.weeks, replications=work.replications, seed=work.seed,
            threads=work.threads,
        )  # fmt: skip
    except DrybankError as bad:
        return f"{given.where[0]}: {bad.sentence()}"
