"""House settings of a bank: propose, check, waive with a reason, adopt from a date."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

import msgspec

from drybank.control import check_settings, common, split_bank
from drybank.desk.stamp import Pen
from drybank.desk.standing import bank_key, layout_at
from drybank.desk.wording import line_from, name_of, over, same_line, value_of
from drybank.records.control import CheckResult
from drybank.records.entry import CheckWaived, PlanAdopted
from drybank.records.errors import InputError, InputErrors
from drybank.records.layout import Layout
from drybank.records.sheet import HouseSettings

if TYPE_CHECKING:
    from drybank.book import Book


class LineChange(msgspec.Struct, frozen=True, kw_only=True):
    """One line of house settings, in words; ``today`` is empty where it was not set."""

    name: str
    today: str
    proposed: str


class Proposal(msgspec.Struct, frozen=True, kw_only=True):
    """House settings as they would be: what changes, every check, what stands in the way."""

    store: str
    bank: str
    from_date: str
    values: HouseSettings
    changes: tuple[LineChange, ...]
    checks: tuple[CheckResult, ...]
    is_settable: bool
    way_out: str = ""


class Adopted(msgspec.Struct, frozen=True, kw_only=True):
    entry: str
    proposal: Proposal


def lines_changed(laid: Layout, today: HouseSettings, proposed: HouseSettings) -> tuple[LineChange, ...]:
    """Lines that differ, in the order of the proposal; lines that fall away last."""
    store = laid.store
    out = []
    for line in proposed:
        old = next((t for t in today if same_line(t, line)), None)
        if old is None or value_of(old, store) != value_of(line, store):
            out.append(
                LineChange(
                    name=name_of(line, store), today=value_of(old, store) if old else "", proposed=value_of(line, store)
                )
            )
    gone = [t for t in today if not any(same_line(t, p) for p in proposed)]
    return (*out, *(LineChange(name=name_of(t, store), today=value_of(t, store), proposed="") for t in gone))


def house_from(laid: Layout, bank: str, texts: Sequence[str], base: HouseSettings) -> HouseSettings:
    """House settings from ``name=value`` texts laid over a base; every mistake at once."""
    lines = [s.line for s in common(laid, bank)]
    new, mistakes = [], []
    for text in texts:
        try:
            new.append(line_from(text, lines, laid.store))
        except InputError as wrong:
            mistakes.append(wrong)
    if mistakes:
        raise InputErrors(mistakes)
    return over(base, new)


def propose(
    book: Book,
    store: str,
    bank: str,
    pen: Pen,
    *,
    texts: Sequence[str] = (),
    house: HouseSettings | None = None,
    from_date: date | None = None,
) -> Proposal:
    """What adopting these would mean; nothing is entered. ``texts`` lay over ``house``, or over what stands today."""
    when = from_date or pen.clock().date()
    laid = layout_at(book, store, when)
    key = bank_key(laid, bank)
    today = book.house_at(store, key, when)
    values = house_from(laid, key, texts, house if house is not None else today)
    if not values:
        raise InputError("No house settings were given.", mend='Give some, such as "time per piece=6 min".')
    waived = {check: _reason(told.body) for (of, check), told in book.waivers_at(store, when).items() if of == key}
    checks = check_settings(laid, key, values, waived=waived)
    failed = any(c.verdict == "failed" for c in checks)
    split = split_bank(laid, key, values) if failed else None
    return Proposal(
        store=store, bank=key, from_date=when.isoformat(), values=values, changes=lines_changed(laid, today, values),
        checks=checks, is_settable=not failed, way_out=split.says if split else "",
    )  # fmt: skip


def _reason(body: object) -> str:
    return body.reason if isinstance(body, CheckWaived) else ""


def adopt(
    book: Book,
    proposal: Proposal,
    pen: Pen,
    *,
    plan: str = "",
    expected: dict[str, float] | None = None,
    undoes: str = "",
) -> Adopted:
    """Enter a proposal as the bank's house settings; refused while a check fails that nobody waived."""
    failed = [c for c in proposal.checks if c.verdict == "failed"]
    if failed:
        raise InputErrors(
            [
                InputError(f"{c.name}: {c.reason}", mend=c.mend or f"Or waive it with a reason: --waive {c.key}=reason")
                for c in failed
            ]
        )
    body = PlanAdopted(
        bank=proposal.bank,
        values=proposal.values,
        from_date=proposal.from_date,
        plan=plan,
        expected=expected or {},
        undoes=undoes,
    )
    booked = book.append([pen.entry(proposal.store, body)])
    return Adopted(entry=booked[0].entry.id, proposal=proposal)


def waive(book: Book, store: str, bank: str, check: str, reason: str, pen: Pen) -> str:
    """Waive one check of a bank with a stated reason; the entry's id comes back."""
    key = bank_key(layout_at(book, store, pen.clock()), bank)
    if len(reason.strip()) < 3:
        raise InputError("A waiver needs its reason.", mend="Say why, in a few words.")
    return book.append([pen.entry(store, CheckWaived(bank=key, check=check, reason=reason.strip()))])[0].entry.id


def house_of_file(book: Book, store: str, bank: str, path: str, pen: Pen) -> HouseSettings:
    """A bank's house settings from a settings file; refused where the file is another store's."""
    from drybank.book.files import read_settings
    from drybank.desk.files import text_of

    key = bank_key(layout_at(book, store, pen.clock()), bank)
    read = read_settings(text_of(path), path)
    if read.store != store:
        raise InputError(f"this file is for store {read.store}, not {store}.", where=path)
    for house in read.banks:
        if house.bank == key:
            return house.values
    raise InputError(f"this file has no bank {key}.", where=path, allowed=", ".join(b.bank for b in read.banks))
