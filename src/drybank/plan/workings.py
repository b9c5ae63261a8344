"""The working behind each figure of a plan: inputs, formula in words, sources, down to tariff line and drying run."""

from __future__ import annotations

from drybank.energy import bill
from drybank.plan.outcome import Met, mean
from drybank.plan.search.problem import JOULES_KWH, World
from drybank.plan.words import fuel_unit, money, price
from drybank.records.energy import Tariff, Usage
from drybank.records.plan import PlanInputs, PlanSetting, Ranged
from drybank.records.units import mass_said, minutes
from drybank.records.working import HowKnown, Input, Working


def _ranged(name: str, ranged: Ranged, unit: str) -> Input:
    text = f"{ranged.value:.6g}"
    if ranged.low != ranged.high:
        text += f" ({ranged.low:.6g} to {ranged.high:.6g})"
    return Input(name=name, value=text, unit=unit, how=ranged.how, source=ranged.source)


def _amount(inputs: PlanInputs, name: str, ranged: Ranged, per: str = "", times: float = 1.0) -> Input:
    """A ranged amount of money, or of money a unit, as money."""

    def said(minor: float) -> str:
        text = price(inputs, minor * times) if per else money(inputs, minor)
        return text.removesuffix(f" {inputs.currency}")

    value = said(ranged.value)
    if ranged.low != ranged.high:
        value += f" ({said(ranged.low)} to {said(ranged.high)})"
    unit = f"{inputs.currency} {per}".strip()
    return Input(name=name, value=value, unit=unit, how=ranged.how, source=ranged.source)


def inputs_listed(inputs: PlanInputs) -> tuple[Input, ...]:
    """Every figure that went into the plan, with its source."""
    costs, unit = inputs.costs, fuel_unit(inputs)
    return (
        _ranged("loads a week", inputs.loads_per_week, "loads"),
        _amount(inputs, "price of fuel at the margin", costs.fuel_minor_kwh, f"a {unit.name}", unit.kwh),
        _amount(inputs, "price of electricity at the margin", costs.power_minor_kwh, "a kWh"),
        _amount(inputs, "wear of a pocket", costs.wear_minor_hour, "an hour"),
        _amount(inputs, "what a load's visit brings beside drying", costs.visit_minor),
        _amount(inputs, "walk-away price of a normal load", inputs.price_answer.walk_away_minor),
        Input(name="rows that stand for all loads", value=str(inputs.loads.need_s.shape[0]), how="computed"),
        Input(name="need of a normal load at the hottest setting", value=f"{inputs.loads.normal_need_s[-1] / 60:.1f}",
              unit="min", how=_how(inputs.loads.how), source=inputs.loads.source),
        Input(name="pockets", value=str(inputs.pockets)),
    )  # fmt: skip


def _how(how: str) -> HowKnown:
    return (
        "given" if how == "given" else "learned" if how == "learned" else "assumed" if how == "assumed" else "computed"
    )


def workings(inputs: PlanInputs, setting: PlanSetting, met: Met, world: World) -> tuple[Working, ...]:
    """Workings of the main figures: contribution, takings, fuel, electricity, a normal load, share dry at first."""
    per_week = inputs.loads_per_week.value
    takings, fuel, power = _takings(inputs, setting, met), _fuel(inputs, met, world), _power(inputs, met, world)
    lost = Working(
        figure=f"lost visits {money(inputs, per_week * mean(met, met.lost_visit))} a week",
        formula="loads whose price lies above their owner's limit × what a load's visit brings",
        inputs=(_amount(inputs, "what a load's visit brings", inputs.costs.visit_minor),
                _amount(inputs, "median walk-away price", inputs.price_answer.walk_away_minor)),
    )  # fmt: skip
    wear = Working(
        figure=f"wear {money(inputs, per_week * mean(met, met.wear_cost))} a week",
        formula="minutes the drum turns × wear an hour / 60",
        inputs=(_amount(inputs, "wear", inputs.costs.wear_minor_hour, "an hour"),),
    )
    whole = Working(
        figure=f"contribution {money(inputs, per_week * mean(met, met.contribution))} a week",
        formula="takings - fuel - electricity - wear - lost visits; loads a week × mean over the rows",
        inputs=(_ranged("loads a week", inputs.loads_per_week, "loads"),),
        parts=(takings, fuel, power, wear, lost),
    )
    return (whole, takings, fuel, power, _normal(inputs, setting, met), _first(inputs, met))


