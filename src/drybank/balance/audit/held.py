"""What a control held when, and how many seconds a piece then bought."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field

from drybank.balance.audit.story import Set, Story, moment
from drybank.control.house import to_sheet
from drybank.control.layout import worth
from drybank.control.terms import terms
from drybank.records.control import Terms
from drybank.records.errors import DrybankError
from drybank.records.layout import Layout
from drybank.records.working import Assumption

PIECES_LOAD = 6.0  # pieces a load, where a start and its top-ups buy different times; an assumption
UNKNOWN_S = 360.0  # seconds a piece is taken to buy where no settings are on file: only ratios matter then


@dataclass
class Held:
    """Seconds of running that one piece of each input buys, from moment to moment, at one control."""

    control: str
    since: list[float] = field(default_factory=list)
    seconds: list[dict[str, float]] = field(default_factory=list)
    values: list[dict[str, int]] = field(default_factory=list)
    run_on: float = 0.0
    """Share that its hours would grow by if the cool-down, said to be inside the sold time, ran on after it; at last."""

    def put(self, at: float, values: dict[str, int], seconds: dict[str, float]) -> None:
        """From a moment on; a later moment already there stays."""
        k = bisect_right(self.since, at)
        self.since.insert(k, at)
        self.values.insert(k, values)
        self.seconds.insert(k, seconds)

    def at(self, when: float) -> dict[str, float]:
        """Input key -> seconds a piece buys at a moment."""
        return self.seconds[max(0, bisect_right(self.since, when) - 1)]

    def changes(self, start: float, end: float) -> list[float]:
        """Moments strictly inside a span at which a piece began to buy another time."""
        return [
            t
            for j, t in enumerate(self.since)
            if j and start + 1e-6 < t < end - 1e-6 and self.seconds[j] != self.seconds[j - 1]
        ]


def seconds_of_piece(held: Terms, sheet_input: str) -> float:
    """Running seconds that a piece buys on average, start and cool-down spread over `PIECES_LOAD` pieces."""
    piece = held.inputs[sheet_input]
    each = float(piece.time_s if piece.top_up_s is None else piece.top_up_s)
    if held.start == "first time":
        first = held.first_time_s
        price = held.price_minor or 0
        to_start = piece.start_pieces or (-(-price // piece.worth_minor) if piece.worth_minor else 1)
        to_start = max(1, to_start)
        bought = max(PIECES_LOAD, float(to_start))
        each = (first + (bought - to_start) * each) / bought
    if held.cool_down == "after":
        each += held.cool_down_s / PIECES_LOAD
    return each


def _seconds(layout: Layout, control: str, values: Mapping[str, int]) -> dict[str, float]:
    sheet = layout.sheets[layout.controls[control].sheet]
    now = terms(sheet, dict(values), worth=worth(layout, control))
    out = {}
    for i in layout.inputs.values():
        if i.control == control:
            s = seconds_of_piece(now, i.sheet_input)
            out[i.key] = s if s > 0 else UNKNOWN_S
    return out


def _run_on(layout: Layout, control: str, values: Mapping[str, int], seconds: Mapping[str, float]) -> float:
    """What a cool-down that runs on after the sold time would add, as a share; 0 where the sheet says it does, or has none."""
    now = terms(layout.sheets[layout.controls[control].sheet], dict(values), worth=worth(layout, control))
    each = max(seconds.values(), default=0.0)
    return now.cool_down_s / (PIECES_LOAD * each) if now.cool_down == "inside" and each > 0 else 0.0


SET_APART_DAYS = (14.0, 60.0)  # a plan is taken as set at a control unless a visit about then says otherwise


def _lines_of(layout: Layout, story: Story, control: str) -> list[Set]:
    """What was set at one control: its own visits, and the bank's plans that no visit carried out."""
    own = [line for line in story.set if line.control == control]
    before, after = SET_APART_DAYS
    plans = [
        line
        for line in story.set
        if line.bank == layout.controls[control].bank
        and line.bank
        and not any(line.at - before <= v.at <= line.at + after for v in own)
    ]
    return sorted(own + plans, key=lambda line: line.at)


def _offers(layout: Layout, story: Story, held: Held) -> list[str]:
    """Lay the bank's offers with settings of their own into a control's time line; sentences on what failed."""
    control = layout.controls[held.control]
    out = []
    for offer in story.offers:
        if offer.bank != control.bank or not offer.values or not held.since:
            continue
        start, end = moment(offer.starts), moment(offer.ends)
        k = max(0, bisect_right(held.since, start) - 1)
        before, seconds = held.values[k], held.seconds[k]
        try:
            values = {**before, **to_sheet(layout, held.control, offer.values)}
            held.put(start, values, _seconds(layout, held.control, values))
            held.put(end, before, seconds)
        except DrybankError as fault:
            out.append(
                f"An offer on bank {offer.bank} could not be read for control {held.control}: {fault.sentence()}"
            )
    return out


def what_was_held(layout: Layout, story: Story) -> tuple[dict[str, Held], list[str], list[Assumption]]:
    """Every control's settings through time; sentences on what could not be read; what was assumed."""
    out: dict[str, Held] = {}
    missing: list[str] = []
    unknown: list[str] = []
    for key in layout.controls:
        held = Held(key)
        values: dict[str, int] = {}
        for line in _lines_of(layout, story, key):
            if line.is_as_found and values:
                continue  # what was found counts only where nothing was known before
            try:
                values = {**values, **(line.values or to_sheet(layout, key, line.house))}
                seconds = _seconds(layout, key, values)
            except DrybankError as fault:
                missing.append(f"Settings of control {key} could not be read: {fault.sentence()}")
                continue
            held.put(-math.inf if line.is_as_found else line.at, values, seconds)
            held.run_on = _run_on(layout, key, values, seconds)
        missing += _offers(layout, story, held)
        if not held.since:
            held.put(-math.inf, {}, {i.key: UNKNOWN_S for i in layout.inputs.values() if i.control == key})
            unknown.append(key)
        out[key] = held
    assumed = []
    if unknown:
        assumed.append(
            Assumption(
                name="minutes per piece where no settings are on file",
                taken=f"{UNKNOWN_S / 60:g} min at control " + ", ".join(unknown[:12]),
                source="none; hours are then compared only with the pocket's own past and its siblings",
                matters="a change of settings that was not entered looks like a fault",
            )
        )
    return out, missing, assumed
