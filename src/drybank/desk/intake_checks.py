"""What an entry made on a phone must be before it is booked: the same rules as the terminal's, kind by kind.

Each check takes the entry, the store as it stood when the entry happened, and the past; it raises `InputError` or `Missing`
with a sentence. Nothing here says a word of what was expected in a box.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import msgspec

from drybank.control import grid_of, holds, range_says, scale_of
from drybank.desk.cash import MOST_GIVEN_MIN, MOST_REFUND
from drybank.desk.intake_past import Past
from drybank.records.entry import (
    BoxesEmptied,
    Claimed,
    Corrected,
    Deposited,
    DeviceValue,
    Entry,
    HandedOver,
    HouseUsed,
    Noted,
    OfferMade,
    OutcomeFound,
    PaidOut,
    PartReplaced,
    Pieces,
    PiecesCounted,
    Proved,
    PutOut,
    ReadingTaken,
    Refunded,
    Serviced,
    SettingChanged,
    SettingValue,
    SheetReadBack,
    Watched,
)
from drybank.records.errors import InputError, Missing
from drybank.records.layout import Layout
from drybank.takings import bag_has_left, rounds

if TYPE_CHECKING:
    from drybank.book import Book

LONGEST_WATCH = timedelta(hours=24)


class Case(msgspec.Struct, frozen=True, kw_only=True):
    """One entry to check, with what it is held against."""

    book: Book
    entry: Entry
    laid: Layout
    past: Past

    @property
    def store(self) -> str:
        return self.entry.store


def check(case: Case) -> None:
    """Refuse what the terminal would refuse; raises `InputError` or `Missing`."""
    _CHECKS[type(case.entry.body)](case, case.entry.body)


# Words for what is not there


def _named(what: str, name: str, known: Iterable[str]) -> None:
    names = list(known)
    if name not in names:
        shown = ", ".join(names[:40]) + (" and more" if len(names) > 40 else "")
        raise InputError(f"There is no {what} “{name}” in this store.", allowed=shown or "none")


def _bounded(count: int, what: str, most: int = 500) -> None:
    if count > most:
        raise InputError(f"{count} {what} are too many for one entry.", allowed=f"up to {most}")


def _no_twice(names: Iterable[str], what: str) -> None:
    seen = list(names)
    twice = sorted({n for n in seen if seen.count(n) > 1})
    if twice:
        raise InputError(f"{what} “{twice[0]}” is given twice.", mend="Give it once.")


def _device_values(case: Case, values: tuple[DeviceValue, ...]) -> None:
    _bounded(len(values), "meters and counters")
    _no_twice((v.device for v in values), "Meter or counter")
    for value in values:
        one = case.laid.meters.get(value.device) or case.laid.counters.get(value.device)
        if one is None:
            near = [
                d for d in (*case.laid.meters, *case.laid.counters) if d.split(".")[0] == value.device.split(".")[0]
            ]
            raise InputError(f"There is no meter or counter “{value.device}”.", allowed=", ".join(near) or "see drybank check")  # fmt: skip
        if value.shown is not None and value.shown >= one.rolls_over_at:
            raise InputError(
                f"{value.device} starts again before {value.shown:,}.", allowed=f"0 to {one.rolls_over_at - 1:,}",
                mend="Read it again.",
            )  # fmt: skip
        if value.shown is None and not value.why_not.strip():
            raise InputError(f"{value.device} was not read.", mend="Say why not, in a word.")


def _pieces(case: Case, pieces: tuple[Pieces, ...]) -> None:
    _bounded(len(pieces), "kinds of piece", 60)
    _no_twice((f"{p.piece_minor} {p.means}" for p in pieces), "Piece")
    known = {*case.laid.store.coins, *(i.piece_minor for i in case.laid.inputs.values())}
    strange = sorted({p.piece_minor for p in pieces} - known - {0})
    if strange:
        raise InputError(
            f"This store takes no piece worth {strange[0]}.", allowed=", ".join(map(str, case.laid.store.coins)),
            mend="Count it as foreign.",
        )  # fmt: skip


# Kind by kind


def _reading(case: Case, body: ReadingTaken) -> None:
    if not body.values and not body.test_pieces:
        raise InputError("A reading needs a meter or counter.", mend="Say what was read.")
    _device_values(case, body.values)
    _pieces(case, body.test_pieces)
    if body.test_input:
        _named("input", body.test_input, case.laid.inputs)


def _collection(case: Case, body: BoxesEmptied) -> None:
    if not body.boxes:
        raise InputError("No box was named.", mend="Name boxes.")
    _bounded(len(body.boxes), "boxes")
    _no_twice(body.boxes, "Box")
    for box in body.boxes:
        _named("box", box, case.laid.boxes)
    if body.bag and _is_on_its_way(case, body.bag):
        raise InputError(f"Bag {body.bag} is still on its way.", mend="Take another bag, or enter its deposit first.")


def _is_on_its_way(case: Case, bag: str) -> bool:
    past = {t.id: t for t in (*case.past.about("bag", bag), *case.past.told("hand-over"))}
    return bag_has_left(past.values(), bag, case.entry.happened)


def _count(case: Case, body: PiecesCounted) -> None:
    if not (body.bag or body.boxes) or not (body.pieces or body.minor is not None):
        raise InputError("A count needs a bag or boxes, and pieces or a value.")
    _no_twice(body.boxes, "Box")
    for box in body.boxes:
        _named("box", box, case.laid.boxes)
    _pieces(case, body.pieces)
    if body.minor is not None and body.minor < 0:
        raise InputError("A count is not less than nothing.", mend="Count again.")
    if body.weight_g is not None and not 0 < body.weight_g < 1e7:
        raise InputError("Grams cannot be less than nothing.", mend="Weigh again.")
    if body.collection:
        _is_here(case, body.collection, "collection")
    _count_by_two(case, body)


def _count_by_two(case: Case, body: PiecesCounted) -> None:
    """Where the store asks for two: who emptied these boxes last, or filled this bag, does not count alone."""
    by, second = case.entry.by, body.with_second
    if second and second.casefold() == by.casefold():
        raise InputError("The second person is the first.", mend="Name somebody else.")
    if not case.laid.store.counting.asks_two or second:
        return
    filled = [t for t in case.past.about("bag", body.bag) if t.kind == "collection"] if body.bag else []
    emptied = {t.seq: t for box in body.boxes for t in case.past.about("box", box)} if not body.bag else {}
    last = [max(emptied.values(), key=lambda t: (t.happened, t.seq))] if emptied else []
    if by in {t.by for t in (*filled, *last)}:
        raise InputError("Who collected may not count it alone here.", mend="Count it with a second person.")


def _is_here(case: Case, entry_id: str, kind: str) -> None:
    if any(t.kind == kind for t in case.past.about("entry", entry_id)):
        return
    raise Missing(f"The book holds no {kind} {entry_id} of this store. Send that first.")


def _known_bag(case: Case, bag: str) -> None:
    if any(isinstance(t.body, BoxesEmptied | PiecesCounted) for t in case.past.about("bag", bag)):
        return
    told = (*case.past.told("collection"), *case.past.told("count"))
    if bag not in rounds(sorted(told, key=lambda t: t.happened)):
        raise Missing(f"No collection or count names bag “{bag}”. Check its number.")


def _hand_over(case: Case, body: HandedOver) -> None:
    if not body.to.strip():
        raise InputError("Nobody was named.", mend="Say who has it now.")
    if not body.bag.casefold().startswith("key "):
        _known_bag(case, body.bag)


def _deposit(case: Case, body: Deposited) -> None:
    if not 0 <= body.minor <= 10**10 or not body.bags:
        raise InputError("A deposit needs bags and an amount that a bank would take.", allowed="0 to 100,000,000.00")
    _bounded(len(body.bags), "bags")
    _no_twice(body.bags, "Bag")
    for bag in body.bags:
        _known_bag(case, bag)


def _payout(case: Case, body: PaidOut) -> None:
    from drybank.book.rules import check_date

    _named("account", body.account, sorted({i.account for i in case.laid.inputs.values() if i.account}))
    for key, _pieces_counted, _minor in body.inputs:
        _named("input", key, case.laid.inputs)
    if check_date(body.period_from, "period_from") > check_date(body.period_to, "period_to"):
        raise InputError("The payout's period ends before it begins.", mend="Turn the days round.")
    for told in case.past.told("payout"):
        other = told.body
        if isinstance(other, PaidOut) and other.account == body.account and other.period_to >= body.period_from and other.period_from <= body.period_to:  # fmt: skip
            raise InputError(
                f"A payout of {body.account} for {other.period_from} to {other.period_to} is in the book already.",
                mend="Correct that entry, or take the days out of this one.",
            )


def _refund(case: Case, body: Refunded) -> None:
    _named("pocket", body.pocket, case.laid.pockets)
    if body.minor <= 0:
        raise InputError("A refund is more than nothing.")
    if body.minor > MOST_REFUND * max(case.laid.store.coins):
        raise InputError("A refund is less than anybody puts into one dryer.", mend="Check the amount.")
    if body.claim:
        _is_here(case, body.claim, "claim")


def _claim(case: Case, body: Claimed) -> None:
    _named("pocket", body.pocket, case.laid.pockets)
    _bounded(len(body.kept), "things kept", 20)
    if not 0 <= body.minor <= MOST_REFUND * max(case.laid.store.coins):
        raise InputError("What is claimed is more than anybody puts into one dryer.", mend="Check the amount.")


def _offer(case: Case, body: OfferMade) -> None:
    _named("bank", body.bank, (b.key for b in case.laid.store.banks))
    if body.ends <= body.starts:
        raise InputError("The offer ends before it starts.", mend="Turn the moments round.")
    if body.minutes_given is not None and not 0 <= body.minutes_given <= MOST_GIVEN_MIN:
        raise InputError("An offer gives minutes in all.", allowed=f"0 to {MOST_GIVEN_MIN:,}")


def _house_use(case: Case, body: HouseUsed) -> None:
    _named("pocket", body.pocket, case.laid.pockets)
    _pieces(case, body.pieces)
    if not body.seconds and not body.pieces:
        raise InputError("House use needs a time or pieces.")
    if body.seconds > 7 * 86_400:
        raise InputError("House use of more than a week is a slip.", mend="Check the time.")


def _setting_change(case: Case, body: SettingChanged) -> None:
    if body.bank:
        _named("bank", body.bank, (b.key for b in case.laid.store.banks))
    if body.sign and not body.bank:
        raise InputError("A sign belongs to a bank.", mend="Name the bank.")
    if not body.control:
        if body.found or body.left or not body.sign:
            raise InputError("A setting belongs to a control.", mend="Name the control.")
        return
    _named("control", body.control, case.laid.controls)
    control = case.laid.controls[body.control]
    if body.bank and body.bank != control.bank:
        raise InputError(f"Control {body.control} belongs to bank {control.bank}.", where=body.bank)
    if not (body.found or body.left):
        raise InputError("Nothing was found or left.", where=body.control, mend="Say what was found or left.")
    given = {v.setting: v.value for v in (*body.found, *body.left) if v.value is not None}
    scale = scale_of(case.laid, body.control, given)
    for values, what in ((body.found, "as found"), (body.left, "as left")):
        _no_twice((v.setting for v in values), f"A setting {what},")
        for value in values:
            _on_grid(case, body.control, value, scale, what)


def _on_grid(case: Case, control: str, value: SettingValue, scale: str, what: str) -> None:
    sheet = case.laid.sheets[case.laid.controls[control].sheet]
    line = next((s for s in sheet.settings if s.key == value.setting), None)
    if line is None:
        names = ", ".join(s.key for s in sheet.settings)
        raise InputError(f"Sheet {sheet.name} has no setting “{value.setting}”.", where=control, allowed=names)
    if value.value is None:
        return
    grid = grid_of(line, scale if len(line.grids) > 1 else "")
    if not holds(grid, value.value):
        raise InputError(
            f"“{line.name}” cannot hold {value.value} ({what}).", where=control,
            allowed=range_says(line, grid, case.laid.store.currency), mend="Read it back and give what it shows.",
        )  # fmt: skip


def _replacement(case: Case, body: PartReplaced) -> None:
    laid = case.laid
    _named("pocket, control, meter, counter or box", body.at,
           dict.fromkeys([*laid.controls, *laid.pockets, *laid.boxes, *laid.meters, *laid.counters]))  # fmt: skip
    if body.sheet:
        _named("sheet", body.sheet, laid.sheets)
    _device_values(case, body.last)
    _device_values(case, body.first)


def _sheet_read_back(case: Case, body: SheetReadBack) -> None:
    _named("sheet", body.sheet, case.laid.sheets)
    _named("control", body.control, case.laid.controls)
    if case.laid.controls[body.control].sheet != body.sheet:
        raise InputError(f"Control {body.control} is not of sheet {body.sheet}.")
    keys = [s.key for s in case.laid.sheets[body.sheet].settings]
    _no_twice((*body.agreed, *body.differed), "Setting")
    for key in (*body.agreed, *body.differed):
        _named("setting", key, keys)


def _proof(case: Case, body: Proved) -> None:
    laid = case.laid
    places = dict.fromkeys(
        [*(b.key for b in laid.store.banks), *laid.machines, *laid.pockets, *laid.controls, *laid.inputs, "store", laid.store.key]
    )  # fmt: skip
    _named("place", body.at, places)
    _bounded(len(body.measured), "measured values", 200)
    if not body.measured:
        raise InputError("A proof needs what was measured.")
    if any(isinstance(v, str) and len(v) > 1000 for v in body.measured.values()):
        raise InputError("What was measured is too long to be a measurement.", allowed="up to 1000 characters")
    if body.verdict in ("pass", "fail") and not body.tolerance.strip():
        raise InputError(
            "Passed or failed against what? No tolerance is given.", mend="Give the tolerance and its source, or “no tolerance”."
        )  # fmt: skip
    for number in (body.margin, body.minutes_taken):
        if number is not None and not math.isfinite(number):
            raise InputError("A number is not finite.")


def _watch(case: Case, body: Watched) -> None:
    if not timedelta(0) < body.ends - body.starts <= LONGEST_WATCH:
        raise InputError("A watch ends after it starts, within a day.", mend="Check both moments.")
    _bounded(len(body.first_pieces) + len(body.top_up_pieces), "purchases", 2000)
    if any(p < 0 for p in (*body.first_pieces, *body.top_up_pieces)):
        raise InputError("Nobody pays less than nothing.", mend="Check the pieces.")
    _no_twice((key for key, _ in body.pocket_loads), "Pocket")
    for key, _loads in body.pocket_loads:
        _named("pocket", key, case.laid.pockets)


def _service(case: Case, body: Serviced) -> None:
    from drybank.upkeep import START_LIST

    if not body.tasks:
        raise InputError("Nothing was done.", mend="Name a task.")
    _bounded(len(body.tasks) + len(body.parts), "tasks and parts", 200)
    for task in body.tasks:
        _named("task", task, (t.key for t in START_LIST))
    _named("pocket or machine", body.at, dict.fromkeys([*case.laid.pockets, *case.laid.machines, "store"]))


def _outage(case: Case, body: PutOut) -> None:
    _named("pocket", body.pocket, case.laid.pockets)


def _outcome(_case: Case, body: OutcomeFound) -> None:
    if len(body.cause) > 200:
        raise InputError("The cause is too long.", allowed="up to 200 characters")


def _note(case: Case, body: Noted) -> None:
    if not body.says.strip() and not body.kept:
        raise InputError("The note says nothing.", mend="Write a word, or add a photo.")
    _bounded(len(body.kept), "things kept", 20)
    if len(body.at) > 80:
        raise InputError("The place of the note is too long.", allowed="up to 80 characters")


def _correction(case: Case, body: Corrected) -> None:
    """What is put in an entry's place must stand by the same rules; which entry may be corrected the book itself checks."""
    if len(body.reason.strip()) < 3:
        raise InputError("a correction needs its reason.", mend="Say why, in a few words.")
    first = case.book.find(body.corrects)
    if first.entry.store != case.store:
        raise Missing(f"The book holds no entry {body.corrects}. Check the id.")
    when = body.happened_instead or first.entry.happened
    if when > case.entry.happened + timedelta(minutes=5):
        raise InputError(
            f"{when:%Y-%m-%d %H:%M} UTC is after the correction itself.", mend="Give the moment it happened."
        )
    if body.instead is None:
        return
    if type(body.instead) not in _CHECKS:
        raise InputError(f"a {first.entry.kind} is not corrected this way.", mend="Load the changed file instead.")
    as_was = msgspec.structs.replace(first.entry, body=body.instead, happened=when)
    _CHECKS_OF_SHAPE.get(type(body.instead), check)(
        msgspec.structs.replace(case, entry=as_was, laid=case.past.laid(when))
    )


def _shape_only(case: Case) -> None:
    """Where the rule asks what else is in the book, the entry itself would stand in its own way."""
    body = case.entry.body
    if isinstance(body, BoxesEmptied):
        _collection(case, msgspec.structs.replace(body, bag=""))


_CHECKS_OF_SHAPE: dict[type, Callable[[Case], None]] = {BoxesEmptied: _shape_only, PaidOut: lambda case: None}
_CHECKS: dict[type, Callable[[Case, Any], None]] = {
    ReadingTaken: _reading, BoxesEmptied: _collection, PiecesCounted: _count, HandedOver: _hand_over, Deposited: _deposit,
    PaidOut: _payout, Refunded: _refund, Claimed: _claim, OfferMade: _offer, HouseUsed: _house_use,
    SettingChanged: _setting_change, PartReplaced: _replacement, SheetReadBack: _sheet_read_back, Proved: _proof,
    Watched: _watch, Serviced: _service, PutOut: _outage, OutcomeFound: _outcome, Noted: _note, Corrected: _correction,
}  # fmt: skip
"""Every kind that may be sent; what is not here (store and sheet versions, closes, seals ...) is made by its own page or command."""
