"""What a plan says in sentences: settings, money, changes, the three answers."""

from __future__ import annotations

from drybank.records.money import MINOR_DIGITS, Money
from drybank.records.plan import Matter, PlanFigure, PlanInputs, PlanSetting, SettingChange
from drybank.records.units import minutes


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
    rows.append(("first time", minutes(setting.first_time_s)))
    rows += [(f"heat {h.name}", f"{t} {grid.temp_base}") for h, t in zip(grid.heats, setting.temps, strict=True)]
    rows.append(("cool-down", minutes(setting.cool_down_s) if setting.cool_down_s else "none"))
    return rows


def what_to_set(inputs: PlanInputs, setting: PlanSetting, keeps: bool) -> str:
    if keeps:
        return f"Leave it as it is: {say_setting(inputs, setting)}."
    return f"Set {say_setting(inputs, setting)}."


def what_it_brings(inputs: PlanInputs, figure: PlanFigure, lost: PlanFigure, keeps: bool) -> str:
    """The weekly contribution, or its change, with a week's scatter and the range of assumption apart."""
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
        f"({money(inputs, change.interval.low)} to {money(inputs, change.interval.high)} in 95 of 100 weeks)."
    )
    year, half = 52.0 * change.value, 52.0**0.5 * (change.interval.high - change.value)
    text += f" Over a year: {money(inputs, year)} ({money(inputs, year - half)} to {money(inputs, year + half)})."
    if change.assumption is not None:
        low, high = change.assumption.low, change.assumption.high
        text += f" If what is assumed is off: {money(inputs, low)} to {money(inputs, high)} a week."
    if lost.difference is not None and lost.today is not None:
        text += f" Loads lost to the price: {lost.proposed.value:.0f} a week, {lost.today.value:.0f} today."
    return text


def what_could_be_wrong(inputs: PlanInputs, ranked: tuple[Matter, ...]) -> str:
    """The assumption that could cost most, and what to measure."""
    worst = next((m for m in ranked if m.regret_minor > 0.5), None)
    if worst is None:
        return "Over every range that was looked at, nothing beats these settings; the size of the gain still hangs on them."
    return (
        f"Most of all {worst.assumption.name}: taken as {worst.assumption.taken}, it may lie between {worst.assumption.low} "
        f"and {worst.assumption.high}; at the worse end another setting would bring {money(inputs, worst.regret_minor)} "
        f"a week more. {worst.measure}"
    )


def why_not(inputs: PlanInputs, behind_minor: float, reason: str, wait_p95_s: float | None) -> str:
    """Why a runner-up is not the answer: it brings less, or keeps customers waiting beyond the limit."""
    if behind_minor >= 0.0:
        return f"{reason} It brings {money(inputs, behind_minor)} a week less."
    wait = f"{(wait_p95_s or 0.0) / 60.0:.0f} min"
    return f"{reason} It would bring {money(inputs, -behind_minor)} a week more, but 5 of 100 wait longer than {wait}."
