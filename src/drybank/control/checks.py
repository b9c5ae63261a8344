"""The checks on settings, each with its reason and what would mend it.

A check passes, fails, or gives a notice: something to know that need not be mended. A failed check or a notice may be
waived with a stated reason; it then still says what it found.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import Final

import msgspec

from drybank.control.bank import Kind, kinds_of, split_bank, statement_of, untruths
from drybank.control.house import to_sheet
from drybank.control.terms import terms
from drybank.records.control import CheckResult, PieceRate, RateStatement, Terms, Verdict
from drybank.records.errors import InputError, InputErrors
from drybank.records.layout import Layout
from drybank.records.money import Money
from drybank.records.sheet import HouseSettings, HouseValue
from drybank.records.store import Care
from drybank.records.units import minutes

# Highest exhaust temperature of the care symbols [°C]: GINETEX table of textile care symbols (EN), read; ISO 3758:2012
# table 3 from memory. One workwear page has 50 to 60 °C for one dot (read in a secondary page).
CARE_LIMIT_C: Final[dict[Care, int]] = {"two dots": 80, "one dot": 60}
# Heated seconds of a start below which nothing dries, where the store states no drying needs (common practice, no source).
LEAST_HEAT_S: Final = 600
MINOR_NAMES: Final = {"USD": "c", "CAD": "c", "EUR": "c", "AUD": "c", "NZD": "c", "MXN": "c", "GBP": "p", "JPY": "yen"}
POSTED_S: Final = {"whole": 60, "half": 30, "any": 1}
Found = tuple[Verdict, str, str]


class Held(msgspec.Struct, frozen=True, kw_only=True):
    """A kind of control that holds the house settings: its terms and what a sign over it states."""

    kind: Kind
    read: Terms
    states: RateStatement


class Case(msgspec.Struct, frozen=True, kw_only=True):
    """All that the checks look at."""

    layout: Layout
    bank: str
    house: HouseSettings
    kinds: tuple[Kind, ...]
    held: tuple[Held, ...]
    errors: tuple[InputError, ...]
    least_heat_s: int | None

    @property
    def currency(self) -> str:
        return self.layout.store.currency

    def money(self, minor: int) -> Money:
        return Money(minor, self.currency)

    def lines(self, purpose: str) -> list[HouseValue]:
        return [h for h in self.house if h.purpose == purpose]

    def rates(self) -> list[tuple[Held, PieceRate]]:
        return [(one, rate) for one in self.held for rate in one.states.rates]


def _case(layout: Layout, bank: str, house: HouseSettings, least_heat_s: int | None) -> Case:
    kinds = kinds_of(layout, bank, house)
    held: list[Held] = []
    errors: list[InputError] = []
    for kind in kinds:
        try:
            read = terms(kind.of.sheet, to_sheet(layout, kind.key, house), worth=kind.of.worth)
            held.append(Held(kind=kind, read=read, states=statement_of(layout, kind, house, bank)))
        except InputError as wrong:
            errors += wrong.errors if isinstance(wrong, InputErrors) else (wrong,)
    return Case(
        layout=layout, bank=bank, house=house, kinds=kinds, held=tuple(held), errors=tuple(errors), least_heat_s=least_heat_s
    )  # fmt: skip


# -- one check each ---------------------------------------------------------------------------------------------------


def _on_grid(case: Case) -> Found:
    if not case.errors:
        return "passed", f"Every value can be set on {_controls(case.kinds)}.", ""
    split = split_bank(case.layout, case.bank, case.house)
    return "failed", "\n".join(e.sentence() for e in case.errors), split.says if split else "Choose settable values."


def _controls(kinds: Sequence[Kind]) -> str:
    count = sum(len(k.controls) for k in kinds)
    return "the one control of the bank" if count == 1 else f"all {count} controls of the bank"


def _one_sign(case: Case) -> Found:
    if not case.held:
        return "failed", "No control of the bank can hold the house settings.", "Mend the settings first."
    said = untruths([(one.kind.key, one.states) for one in case.held])
    if case.errors:
        said.append("Not every control can hold the house settings, so one sign cannot speak for all.")
    if not said:
        return "passed", "One sign states truly what every control does.", ""
    split = split_bank(case.layout, case.bank, case.house)
    return "failed", " ".join(said), split.says if split else "Make the settings alike."


def _price_per_minute(case: Case) -> Found:
    by_heat: dict[int, dict[int, set[Fraction]]] = {}
    for _, rate in case.rates():
        if rate.minor_per_minute is not None:
            by_heat.setdefault(rate.heat, {}).setdefault(rate.piece_minor, set()).add(rate.minor_per_minute)
    said = [_spread(case, heat, found) for heat, found in sorted(by_heat.items())]
    unequal = [text for is_equal, text in said if not is_equal]
    if unequal:
        return "failed", " ".join(unequal), "Set the times in proportion to the pieces, or waive it and say why."
    return "passed", " ".join(text for _, text in said) or "No piece buys time after the start.", ""


def _spread(case: Case, heat: int, found: Mapping[int, set[Fraction]]) -> tuple[bool, str]:
    """Whether a minute costs the same with every piece, and the figures."""
    unit = MINOR_NAMES.get(case.currency, "minor units")
    at = f" at heat {heat}" if heat else ""
    prices = sorted((price, piece) for piece, some in found.items() for price in some)
    low, high = prices[0][0], prices[-1][0]
    if low == high:
        return True, f"A minute costs {float(low):.3f} {unit}{at}, with every piece."
    each = " and ".join(
        f"{float(price):.3f} {unit} with pieces of {case.money(piece)} ({float(60 / price):.1f} seconds for 1 {unit})"
        for price, piece in prices
    )
    return False, f"A minute costs {each}{at}: a spread of {float(100 * (high / low - 1)):.1f} %."


def is_reachable(amount: int, pieces: Sequence[int]) -> bool:
    """Whether some number of the pieces comes to the amount exactly, by least sums for each remainder of the smallest."""
    useful = sorted({p for p in pieces if p > 0})
    if not useful or amount < 0:
        return amount == 0
    step = useful[0]
    least: dict[int, int] = {0: 0}
    todo = [0]
    while todo:
        total = least[todo.pop()]
        for piece in useful[1:]:
            new = total + piece
            if new <= amount and new < least.get(new % step, amount + 1):
                least[new % step] = new
                todo.append(new % step)
    return amount % step in least


def _start_price(case: Case) -> Found:
    failed: list[str] = []
    noted: list[str] = []
    for one in case.held:
        pieces = [i.worth_minor for i in one.read.inputs.values() if i.worth_minor and i.start_pieces == 0]
        prices = {
            one.read.price_minor or 0,
            *one.read.price_by_heat.values(),
            *(p for _, _, p in one.read.price_by_hour),
        }
        wrong = [p for p in sorted(prices - {0}) if pieces and not is_reachable(p, pieces)]
        failed += [f"No pieces come to {case.money(p)} exactly at control {one.kind.key}." for p in wrong]
        noted += _over_paid(case, one)
    if failed:
        return "failed", " ".join(failed + noted), "Choose a start price that the accepted pieces come to."
    if noted:
        return "notice", " ".join(dict.fromkeys(noted)), ""
    return "passed", "The start price can be paid exactly with any one kind of piece.", ""


def _over_paid(case: Case, one: Held) -> list[str]:
    """Pieces that alone cannot pay the start price exactly, and what becomes of the rest."""
    price = one.read.price_minor
    after = {"time": "gives time", "lost": "is lost", "held": "counts toward the next start"}[one.read.over_payment]
    if one.read.start == "sum" and one.read.over_payment == "time":
        after = "gives its time"
    return [
        f"With pieces of {case.money(r.piece_minor)} alone a start takes {case.money(r.start_minor)} "
        f"for a price of {case.money(price)}; what is over {after}."
        for r in one.states.rates
        if price and r.start_pieces and r.piece_minor and r.start_minor != price and not _has_start_pieces(one, r)
    ]


def _has_start_pieces(one: Held, rate: PieceRate) -> bool:
    return any(i.start_pieces for i in one.read.inputs.values() if i.worth_minor == rate.piece_minor)


def _first_start(case: Case) -> Found:
    needs = case.layout.store.trade.need_minutes
    least, why = case.least_heat_s, "asked for"
    if least is None and needs:
        least, why = round(min(needs) * 60), "the shortest drying need of this store"
    if least is None:
        least, why = LEAST_HEAT_S, "assumed: common practice, no source"
    short, lowest = [], None
    for one, rate in case.rates():
        lowest = rate.first_heated_s if lowest is None else min(lowest, rate.first_heated_s)
        if rate.first_heated_s < least:
            cool = f", {minutes(rate.cool_s)} of it cooling down" if rate.cool_is_inside and rate.cool_s else ""
            short.append(
                f"A first start with pieces of {case.money(rate.piece_minor)} at control {one.kind.key} sells "
                f"{minutes(rate.first_time_s)}{cool}: {minutes(rate.first_heated_s)} with heat."
            )
    if short:
        return (
            "failed",
            f"{' '.join(short)} At least {minutes(least)} are needed ({why}).",
            "Give the first start more time.",
        )
    if lowest is None:
        return "failed", "No number of pieces starts a pocket.", "Mend the start price or the pieces."
    return "passed", f"A first start heats for {minutes(lowest)} or more; {minutes(least)} are needed ({why}).", ""


def _heats(case: Case) -> Found:
    by_scale: dict[str, list[HouseValue]] = {}
    for h in sorted(case.lines("temperature"), key=lambda h: h.heat):
        by_scale.setdefault(h.base, []).append(h)
    for lines in by_scale.values():
        values = [h.value for h in lines]
        pairs = list(pairwise(values))
        if pairs and not (all(a > b for a, b in pairs) or all(a < b for a, b in pairs)):
            said = ", ".join(f"{_heat_name(case, h.heat)} {h.value} {h.base}" for h in lines)
            return (
                "failed",
                f"The heats do not follow in order: {said}.",
                "Let each heat be hotter than the next, or cooler.",
            )
    wrong = [text for lines in by_scale.values() for text in _care_order(case, lines)]
    if wrong:
        return "failed", " ".join(wrong), "Let the heat with more dots be the hotter one."
    return "passed", "The heats follow in order.", ""


def _heat_name(case: Case, number: int) -> str:
    return next((h.name for h in case.layout.store.heats if h.number == number), f"heat {number}")


def _care_of(case: Case, number: int) -> Care:
    return next((h.care for h in case.layout.store.heats if h.number == number), "none")


def _care_order(case: Case, lines: Sequence[HouseValue]) -> list[str]:
    return [
        f"{_heat_name(case, a.heat)} has one dot and is hotter than {_heat_name(case, b.heat)} with two."
        for a in lines
        for b in lines
        if _care_of(case, a.heat) == "one dot" and _care_of(case, b.heat) == "two dots" and a.value > b.value
    ]


def care_limit(care: Care, scale: str) -> Fraction | None:
    """The highest exhaust temperature of a care symbol, exact in a scale; None where the symbol sets none."""
    limit = CARE_LIMIT_C.get(care)
    if limit is None:
        return None
    return Fraction(limit) if scale == "°C" else limit * Fraction(9, 5) + 32


def _care(case: Case) -> Found:
    said = []
    lines = case.lines("temperature")
    if all(_care_of(case, h.heat) == "none" for h in lines):
        return "passed", "No heat here carries a care symbol, so none can stand over a symbol's limit.", ""
    for h in lines:
        limit = care_limit(_care_of(case, h.heat), h.base)
        if limit is not None and h.value > limit:
            said.append(
                f"{_heat_name(case, h.heat)} is set to {h.value} {h.base} and labelled with {_care_of(case, h.heat)}, "
                f"whose exhaust limit is {float(limit):g} {h.base}."
            )
    if said:
        return "notice", " ".join(said), "Set it lower or label it otherwise; measure where the control's sensor sits."
    return "passed", "No heat stands over the exhaust limit of its care symbol (two dots 80 °C, one dot 60 °C).", ""


def _free(case: Case) -> Found:
    said: list[str] = []
    for one in case.held:
        said += _free_at(case, one)
    if said:
        return "failed", " ".join(said), "Make it plainly free or plainly paid."
    if any(one.read.is_free for one in case.held):
        return "passed", "Drying is free, and no piece is asked for it.", ""
    return "passed", "Drying is paid for, and nothing says that it is free.", ""


def _free_at(case: Case, one: Held) -> list[str]:
    read, sale, key = one.read, one.kind.of.sheet.sale, one.kind.key
    takes = [i for i in read.inputs.values() if i.worth_minor and not i.is_locked]
    out = []
    if read.is_free and read.free_time_s == 0:
        out.append(f"Control {key} dries free, for no time at all.")
    if read.is_free and sale.free == "switch" and read.price_minor:
        out.append(f"Control {key} dries free, and a start price of {case.money(read.price_minor)} stands beside it.")
    if read.is_free and takes and not read.takes_no_pieces and one.kind.of.lines("coin lock-out"):
        out.append(f"Control {key} dries free and still takes pieces; its coin lock-out is off.")
    if not read.is_free and read.price_minor == 0:
        how = {
            "never": "cannot dry free",
            "switch": "dries free by its switch, which is off",
            "hours": "dries free in its free hours only",
            "no start price": "has no free time",
        }[sale.free]
        out.append(f"Control {key} asks a start price of nothing, but {how}: any piece starts it.")
    if not read.is_free and (read.takes_no_pieces or not takes) and not read.free_hours:
        out.append(f"Control {key} is paid for and takes no pieces.")
    return out


def _limit(case: Case) -> Found:
    """What the top-up limit does to pieces put in at once: none may give less than its time unnoticed."""
    said = []
    for one, rate in case.rates():
        limit, each = one.read.top_up_limit_s, rate.time_per_piece_s
        if limit is None or not each:
            continue
        room = limit - rate.first_time_s
        piece = f"pieces of {case.money(rate.piece_minor)} at control {one.kind.key}"
        if room < each:
            said.append(f"After a start with {piece} no further piece gets its whole time at once.")
        elif room % each and one.read.at_limit == "capped":
            said.append(f"The last of {rate.most_pieces} {piece} gives {minutes(room % each)} of its {minutes(each)}.")
    if said:
        return "notice", " ".join(dict.fromkeys(said)), "Set the limit to a start and whole pieces; say it on the sign."
    return "passed", "Every piece that is taken at once gets its whole time, or there is no limit.", ""


def _posted_minutes(case: Case) -> Found:
    rule = case.layout.store.constraints.posted_minutes
    step = POSTED_S[rule]
    said = {minutes(span) for _, r in case.rates() for span in (r.first_time_s, r.time_per_piece_s) if span % step} | {
        minutes(one.read.free_time_s) for one in case.held if one.read.is_free and one.read.free_time_s % step
    }
    if said:
        return (
            "failed",
            f"The sign would say {', '.join(sorted(said))}; it is to say {rule} minutes.",
            "Choose such times.",
        )
    return (
        "passed",
        "Any time may stand on the sign." if rule == "any" else f"The sign says {rule} minutes throughout.",
        "",
    )


def _assumed(case: Case) -> Found:
    said = [f"{one.kind.key}: {text}" for one in case.held for text in one.read.assumed]
    if said:
        return (
            "notice",
            f"The house settings do not say everything that sells time; taken as left by the maker: {'; '.join(said)}.",
            "Read it at the machine, or add it to the house settings.",
        )
    return "passed", "The house settings say everything that sells time.", ""


CHECKS: Final[tuple[tuple[str, str, Callable[[Case], Found]], ...]] = (
    ("grid", "Every value can be set on every control", _on_grid),
    ("one-sign", "One sign is true for the whole bank", _one_sign),
    ("price-per-minute", "A minute costs the same with every piece", _price_per_minute),
    ("start-price", "The start price can be paid with whole pieces", _start_price),
    ("first-start", "The first start is long enough to dry something", _first_start),
    ("heats", "Heats in order", _heats),
    ("care", "Heats under the limits of their care symbols", _care),
    ("free", "Paid and free do not contradict", _free),
    ("limit", "Pieces up to the limit get their whole time", _limit),
    ("posted-minutes", "Minutes on the sign", _posted_minutes),
    ("said", "Everything that sells time is said", _assumed),
)

WITHOUT_RATES: Final = ("grid", "one-sign", "heats", "care")
NOT_JUDGED: Final[Found] = (
    "notice",
    "Not known: no control of the bank can hold the house settings.",
    "Mend those first.",
)


def check_settings(
    layout: Layout,
    bank: str,
    house: HouseSettings,
    *,
    waived: Mapping[str, str] | None = None,
    least_heat_s: int | None = None,
) -> tuple[CheckResult, ...]:
    """Every check on the house settings of a bank, each with its reason.

    Parameters
    ----------
    waived
        Check key -> stated reason, as the book holds it. A check that passes is not waived.
    least_heat_s
        Heated seconds that a first start must give. None: the shortest drying need the store states, else 10 minutes
        (assumed; common practice, no source).

    References
    ----------
    Care symbols: GINETEX table of textile care symbols (EN), read: two dots 80 °C, one dot 60 °C.
    """
    case = _case(layout, bank, house, least_heat_s)
    waivers = dict(waived or {})
    out = []
    for key, name, check in CHECKS:
        verdict, reason, mend = check(case) if case.held or key in WITHOUT_RATES else NOT_JUDGED
        waiver = waivers.get(key, "") if verdict in ("failed", "notice") else ""
        out.append(
            CheckResult(
                key=key,
                name=name,
                verdict="waived" if waiver else verdict,
                reason=reason,
                mend=mend,
                where=f"bank {bank}",
                waiver=waiver,
            )
        )
    return tuple(out)
