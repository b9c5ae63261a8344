"""What a plan says in sentences: settings, money, changes, the three answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from drybank.energy import Electricity, billed_joules
from drybank.records.energy import UNITS_OF, Propane
from drybank.records.errors import DrybankError
from drybank.records.money import MINOR_DIGITS, Money
from drybank.records.plan import Matter, PlanFigure, PlanInputs, PlanSetting, QueueReport, SettingChange
from drybank.records.units import KWH_J, minutes


@dataclass(frozen=True)
class FuelUnit:
    """The unit that fuel is told in, and the kWh of higher heating value in one of it."""

    name: str
    kwh: float


def fuel_unit(inputs: PlanInputs) -> FuelUnit:
    """The person's unit of fuel where this fuel is measured in it, else the tariff's, else kWh."""
    supply, tariff = inputs.costs.fuel_supply, inputs.costs.fuel_tariff
    if supply is None or isinstance(supply, Electricity):
        return FuelUnit("kWh", 1.0)
    allowed = UNITS_OF["propane" if isinstance(supply, Propane) else "natural gas"]
    wanted = [inputs.units.gas, tariff.unit if tariff is not None else "kWh", "kWh"]
    name = next(u for u in wanted if u in allowed)
    try:
        return FuelUnit(name, float(billed_joules(name, supply)) / KWH_J)
    except DrybankError:  # a volume of a gas whose heat nobody knows
        return FuelUnit("kWh", 1.0)


def money(inputs: PlanInputs, minor: float) -> str:
    """An amount for reading, to the minor unit."""
    return str(Money(round(minor), inputs.currency))


def price(inputs: PlanInputs, minor: float) -> str:
    """A unit price for reading, four digits: 0.04360 CAD."""
    return f"{minor / 10 ** MINOR_DIGITS[inputs.currency]:.4g} {inputs.currency}"


def coin(inputs: PlanInputs, piece_minor: int) -> str:
    return f"a coin of {Money(piece_minor, inputs.currency)}"


def say_setting(inputs: PlanInputs, setting: PlanSetting) -> str:
    """A whole setting in one line."""
    parts = [f"{minutes(setting.time_per_piece_s)} for {coin(inputs, setting.piece_minor)}"]
    start = f"start at {Money(setting.start_minor, inputs.currency)}"
    parts.append(f"{start} for {minutes(setting.first_time_s)}")
    base = inputs.grid.temp_base
    if len(inputs.grid.temps) > 1:
        heats = zip(inputs.grid.heats, setting.temps, strict=True)
        parts.append(", ".join(f"{h.name} {t} {base}" for h, t in heats))
    if setting.cool_down_s:
        parts.append(f"cool-down {minutes(setting.cool_down_s)}")
    return "; ".join(parts)


def changes(inputs: PlanInputs, proposed: PlanSetting, today: PlanSetting | None) -> tuple[SettingChange, ...]:
    """Line by line, today beside proposed."""
    rows = dict(_rows(inputs, proposed))
    old = dict(_rows(inputs, today)) if today is not None else {}
    return tuple(
        SettingChange(name=name, today=old.get(name, ""), proposed=value, is_changed=old.get(name) != value)
        for name, value in rows.items()
    )


def _rows(inputs: PlanInputs, setting: PlanSetting) -> list[tuple[str, str]]:
    grid = inputs.grid
    rows = [(f"time for {coin(inputs, setting.piece_minor)}", minutes(setting.time_per_piece_s))]
    rows += [
        (f"time for {coin(inputs, other.piece_minor)}", minutes(time_s))
        for other, time_s in zip(grid.other_inputs, setting.other_times_s, strict=True)
    ]
    rows.append(("start price", str(Money(setting.start_minor, inputs.currency))))
    rows.append(("first time" if grid.first_time_s else "what a start gives", minutes(setting.first_time_s)))
    rows += [(f"heat {h.name}", f"{t} {grid.temp_base}") for h, t in zip(grid.heats, setting.temps, strict=True)]
    rows.append(("cool-down", minutes(setting.cool_down_s) if setting.cool_down_s else "none"))
    return rows


def what_to_set(inputs: PlanInputs, setting: PlanSetting, keeps: bool) -> str:
    if keeps:
        return f"Leave it as it is: {say_setting(inputs, setting)}."
    return f"Set {say_setting(inputs, setting)}."


def what_it_brings(
    inputs: PlanInputs, figures: Mapping[str, PlanFigure], keeps: bool, queue: QueueReport | None = None
) -> str:
    """The weekly contribution, or its change, with a week's scatter and the range of assumption apart; and why."""
    figure = figures["contribution"]
    change = figure.difference
    if keeps:
        return (
            f"About {money(inputs, figure.proposed.value)} a week after energy, wear and lost visits, as today: "
            "no other setting that keeps the constraints is expected to bring more."
        )
    if change is None or change.interval is None:
        week = figure.proposed
        text = f"About {money(inputs, week.value)} a week after energy, wear and lost visits"
        if week.interval is not None:
            text += f" ({money(inputs, week.interval.low)} to {money(inputs, week.interval.high)} in 95 of 100 weeks)"
        return text + ". Today's settings are not known, so no comparison is made."
    more = "more" if change.value >= 0 else "less"
    text = (
        f"About {money(inputs, abs(change.value))} a week {more} than today "
        f"({money(inputs, change.interval.low)} to {money(inputs, change.interval.high)} in 95 of 100 weeks, by chance alone)."
    )
    if queue is not None and queue.cost_today_minor is not None:
        more_lost = queue.cost_minor - queue.cost_today_minor
        if abs(more_lost) >= 1.0:
            text += f" With customers who leave the line counted: {money(inputs, change.value - more_lost)} a week."
    year, half = 52.0 * change.value, 52.0**0.5 * (change.interval.high - change.value)
    text += f" Over a year: {money(inputs, year)} ({money(inputs, year - half)} to {money(inputs, year + half)})."
    if change.assumption is not None:
        low, high = change.assumption.low, change.assumption.high
        text += f" If what is assumed is off: {money(inputs, low)} to {money(inputs, high)} a week."
    return text + _why(inputs, figures)


