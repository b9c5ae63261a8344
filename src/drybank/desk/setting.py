"""Setting pockets: as found and as left, what still differs from the house, parts replaced."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Literal

import msgspec

from drybank.control import grid_of, parse, scale_of, show, to_sheet
from drybank.desk.cards import devices_of
from drybank.desk.stamp import Pen
from drybank.desk.standing import controls_of, layout_at
from drybank.records.entry import (
    DeviceValue,
    Entry,
    PartReplaced,
    Pieces,
    ReadingTaken,
    SettingChanged,
    SettingValue,
    SheetReadBack,
)
from drybank.records.errors import InputError, InputErrors
from drybank.records.layout import Layout
from drybank.records.sheet import SettingLine, Values

if TYPE_CHECKING:
    from drybank.book import Book


class Differs(msgspec.Struct, frozen=True, kw_only=True):
    """One setting of one control that is not as the house says."""

    control: str
    name: str
    is_now: str
    should_be: str


class ControlState(msgspec.Struct, frozen=True, kw_only=True):
    """One control against its house settings: done, to do, or not known."""

    control: str
    machine: str
    pockets: tuple[str, ...]
    state: str
    differs: tuple[Differs, ...]
    set_by: str = ""


class SetResult(msgspec.Struct, frozen=True, kw_only=True):
    """What was entered at one control, what differs from the house, what was left out and what that costs."""

    entries: tuple[str, ...]
    control: str
    differs: tuple[Differs, ...]
    left_out: tuple[str, ...]
    says: tuple[str, ...]


class Visit(msgspec.Struct, frozen=True, kw_only=True):
    """What a person did at one control, in their own words: ``name=value`` texts of the control's own names."""

    control: str
    left: tuple[str, ...] = ()
    found: tuple[str, ...] = ()
    as_house: bool = False
    devices: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()
    sure: tuple[str, ...] = ()
    test_pieces: tuple[Pieces, ...] = ()
    card: str = ""
    change_day: str = ""
    is_read_back: bool = False
    happened: datetime | None = None


def _line(laid: Layout, control: str, name: str) -> SettingLine:
    sheet = laid.sheets[laid.controls[control].sheet]
    wanted = name.strip().lower()
    fits = [s for s in sheet.settings if wanted in (s.key.lower(), s.name.lower())]
    fits = fits or [s for s in sheet.settings if s.purpose == wanted]
    if len(fits) != 1:
        what = (
            f"Sheet {sheet.name} has no setting “{name.strip()}”."
            if not fits
            else f"“{name.strip()}” could be several settings."
        )
        raise InputError(what, where=control, allowed=", ".join(s.name for s in (fits or sheet.settings)))
    return fits[0]


def values_from(laid: Layout, control: str, texts: Sequence[str], held: Values) -> Values:
    """A control's own values from ``name=value`` texts on its sheet's grid; every mistake at once."""
    out, mistakes = {}, []
    for text in texts:
        name, sign, value = text.partition("=")
        try:
            if not sign:
                raise InputError(f"“{text}” has no value.", where=control, mend="Write name=value.")
            line = _line(laid, control, name)
            scale = scale_of(laid, control, held) if len(line.grids) > 1 else ""
            out[line.key] = parse(line, value, scale=scale, currency=laid.store.currency)
        except InputError as wrong:
            mistakes.append(wrong)
    if mistakes:
        raise InputErrors(mistakes)
    return out


def shown_value(laid: Layout, device: str, text: str) -> DeviceValue:
    """What a meter or counter showed, from text: ``1234.5`` on a tenth-hour meter, whole numbers elsewhere."""
    meter, counter = laid.meters.get(device), laid.counters.get(device)
    if meter is None and counter is None:
        near = [d for d in (*laid.meters, *laid.counters) if d.split(".")[0] == device.split(".")[0]]
        raise InputError(f"There is no meter or counter “{device}”.", allowed=", ".join(near) or "see drybank check")
    clean = text.strip().replace(" ", "")
    per = meter.per_hour if meter else 1
    whole, _, part = clean.partition(".")
    digits = {1: 0, 10: 1, 60: 0}[per]
    if not whole.isdigit() or len(whole) > 12 or (part and not part.isdigit()) or len(part) > digits:
        allowed = "whole numbers" if digits == 0 else "hours with one decimal, such as 1234.5"
        raise InputError(f"“{text}” cannot stand on {device}.", allowed=allowed)
    value = int(whole) * (per if digits else 1) + (int(part) if part else 0)
    over = meter.rolls_over_at if meter else (counter.rolls_over_at if counter else 0)
    if value >= over:
        raise InputError(
            f"{device} starts again before {text}.", allowed=f"0 to {over - 1} of its steps", mend="Read it again."
        )
    return DeviceValue(device=device, shown=value)