def _takings(inputs: PlanInputs, setting: PlanSetting, met: Met) -> Working:
    per_week = inputs.loads_per_week.value
    return Working(
        figure=f"takings {money(inputs, per_week * mean(met, met.takings))} a week",
        formula="for each dried load: start pieces, and one more for each time per piece that its heat still lacks, × the coin",
        inputs=(
            Input(name="coin", value=money(inputs, setting.piece_minor)),
            Input(name="start", value=str(setting.start_pieces), unit="coins"),
            Input(name="first time", value=minutes(setting.first_time_s)),
            Input(name="time per coin", value=minutes(setting.time_per_piece_s)),
            Input(name="cool-down", value=minutes(setting.cool_down_s),
                  source="inside the sold time" if inputs.grid.cool_is_inside else "after the sold time"),
            Input(name="coins a dried load", value=f"{mean(met, met.pieces) / max(1e-9, mean(met, met.is_dried * 1.0)):.3f}",
                  how="computed"),
        ),
        parts=(inputs.loads.working,) if inputs.loads.working else (),
    )  # fmt: skip


def _fuel(inputs: PlanInputs, met: Met, world: World) -> Working:
    per_week, costs = inputs.loads_per_week.value, inputs.costs
    kwh, unit = per_week * mean(met, met.fuel_j) / JOULES_KWH, fuel_unit(inputs)
    parts = [
        w for w in (costs.fuel_working, _bill("fuel", costs.fuel_tariff, costs.fuel_usage), inputs.loads.working) if w
    ]
    return Working(
        figure=f"fuel {kwh / unit.kwh:.1f} {unit.name}, {money(inputs, kwh * world.fuel_minor_kwh)} a week",
        formula="fuel until dry by drying run, and idle fire over the heated seconds sold beyond; × price of the next unit",
        inputs=(
            _amount(inputs, "price of fuel at the margin", costs.fuel_minor_kwh, f"a {unit.name}", unit.kwh),
            Input(
                name=f"heat in a {unit.name}",
                value=f"{unit.kwh:.4g}",
                unit="kWh, higher heating value",
                source=_heat_source(inputs),
            ),
        ),
        parts=tuple(parts),
    )


def _heat_source(inputs: PlanInputs) -> str:
    supply = inputs.costs.fuel_supply
    return "by definition" if supply is None or not supply.source else supply.source


def _power(inputs: PlanInputs, met: Met, world: World) -> Working:
    per_week, costs = inputs.loads_per_week.value, inputs.costs
    kwh = per_week * mean(met, met.power_kwh)
    parts = [w for w in (costs.power_working, _bill("electricity", costs.power_tariff, costs.power_usage)) if w]
    return Working(
        figure=f"electricity {kwh:.1f} kWh, {money(inputs, kwh * world.power_minor_kwh)} a week",
        formula="seconds the drum turns, cool-down with it, × motor power × price of the next kWh",
        inputs=(Input(name="motor", value=f"{inputs.loads.motor_w:.0f}", unit="W"),
                _amount(inputs, "price of electricity at the margin", costs.power_minor_kwh, "a kWh")),
        parts=tuple(parts),
    )  # fmt: skip


def _bill(name: str, tariff: Tariff | None, usage: Usage | None) -> Working | None:
    """The month's bill that the price at the margin was taken at, line by line."""
    if tariff is None or usage is None:
        return None
    made = bill(usage, tariff).working
    return None if made is None else Working(figure=f"a month's {name} bill", formula=made.formula, source=made.source,
                                             parts=made.parts)  # fmt: skip


def _normal(inputs: PlanInputs, setting: PlanSetting, met: Met) -> Working:
    loads = inputs.loads
    level = inputs.grid.temps.index(setting.temps[loads.normal_heat])
    return Working(
        figure=f"price of a normal load {money(inputs, met.normal_pieces * setting.piece_minor)}",
        formula="fewest coins whose heated time is at least what the load needs at its heat",
        inputs=(
            Input(name="normal load", value=mass_said(loads.normal_kg, inputs.units.mass)),
            Input(name="needs", value=f"{loads.normal_need_s[level] / 60:.1f}", unit="min of heat", how=_how(loads.how),
                  source=loads.source),
            Input(name="at", value=f"{setting.temps[loads.normal_heat]}", unit=inputs.grid.temp_base),
        ),
        parts=(loads.working,) if loads.working else (),
    )  # fmt: skip


def _first(inputs: PlanInputs, met: Met) -> Working:
    return Working(
        figure="share of dried loads that are dry at the first purchase",
        formula="owners buy at first the time that they think is needed, and top up until dry; dry at first where the "
        "coins bought at first are as many as those needed",
        inputs=(Input(name="belief over need", value=f"{inputs.loads.belief.min():.2f} to {inputs.loads.belief.max():.2f}",
                      how="assumed"),
                Input(name="share", value=f"{mean(met, met.is_dry_at_first * 1.0):.3f}", unit="of all loads",
                      how="computed")),
    )  # fmt: skip