def _why(inputs: PlanInputs, figures: Mapping[str, PlanFigure]) -> str:
    """Where the change comes from: what is kept at the dryers, and loads that stay or go with what they bring beside."""
    lost, margin = figures["lost"], figures["margin"]
    if lost.today is None or lost.difference is None or margin.difference is None:
        return ""
    visit = inputs.costs.visit_minor.value
    kept, stay = margin.difference.value, round(lost.today.value) - round(lost.proposed.value)
    text = f" Loads lost to the price: {lost.proposed.value:.0f} a week, {lost.today.value:.0f} today."
    if stay == 0:
        return text
    side = "more" if kept >= 0 else "less"
    loads = f"{stay} loads more stay" if stay > 0 else f"{-stay} loads more go"
    return (
        f"{text} At the dryers themselves {money(inputs, abs(kept))} {side} is kept after energy and wear; {loads}, and each "
        f"brings {money(inputs, visit)} beside its drying."
    )


def what_could_be_wrong(inputs: PlanInputs, ranked: tuple[Matter, ...]) -> str:
    """The assumption that could cost most, and what to measure."""
    worst = next((m for m in ranked if m.regret_minor > 0.5), None)
    if worst is None:
        return "Over every range that was looked at, nothing beats these settings; the size of the gain still hangs on them."
    taken = worst.assumption.taken
    taken = taken if taken.startswith("as ") else f"as {taken}"
    return (
        f"Most of all {worst.assumption.name}: taken {taken}, it may lie between {worst.assumption.low} "
        f"and {worst.assumption.high}; these settings then bring {money(inputs, worst.low_minor)} or "
        f"{money(inputs, worst.high_minor)} a week, and at the worse end another setting would bring "
        f"{money(inputs, worst.regret_minor)} more. {worst.measure}"
    )


def why_not(inputs: PlanInputs, behind_minor: float, reason: str, wait_p95_s: float | None) -> str:
    """Why a runner-up is not the answer: it brings less, or keeps customers waiting beyond the limit."""
    if behind_minor >= 0.0:
        return f"{reason} It brings {money(inputs, behind_minor)} a week less."
    wait = f"{(wait_p95_s or 0.0) / 60.0:.0f} min"
    return f"{reason} It would bring {money(inputs, -behind_minor)} a week more, but 5 of 100 wait longer than {wait}."