def _device_values(laid: Layout, visit: Visit) -> tuple[DeviceValue, ...]:
    out, mistakes = [], []
    for text in (*visit.devices, *visit.unread):
        key, sign, value = text.partition("=")
        try:
            if not sign:
                raise InputError(f"“{text}” has no value.", mend="Write device=value.")
            if text in visit.unread:
                shown_value(laid, key.strip(), "0")
                out.append(DeviceValue(device=key.strip(), shown=None, why_not=value.strip() or "not said"))
            else:
                out.append(shown_value(laid, key.strip(), value))
        except InputError as wrong:
            mistakes.append(wrong)
    twice = {v.device for v in out if sum(w.device == v.device for w in out) > 1}
    mistakes += [InputError(f"{d} is given twice.", mend="Give it once.") for d in sorted(twice)]
    if mistakes:
        raise InputErrors(mistakes)
    return tuple(out)


def differs_from_house(book: Book, laid: Layout, control: str, held: Values, when: datetime) -> tuple[Differs, ...]:
    """Settings of a control that are not as the house says; a value never read counts as not known."""
    house = book.house_at(laid.store.key, laid.controls[control].bank, when)
    if not house:
        return ()
    wanted = to_sheet(laid, control, house)
    sheet = laid.sheets[laid.controls[control].sheet]
    out = []
    for line in sheet.settings:
        if line.key in wanted and held.get(line.key) != wanted[line.key]:
            scale = scale_of(laid, control, held) if len(line.grids) > 1 else ""
            words = {"scale": scale, "currency": laid.store.currency}
            now = held.get(line.key)
            holds = now is not None and grid_of(line, scale) is not None
            out.append(Differs(control=control, name=line.name, is_now=show(line, now, **words) if holds and now is not None else "not known", should_be=show(line, wanted[line.key], **words)))  # fmt: skip
    return tuple(out)


def bank_progress(book: Book, store: str, bank: str, when: datetime) -> tuple[ControlState, ...]:
    """A bank control by control: what is set, what is left, in walking order."""
    laid = layout_at(book, store, when)
    held = book.settings_at(store, when)
    out = []
    for key in controls_of(laid, bank=bank):
        differs = differs_from_house(book, laid, key, held.get(key, {}), when)
        unknown = bool(differs) and all(d.is_now == "not known" for d in differs)
        agreed = bool(book.house_at(store, laid.controls[key].bank, when))
        state = "no house settings" if not agreed else "not known" if unknown else "to do" if differs else "done"
        out.append(
            ControlState(
                control=key,
                machine=laid.controls[key].machine,
                pockets=laid.controls[key].pockets,
                state=state,
                differs=differs,
            )
        )
    return tuple(out)


def record_visit(book: Book, store: str, visit: Visit, pen: Pen) -> SetResult:
    """Enter one visit: the readings first, then as found / as left. All of it or nothing.

    Meters, counters and test coins are always asked; what is left out is said, with what it costs.
    """
    when = visit.happened or pen.clock()
    laid = layout_at(book, store, when)
    control = controls_of(laid, pocket=visit.control)[0]
    held = book.settings_at(store, when).get(control, {})
    found = values_from(laid, control, visit.found, held)
    left = _left(book, laid, control, visit, held | found, when)
    devices = _device_values(laid, visit)
    kept = _second_look(book, laid, devices, when, visit.sure)
    asked = [key for key, _ in devices_of(laid, [control])]
    left_out = tuple(key for key in asked if key not in {d.device for d in devices})
    entries = _entries(laid, control, visit, (held | found, found, left, devices), pen)
    booked = book.append(entries)
    after = held | found | left
    return SetResult(
        entries=tuple(b.entry.id for b in booked), control=control,
        differs=differs_from_house(book, laid, control, after, when), left_out=left_out, says=(*kept, *_cost_of(left_out)),
    )  # fmt: skip


