"""A bank of controls under one sign: what they can all hold, what the sign must state, and the way out where it cannot.

Controls of one kind that take the same pieces are judged once, as a *class*.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from itertools import combinations

import msgspec

from drybank.control.grid import SCALES, base_of, grid_of, held, to_base
from drybank.control.house import (
    MUST_HOLD,
    NO_VALUE_IS_NONE,
    PER_PIECE,
    Reading,
    converted,
    reading,
    targets_of,
    to_sheet,
)
from drybank.control.layout import controls_of
from drybank.control.rate import first_on, rate_on, topped_up_on
from drybank.control.terms import OFF_WORDS, piece_time, terms
from drybank.records.control import BankSplit, Conflict, PieceRate, RateStatement, Settable, SignedBank, Terms
from drybank.records.errors import InputError, InputErrors
from drybank.records.layout import Layout
from drybank.records.money import Money
from drybank.records.sheet import HouseSettings, HouseValue, SettingLine
from drybank.records.store import Means
from drybank.records.units import minutes

KINDS_AT_MOST = 8
Allowed = frozenset[int | str]


class Kind(msgspec.Struct, frozen=True, kw_only=True):
    """Controls of a bank that are alike in sheet, pieces and means."""

    of: Reading
    controls: tuple[str, ...]
    pockets: tuple[str, ...]

    @property
    def key(self) -> str:
        return self.controls[0]


def kinds_of(layout: Layout, bank: str, house: Iterable[HouseValue] = ()) -> tuple[Kind, ...]:
    """The controls of a bank, those alike together, in walking order."""
    groups: dict[tuple[object, ...], list[tuple[Reading, tuple[str, ...]]]] = {}
    for control in controls_of(layout, bank):
        of = reading(layout, control.key, house)
        alike = (control.sheet, tuple(sorted(of.worth.items())), tuple(sorted(of.means.items())))
        groups.setdefault(alike, []).append((of, control.pockets))
    return tuple(
        Kind(of=g[0][0], controls=tuple(of.control for of, _ in g), pockets=tuple(p for _, ps in g for p in ps))
        for g in groups.values()
    )


# -- what can be held -------------------------------------------------------------------------------------------------


def _lines_said(of: Reading, line: SettingLine) -> list[HouseValue]:
    """The house lines that a setting can take part in, without a value."""
    if line.purpose == "start pieces" and line.input and of.piece(line):
        return [HouseValue(purpose="start price", base="minor")]
    grid = grid_of(line, of.grid_scale(line))
    if line.purpose == "time per value":
        return [HouseValue(purpose="time per piece", base="s", piece_minor=p) for p in of.pieces if p]
    is_hourly = line.purpose == "price by hour"
    pieces = (0,) if line.purpose not in PER_PIECE else (of.piece(line),) if line.input else of.pieces
    return [
        HouseValue(
            purpose=line.purpose, base=base_of(grid), piece_minor=piece, heat=line.heat,
            from_hour=line.from_hour if is_hourly else 0, until_hour=line.until_hour if is_hourly else 24,
        )
        for piece in pieces
    ]  # fmt: skip


def allowed(of: Reading, h: HouseValue) -> Allowed | None:
    """What one control can hold of a house line (base units, or words in lower case); None: whatever it may be."""
    if h.base in SCALES and of.scale and h.base != of.scale:
        return None
    if h.piece_minor and h.purpose in PER_PIECE and h.piece_minor not in of.pieces:
        return None
    out: Allowed | None = None
    for line, per_unit in targets_of(of, msgspec.structs.replace(h, value=1)):
        mine = _line_allows(of, line, per_unit)
        out = mine if out is None else out & mine
    return _allowed_without(of, h) if out is None else out


def _line_allows(of: Reading, line: SettingLine, per_unit: Fraction) -> Allowed:
    grid = grid_of(line, of.grid_scale(line))
    if base_of(grid) == "choice":
        return frozenset(line.choices[v].casefold() for v in held(grid) if 0 <= v < len(line.choices))
    said = (Fraction(to_base(grid, v)) / per_unit for v in held(grid))
    return frozenset(int(v) for v in said if v.denominator == 1)


def _allowed_without(of: Reading, h: HouseValue) -> Allowed | None:
    """What a control without such a setting does all the same."""
    if h.purpose in ("first time", "top-up time") and not of.lines(h.purpose):
        return None
    if h.purpose in NO_VALUE_IS_NONE:
        return frozenset({0})
    if h.purpose in ("free drying", "coin lock-out"):
        return frozenset(OFF_WORDS)
    if h.purpose == "door rule":
        return frozenset({of.sheet.sale.door})
    if h.purpose in ("piece value", "token value"):
        return frozenset({h.piece_minor})
    return frozenset() if h.purpose in MUST_HOLD else None


def _ids(kinds: Sequence[Kind]) -> list[HouseValue]:
    return list(dict.fromkeys(h for k in kinds for line in k.of.sheet.settings for h in _lines_said(k.of, line)))


def _joint(kinds: Sequence[Kind], h: HouseValue) -> Allowed | None:
    out: Allowed | None = None
    for kind in kinds:
        mine = allowed(kind.of, h)
        out = mine if out is None else out if mine is None else out & mine
    return out


def common(layout: Layout, bank: str) -> tuple[Settable, ...]:
    """What every control of a bank can hold, one line for each thing that any of them can be set to.

    A temperature stands once for each scale in the bank and speaks of the controls set in that scale only. An empty line
    is one that they cannot all hold.
    """
    kinds = kinds_of(layout, bank)
    out = []
    for h in _ids(kinds):
        joint = _joint(kinds, h)
        values = joint if joint is not None else frozenset()
        out.append(
            Settable(
                line=h,
                values=tuple(sorted(v for v in values if isinstance(v, int))),
                words=_as_written(kinds, h, values),
            )
        )
    return tuple(out)


def _as_written(kinds: Sequence[Kind], h: HouseValue, words: Allowed) -> tuple[str, ...]:
    """Words in the spelling and order of the first sheet that has them."""
    for kind in kinds:
        for line, _ in targets_of(kind.of, h):
            return tuple(w for w in line.choices if w.casefold() in words)
    return ()


# -- what the sign states ---------------------------------------------------------------------------------------------


def _piece_rate(of: Reading, read: Terms, key: str, heat: int | None) -> PieceRate | None:
    """The rate of one input; None where no number of it starts the control."""
    first = first_on(read, key, heat)
    if first is None:
        return None
    each = piece_time(read.inputs[key], read.heat_at_start if heat is None else heat, is_top_up=True)
    each = 0 if read.top_up == "refused" or read.takes_no_pieces or read.inputs[key].is_locked else each
    return PieceRate(
        piece_minor=read.inputs[key].worth_minor,
        means=(of.means[key],),
        start_pieces=first.pieces,
        start_minor=first.minor,
        first_time_s=first.sold_s,
        first_heated_s=first.heated_s,
        cool_s=first.cool_s,
        cool_is_inside=read.cool_down == "inside",
        time_per_piece_s=each,
        minor_per_minute=rate_on(read, key, heat),
        most_pieces=_most_pieces(read, key, first.pieces, first.sold_s, heat),
        heat=heat or 0,
    )


def _most_pieces(read: Terms, key: str, count: int, first_s: int, heat: int | None) -> int | None:
    """Pieces taken and acted on at one time; None where no limit stands."""
    if read.top_up == "refused":
        return count
    if read.top_up_limit_s is None or first_s == 0:
        return None
    at = read.heat_at_start if heat is None else heat
    each = piece_time(read.inputs[key], at, is_top_up=True)
    if each == 0:
        return count
    room = max(0, topped_up_on(read, key, first_s, 10_000, heat) - first_s)
    return count + -(-room // each)


def _rates(of: Reading, read: Terms, heats: Sequence[int]) -> tuple[PieceRate, ...]:
    """The rate of every paying input; inputs that differ in their means only stand in one."""
    keys = sorted((k for k in of.worth if of.means[k] != "staff key"), key=lambda k: read.inputs[k].worth_minor)
    depends = bool(read.price_by_heat) or any(i.time_by_heat for i in read.inputs.values())
    merged: dict[PieceRate, list[Means]] = {}
    for key in keys:
        for heat in heats if depends else (None,):
            rate = _piece_rate(of, read, key, heat)
            if rate is not None:
                merged.setdefault(msgspec.structs.replace(rate, means=()), []).append(of.means[key])
    return tuple(msgspec.structs.replace(rate, means=tuple(dict.fromkeys(means))) for rate, means in merged.items())


def statement_of(layout: Layout, kind: Kind, house: HouseSettings, bank: str) -> RateStatement:
    """What a sign over one kind of control must state; InputErrors where it cannot hold the house settings."""
    read = terms(kind.of.sheet, to_sheet(layout, kind.key, house), worth=kind.of.worth)
    return RateStatement(
        bank=bank,
        currency=layout.store.currency,
        rates=_rates(kind.of, read, [h.number for h in layout.store.heats]),
        top_up_limit_s=read.top_up_limit_s,
        is_free=read.is_free,
        free_time_s=read.free_time_s if read.is_free or read.free_hours else 0,
        by_hour=read.price_by_hour,
        by_heat=tuple(sorted(read.price_by_heat.items())),
        free_hours=read.free_hours,
    )


def rate_statement(layout: Layout, bank: str, house: HouseSettings) -> RateStatement:
    """What the wall sign of a bank must truly state, and why one sign cannot where it cannot.

    Money per unit of time, which pieces are accepted, how many start a pocket and how many are acted on at one time.

    References
    ----------
    NIST Handbook 44, 5.55 Timing Devices, user requirement "Statement of Rates" (2010 edition, read in a secondary page):
    price as money per unit of time, and the number of coins accepted and acted on at one time. Who gives money back
    (1.10 General Code, G-UR.3.4, same page) stands in the store file, not here.
    """
    kinds = kinds_of(layout, bank, house)
    said: list[tuple[Kind, RateStatement]] = []
    untrue: list[str] = []
    for kind in kinds:
        try:
            said.append((kind, statement_of(layout, kind, house, bank)))
        except InputError as wrong:
            errors = wrong.errors if isinstance(wrong, InputErrors) else (wrong,)
            untrue += [e.sentence() for e in errors]
    if not said:
        empty = RateStatement(
            bank=bank, currency=layout.store.currency, rates=(), top_up_limit_s=None, is_free=False, free_time_s=0
        )
        return msgspec.structs.replace(empty, untrue=tuple(untrue) or (f"No dryer stands in bank {bank}.",))
    first = said[0][1]
    untrue += untruths([(kind.key, stated) for kind, stated in said])
    return msgspec.structs.replace(first, untrue=tuple(untrue))


def differences(a: str, first: RateStatement, b: str, second: RateStatement) -> list[str]:
    """In what the statements of two controls differ, in sentences."""
    money = first.currency
    out: list[str] = []
    mine, theirs = _by_piece(first), _by_piece(second)
    for key in sorted(set(mine) ^ set(theirs)):
        has, lacks = (a, b) if key in mine else (b, a)
        out.append(f"{Money(key[0], money)} by {key[1]} starts control {has}, but is not accepted at control {lacks}.")
    for key in sorted(set(mine) & set(theirs)):
        out += _rate_differences(a, mine[key], b, theirs[key], money)
    if first.top_up_limit_s != second.top_up_limit_s and not out:
        limits = [minutes(s.top_up_limit_s) if s.top_up_limit_s else "none" for s in (first, second)]
        out.append(f"The most time on the clock is {limits[0]} at control {a} and {limits[1]} at control {b}.")
    if (first.is_free, first.free_time_s) != (second.is_free, second.free_time_s) and (first.is_free or second.is_free):
        out.append(f"Drying is not free alike at control {a} and control {b}.")
    for name, x, y in (
        ("price by the hour", first.by_hour, second.by_hour),
        ("price by heat", first.by_heat, second.by_heat),
        ("free hours", first.free_hours, second.free_hours),
    ):
        if x != y:
            out.append(f"The {name} is not alike at control {a} and control {b}.")
    return out


def _by_piece(stated: RateStatement) -> dict[tuple[int, str, int], PieceRate]:
    return {(rate.piece_minor, means, rate.heat): rate for rate in stated.rates for means in rate.means}


def _twofold(control: str, stated: RateStatement) -> list[str]:
    """Pieces that buy one thing at one input of a control and another at its next."""
    seen: dict[tuple[int, str, int], PieceRate] = {}
    out = []
    for rate in stated.rates:
        for means in rate.means:
            key = (rate.piece_minor, means, rate.heat)
            if key in seen:
                piece = Money(rate.piece_minor, stated.currency)
                out.append(f"{piece} by {means} does not buy the same at both its inputs of control {control}.")
            seen[key] = rate
    return out


def untruths(said: Sequence[tuple[str, RateStatement]]) -> list[str]:
    """Why one sign cannot speak for these controls; empty where it can."""
    out = [text for control, stated in said for text in _twofold(control, stated)]
    for control, stated in said[1:]:
        out += differences(said[0][0], said[0][1], control, stated)
    return out


def _rate_differences(a: str, x: PieceRate, b: str, y: PieceRate, currency: str) -> list[str]:
    piece = Money(x.piece_minor, currency)
    out = []
    if x.start_pieces != y.start_pieces:
        out.append(f"{x.start_pieces} pieces of {piece} start control {a}, {y.start_pieces} start control {b}.")
    if x.first_time_s != y.first_time_s:
        out.append(
            f"A start with pieces of {piece} gives {minutes(x.first_time_s)} at control {a}"
            f" and {minutes(y.first_time_s)} at control {b}."
        )
    if x.time_per_piece_s != y.time_per_piece_s:
        out.append(
            f"A further piece of {piece} gives {minutes(x.time_per_piece_s)} at control {a}"
            f" and {minutes(y.time_per_piece_s)} at control {b}."
        )
    if not out and x.first_heated_s != y.first_heated_s:
        out.append(
            f"Of a first start with pieces of {piece}, {minutes(x.first_heated_s)} are with heat at control {a}"
            f" and {minutes(y.first_heated_s)} at control {b}."
        )
    return out


# -- the way out ------------------------------------------------------------------------------------------------------


def conflicts_between(a: Kind, b: Kind) -> list[Conflict]:
    """What two kinds of control can never hold alike, or never state alike, whatever they are set to."""
    out = []
    for h in _ids((a, b)):
        mine, theirs = allowed(a.of, h), allowed(b.of, h)
        if h.purpose in MUST_HOLD and mine is not None and theirs is not None and not mine & theirs:
            heat = f" of heat {h.heat}" if h.heat else ""
            piece = f" for {Money(h.piece_minor, a.of.currency)}" if h.piece_minor else ""
            lacking = next((k.key for k, has in ((a, mine), (b, theirs)) if not has), "")
            why = f"control {lacking} has no" if lacking else "both can hold no one"
            out.append(_conflict(h, a, b, f"{why} {h.purpose}{heat}{piece}"))
    if set(a.of.pieces) != set(b.of.pieces):
        took = [", ".join(str(Money(p, k.of.currency)) for p in sorted(k.of.pieces)) or "none" for k in (a, b)]
        out.append(_conflict(None, a, b, f"one takes {took[0]}, the other {took[1]}"))
    if a.of.sheet.sale.top_up != b.of.sheet.sale.top_up:
        out.append(_conflict(None, a, b, "one takes more pieces while time runs, the other refuses them"))
    return out


def _conflict(h: HouseValue | None, a: Kind, b: Kind, why: str) -> Conflict:
    return Conflict(line=h, first=a.key, second=b.key, says=f"Controls {a.key} and {b.key}: {why}.")


def nearest_house(kinds: Sequence[Kind], house: HouseSettings) -> HouseSettings:
    """The house settings moved, line by line, to the nearest that all these kinds can hold; lines none has are left out."""
    out: list[HouseValue] = []
    scales = {k.of.scale for k in kinds}
    pieces = {p for k in kinds for p in k.of.pieces}
    for h in house:
        if h.purpose in PER_PIECE and h.piece_minor and h.piece_minor not in pieces:
            continue
        for wanted in _in_scales(h, house, scales):
            near = _nearest_line(kinds, wanted)
            out += [near] if near is not None else []
    if all(k.of.sheet.sale.start == "sum" for k in kinds):
        out = [h for h in out if h.purpose != "first time"]
    return tuple(dict.fromkeys(out))


def _in_scales(h: HouseValue, house: HouseSettings, scales: set[str]) -> list[HouseValue]:
    """A temperature line as it is, or near it in the scales of a bank that is not set in its own."""
    if h.base not in SCALES or h.base in scales:
        return [h]
    twins = {o.base for o in house if (o.purpose, o.heat) == (h.purpose, h.heat)}
    near = round(converted(h.value, h.base, is_difference=h.purpose == "temperature band"))
    return [
        HouseValue(purpose=h.purpose, value=near, base="°C" if s == "°C" else "°F", heat=h.heat)
        for s in scales - twins
        if s
    ]


def _nearest_line(kinds: Sequence[Kind], h: HouseValue) -> HouseValue | None:
    joint = _joint(kinds, h)
    if joint is None or (h.base == "choice" and h.word.casefold() in joint):
        return h
    if h.base == "choice":
        return None
    values = sorted(v for v in joint if isinstance(v, int))
    if not values:
        return None
    return msgspec.structs.replace(h, value=min(values, key=lambda v: (abs(v - h.value), v)))


def _is_true(layout: Layout, kinds: Sequence[Kind], house: HouseSettings, bank: str) -> bool:
    """Whether all these kinds can hold the house settings and stand under one sign."""
    try:
        said = [(kind.key, statement_of(layout, kind, house, bank)) for kind in kinds]
    except InputError:
        return False
    return not untruths(said)


def _conflicts_now(layout: Layout, kinds: Sequence[Kind], house: HouseSettings, bank: str) -> list[Conflict]:
    """The pairs that stand in the way: with house settings, of those; without, of any."""
    never = [c for a, b in combinations(kinds, 2) for c in conflicts_between(a, b)]
    if not house or never:
        return never
    said: dict[str, RateStatement] = {}
    out: list[Conflict] = []
    for kind in kinds:
        try:
            said[kind.key] = statement_of(layout, kind, house, bank)
        except InputError as wrong:
            other = next((k for k in kinds if k.key != kind.key), kind)
            out.append(Conflict(line=None, first=other.key, second=kind.key, says=wrong.sentence()))
    for a, b in combinations(said, 2):
        out += [Conflict(line=None, first=a, second=b, says=text) for text in differences(a, said[a], b, said[b])]
    return out


def split_bank(layout: Layout, bank: str, house: HouseSettings = ()) -> BankSplit | None:
    """The nearest split of a bank whose controls cannot all hold one house setting, or stand under one true sign.

    Nearest means: as many pockets as can be stay under the house settings, and as few as can be move. None where there is
    nothing to split. A bank of more than eight kinds of control is not searched, and says so.
    """
    kinds = kinds_of(layout, bank, house)
    conflicts = _conflicts_now(layout, kinds, house, bank)
    if not conflicts or len(kinds) < 2:
        return None
    found = _best_split(layout, kinds, house, bank) if len(kinds) <= KINDS_AT_MOST else None
    named = conflicts[0].says
    if found is None:
        return BankSplit(
            conflicts=tuple(conflicts), first=None, second=None,
            says=f"{named} {_no_split(len(kinds))}",
        )  # fmt: skip
    stay, move = found
    return BankSplit(
        conflicts=tuple(conflicts), first=stay, second=move,
        says=f"{named} Sign pocket{'s' * (len(move.pockets) > 1)} {', '.join(move.pockets)} as a bank of their own.",
    )  # fmt: skip


def _no_split(count: int) -> str:
    if count > KINDS_AT_MOST:
        return f"With {count} kinds of control no split was looked for; part the bank by kind first."
    return f"Two signs are not enough for these {count} kinds of control."


def _possible_splits(kinds: Sequence[Kind]) -> list[tuple[tuple[Kind, ...], tuple[Kind, ...]]]:
    """Every split in two whose parts could each stand under some sign, fewest moved pockets first."""
    apart = {(a.key, b.key) for a, b in combinations(kinds, 2) if conflicts_between(a, b)}
    place = {k.key: n for n, k in enumerate(kinds)}
    lines = [h for h in _ids(kinds) if h.purpose in MUST_HOLD]
    can = {h: [allowed(k.of, h) for k in kinds] for h in lines}
    has = {k.key: set(_ids((k,))) for k in kinds}

    def is_possible(part: Sequence[Kind]) -> bool:
        if any((a.key, b.key) in apart for a, b in combinations(part, 2)):
            return False
        said = set().union(*(has[k.key] for k in part))  # a line that no control here has binds none of them
        rows = ([can[h][place[k.key]] for k in part] for h in lines if h in said)
        sets = ([s for s in row if s is not None] for row in rows)
        return all(frozenset.intersection(*some) for some in sets if some)

    out = []
    for size in range(1, len(kinds)):
        for move in combinations(kinds, size):
            stay = tuple(k for k in kinds if k not in move)
            if is_possible(stay) and is_possible(move):
                out.append((stay, move))
    return sorted(out, key=lambda pair: (sum(len(k.pockets) for k in pair[1]), [place[k.key] for k in pair[1]]))


def _best_split(
    layout: Layout, kinds: Sequence[Kind], house: HouseSettings, bank: str
) -> tuple[SignedBank, SignedBank] | None:
    """The best of all two-part splits whose parts can be signed: house kept for most pockets, then fewest moved."""
    best: tuple[int, tuple[SignedBank, SignedBank]] | None = None
    for stay, move in _possible_splits(kinds):
        if best is not None and best[0] >= sum(len(k.pockets) for k in stay):
            break
        parts = (_signed(layout, stay, house, bank), _signed(layout, move, house, bank))
        if house and not all(part.house for part in parts):
            continue
        kept = len(parts[0].pockets) if not house or parts[0].house == house else 0
        if best is None or kept > best[0]:
            best = (kept, parts)
    return best[1] if best else None


def _signed(layout: Layout, kinds: Sequence[Kind], house: HouseSettings, bank: str) -> SignedBank:
    """One part of a split with its nearest house settings; none where no near ones could be truly signed."""
    for try_ in (house, nearest_house(kinds, house)) if house else ():
        if _is_true(layout, kinds, try_, bank):
            house_of = try_
            break
    else:
        house_of = ()
    return SignedBank(
        controls=tuple(c for k in kinds for c in k.controls),
        pockets=tuple(p for k in kinds for p in k.pockets),
        house=house_of,
    )