def _second_look(
    book: Book, laid: Layout, devices: tuple[DeviceValue, ...], when: datetime, sure: Sequence[str]
) -> tuple[str, ...]:
    """Refuse unlikely readings until they were read twice; what is said of those kept comes back. No range is ever named."""
    from drybank.desk.second_look import doubts

    found = doubts(book, laid, devices, when, sure)
    again = [d for d in found if not d.is_kept]
    if again:
        raise InputErrors(
            [InputError(d.says, where=d.device, mend=f"If it shows the same, say so: --sure {d.device}") for d in again]
        )
    return tuple(f"{d.device}: {d.says}" for d in found)


def _left(book: Book, laid: Layout, control: str, visit: Visit, held: Values, when: datetime) -> Values:
    if not visit.as_house:
        return values_from(laid, control, visit.left, held)
    house = book.house_at(laid.store.key, laid.controls[control].bank, when)
    if not house:
        raise InputError(
            f"Bank {laid.controls[control].bank} has no house settings.", mend="Say what was left, or adopt some first."
        )
    return to_sheet(laid, control, house) | values_from(laid, control, visit.left, held)


def _entries(
    laid: Layout, control: str, visit: Visit, values: tuple[Values, Values, Values, tuple[DeviceValue, ...]], pen: Pen
) -> list[Entry]:
    before, found, left, devices = values
    when = visit.happened or pen.clock()
    store, out, reading = laid.store.key, [], ""
    if devices or visit.test_pieces:
        taken = pen.entry(store, ReadingTaken(values=devices, test_pieces=visit.test_pieces, visit=visit.card), when)
        reading = taken.id
        out.append(taken)
    if found or left:
        sheet = laid.sheets[laid.controls[control].sheet]
        body = SettingChanged(
            control=control, bank=laid.controls[control].bank, sheet_revision=sheet.revision, reading=reading,
            found=tuple(SettingValue(setting=k, value=before.get(k)) for k in (left | found)),
            left=tuple(SettingValue(setting=k, value=v) for k, v in (found | left).items()),
            is_read_back=visit.is_read_back, card=visit.card, change_day=visit.change_day,
        )  # fmt: skip
        out.append(pen.entry(store, body, when))
        if visit.is_read_back:
            agreed = SheetReadBack(sheet=sheet.key, revision=sheet.revision, control=control, agreed=tuple(left))
            out.append(pen.entry(store, agreed, when))
    if not out:
        raise InputError("Nothing was given to enter.", where=control, mend="Say what was found, left or read.")
    return out


def _cost_of(left_out: Sequence[str]) -> tuple[str, ...]:
    if not left_out:
        return ()
    return (
        f"Not read: {', '.join(left_out)}. Without it the weeks around this visit cannot be split at the change, "
        "and the balance gives a wider interval for them.",
    )


class Exchange(msgspec.Struct, frozen=True, kw_only=True):
    """A part exchanged: last values of the old one (``device=`` where unreadable), first of the new, as texts."""

    part: Literal["board", "acceptor", "counter", "meter", "motor", "drum", "coin box"]
    at: str
    last: tuple[str, ...] = ()
    first: tuple[str, ...] = ()
    sheet: str = ""
    number: str = ""


def replace_part(book: Book, store: str, said: Exchange, pen: Pen) -> str:
    """Enter a part exchanged; the entry's id comes back."""
    laid = layout_at(book, store, pen.clock())
    places = (laid.controls, laid.pockets, laid.meters, laid.counters, laid.boxes)
    if not any(said.at in place for place in places):
        raise InputError(f"“{said.at}” is not a pocket, control, meter, counter or box of {laid.store.name}.")
    if said.sheet and said.sheet not in laid.sheets:
        raise InputError(
            f"There is no sheet “{said.sheet}” in this store.", allowed=", ".join(laid.sheets), mend="Load it first."
        )
    body = PartReplaced(
        part=said.part, at=said.at, last=_part_values(laid, said.last), first=_part_values(laid, said.first), sheet=said.sheet,
        new_number=said.number,
    )  # fmt: skip
    return book.append([pen.entry(store, body)])[0].entry.id


def _part_values(laid: Layout, texts: Sequence[str]) -> tuple[DeviceValue, ...]:
    out = []
    for text in texts:
        key, _, value = text.partition("=")
        unreadable = DeviceValue(device=key.strip(), shown=None, why_not="unreadable")
        out.append(shown_value(laid, key.strip(), value) if value.strip() else unreadable)
    return tuple(out)
