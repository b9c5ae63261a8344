"""Words and the chart of one load: exhaust, fabric and moisture against time. Pure: a spec out of a result."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from drybank.records.store import Units
from drybank.records.units import ZERO_C_K, f_from_c
from drybank.records.working import Interval

if TYPE_CHECKING:
    from drybank.desk.drying import Dried
    from drybank.records.drying import TrialFit

INK, QUIET, LINE, DYE, PAPER = "#1D2430", "#56606E", "#D9D6CE", "#1F5D6B", "#FBFAF7"
FONT: Final = "Atkinson Hyperlegible Next, Helvetica, Arial, sans-serif"
DASHES: Final = ([1, 0], [6, 3], [2, 3])


def temp_words(temp_k: float, units: Units) -> str:
    """A temperature in the person's scale."""
    temp = temp_k - ZERO_C_K
    return f"{f_from_c(temp):.0f} °F" if units.temperature == "F" else f"{temp:.0f} °C"


def minutes_words(value: float | None, ends: Interval | None = None) -> str:
    """Minutes with their range: 24 min (19 to 33)."""
    if value is None:
        return "not within four hours"
    text = f"{value:.0f} min"
    return text if ends is None else f"{text} ({ends.low:.0f} to {ends.high:.0f})"


def energy_words(joules: float | None, unit: str) -> str:
    """An amount of heat in therm, kWh or MJ; *not known* where it is not."""
    from drybank.records.units import KWH_J, THERM_J

    if joules is None:
        return "not known"
    size = {"therm": THERM_J, "kWh": KWH_J, "GJ": 1e9, "MJ": 1e6}.get(unit)
    if size is None:  # billed by volume or weight: heat is told in kWh, which needs no heat content
        return f"{joules / KWH_J:.2f} kWh"
    return f"{joules / size:.3g} {unit}"


def chart_of(told: Dried) -> dict[str, Any]:
    """A Vega-Lite spec: temperatures above, moisture below, the same minutes; lines are named where they end."""
    is_f = told.units.temperature == "F"
    minutes = told.trace.time_s / 60.0
    temps = [(f"{name} items", told.trace.temp_fabric_c[:, k]) for k, name in enumerate(told.classes)]
    temps.append(("exhaust as the control reads it", told.trace.temp_exhaust_c))
    hot = [
        {"minute": round(float(m), 3), "value": round(float(f_from_c(v) if is_f else v), 2), "line": name}
        for name, column in temps
        for m, v in zip(minutes, column, strict=True)
    ]
    wet = [
        {"minute": round(float(m), 3), "value": round(100 * float(v), 3), "line": f"{name} items"}
        for k, name in enumerate(told.classes)
        for m, v in zip(minutes, told.trace.moisture_frac[:, k], strict=True)
    ]
    names = [name for name, _ in temps]
    title = title_of(told)
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v5.json",
        "description": f"{title}. Temperatures of the items and the exhaust, and moisture of the items, against minutes.",
        "background": PAPER,
        "padding": 16,
        "title": {"text": title, "subtitle": _subtitle(told), "anchor": "start", "color": INK, "subtitleColor": QUIET},
        "config": _config(),
        "vconcat": [
            _panel(hot, names, f"°{'F' if is_f else 'C'}", "Temperature", told.minutes_to_dry, 220),
            _panel(wet, names, "% of dry mass", "Moisture", told.minutes_to_dry, 140),
        ],
    }


def title_of(told: Dried) -> str:
    """The chart's one message."""
    if told.minutes_to_dry is None:
        return "This load does not get dry within four hours"
    last = told.classes[-1]
    ends = told.bands.get("minutes_to_dry")
    return f"Dry after about {minutes_words(told.minutes_to_dry, ends)}" + (
        f"; the {last} items decide" if len(told.classes) > 1 else ""
    )


def _subtitle(told: Dried) -> str:
    heat = "no heat" if told.temp_exhaust_c is None else temp_words(told.temp_exhaust_c + ZERO_C_K, told.units)
    pocket = f"pocket {told.pocket}, " if told.pocket else ""
    return (
        f"{pocket}{mass_words(told.load_kg, told.units)} at {100 * told.residual_frac:.0f} %, {heat}; {told.how_known}"
    )


def mass_words(mass_kg: float, units: Units) -> str:
    """A mass in the person's unit."""
    from drybank.records.units import POUND_KG

    return f"{mass_kg / POUND_KG:.1f} lb" if units.mass == "lb" else f"{mass_kg:.1f} kg"


def _config() -> dict[str, Any]:
    return {
        "font": FONT,
        "axis": {
            "labelColor": QUIET, "titleColor": QUIET, "gridColor": LINE, "domainColor": LINE, "tickColor": LINE,
            "labelFontSize": 12, "titleFontSize": 12, "titleFontWeight": "normal", "grid": False,
        },
        "title": {"fontSize": 16, "subtitleFontSize": 12, "offset": 12},
        "view": {"stroke": None},
    }  # fmt: skip


def _panel(
    rows: list[dict[str, Any]], names: list[str], unit: str, what: str, dry_min: float | None, height: int
) -> dict[str, Any]:
    ends = _ends(rows, height)
    colour = {
        "field": "line", "type": "nominal", "legend": None,
        "scale": {"domain": names, "range": [*[QUIET] * (len(names) - 1), DYE]},
    }  # fmt: skip
    dash = {
        "field": "line", "type": "nominal", "legend": None,
        "scale": {"domain": names, "range": [*(DASHES[k] for k in range(len(names) - 1)), [1, 0]]},
    }  # fmt: skip
    x = {"field": "minute", "type": "quantitative", "axis": {"title": "minutes"}, "scale": {"nice": False}}
    y = {
        "field": "value",
        "type": "quantitative",
        "axis": {"title": f"{what}, {unit}"},
        "scale": {"zero": what == "Moisture"},
    }
    layers: list[dict[str, Any]] = [
        {
            "data": {"values": rows},
            "mark": {"type": "line", "strokeWidth": 1.8, "clip": True},
            "encoding": {"x": x, "y": y, "color": colour, "strokeDash": dash},
        },
        {
            "data": {"values": ends},
            "mark": {"type": "text", "align": "left", "dx": 6, "fontSize": 12},
            "encoding": {"x": x, "y": {**y, "field": "at"}, "text": {"field": "line"}, "color": colour},
        },
    ]
    if dry_min is not None:
        mark = {"data": {"values": [{"minute": dry_min, "say": "dry"}]}, "encoding": {"x": x}}
        layers.append({**mark, "mark": {"type": "rule", "color": INK, "strokeDash": [2, 2]}})
        words = {"x": x, "y": {"value": 0}, "text": {"field": "say"}}
        layers.append(
            {
                **mark, "encoding": words,
                "mark": {"type": "text", "align": "right", "dx": -4, "dy": 6, "color": INK, "fontSize": 12},
            }
        )  # fmt: skip
    return {"width": 520, "height": height, "layer": layers}


def _ends(rows: list[dict[str, Any]], height: int) -> list[dict[str, Any]]:
    """Where each line ends, its label moved off its neighbours'."""
    last = {row["line"]: row for row in rows}
    values = np.array([row["value"] for row in rows])
    gap = 16.0 / height * max(float(values.max() - values.min()), 1e-9)
    out, at = [], -np.inf
    for row in sorted(last.values(), key=lambda r: float(r["value"])):
        at = max(float(row["value"]), at + gap)
        out.append({**row, "at": at})
    return out


def picture(told: Dried, form: str) -> bytes:
    """The chart as SVG or PNG."""
    import json

    import vl_convert

    spec = json.dumps(chart_of(told))
    if form == "svg":
        return bytes(vl_convert.vegalite_to_svg(spec).encode())
    return bytes(vl_convert.vegalite_to_png(spec, scale=2))


class Page(NamedTuple):
    """What a face shows of a load, in words: answer, figures, changes, doubts, next step."""

    answer: str
    figures: tuple[tuple[str, str, str], ...]
    changes: tuple[tuple[str, str, str, str], ...]
    notes: tuple[str, ...]
    doubts: tuple[str, ...]
    next_step: str


def lines_of(told: Dried) -> Page:
    """A load in words and the person's units."""
    gas = told.units.gas
    ends = told.bands
    figures = [
        (
            "minutes to dry",
            minutes_words(told.minutes_to_dry),
            _range(ends.get("minutes_to_dry"), lambda v: f"{v:.0f}"),
        ),
    ]
    if told.fuel != "electric":
        figures.append(
            ("gas to dry", energy_words(told.gas_to_dry_j, gas), _energy_range(ends.get("gas_to_dry_j"), gas))
        )
    figures.append(
        (
            "electricity to dry", energy_words(told.electricity_to_dry_j, "kWh"),
            _energy_range(ends.get("electricity_to_dry_j"), "kWh"),
        )
    )  # fmt: skip
    if told.sold_s is not None:
        if told.fuel != "electric":
            figures.append(("gas in the sold time", energy_words(told.gas_sold_j, gas), ""))
        dry = "yes" if told.is_dry_when_sold_ends else f"no, {100 * (told.moisture_sold_frac or 0.0):.0f} % water left"
        figures.append(("dry when the sold time ends", dry, ""))
    if told.cost_to_dry_minor is not None:
        figures.append(
            (
                "energy cost to dry",
                money_words(told.cost_to_dry_minor, told.currency),
                _money_range(told.cost_to_dry_band_minor, told.currency),
            )
        )
    if told.cost_sold_minor is not None:
        figures.append(("energy cost of the sold time", money_words(told.cost_sold_minor, told.currency), ""))
    figures += [
        ("water removed", mass_words(told.water_removed_kg, told.units), ""),
        ("load before the cool-down, mean", temp_words(told.load_temp_before_cool_down_k, told.units), "not verified"),
        ("load after the cool-down, mean", temp_words(told.load_temp_after_cool_down_k, told.units), "not verified"),
        ("hottest items after it", temp_words(told.hottest_class_after_cool_down_k, told.units), "not verified"),
        ("hottest items in the run", temp_words(told.hottest_fabric_k, told.units), "not verified"),
    ]
    if told.cool_down_at_least_s is not None:
        from drybank.records.units import minutes

        figures.append(("cool-down, at the least", minutes(told.cool_down_at_least_s), "a floor, no promise"))
    changes = tuple(
        (c.what, _signed_minutes(c.minutes), _signed_share(c.fuel_frac), _signed_money(c.cost_minor, told.currency))
        for c in told.changes
    )
    notes = tuple(f"{c.what}: {c.says}" for c in told.changes if c.says)
    worst = sorted(told.shares, key=lambda s: -max(abs(s[1]), abs(s[2])))
    doubts = tuple(f"{name}: {100 * low:+.0f} % to {100 * high:+.0f} % of the minutes" for name, low, high in worst)
    where = f"{told.store} {told.pocket}" if told.store else "STORE POCKET"
    step = (
        f"Next: make it this pocket's own: drybank calibrate {where}"
        if not told.is_calibrated
        else f"This pocket is {told.how_known}."
    )
    return Page(_answer(told), tuple(figures), changes, notes, doubts, step)


def _answer(told: Dried) -> str:
    return f"{_subtitle(told)}.\n{title_of(told)}."


def money_words(minor: float, currency: str) -> str:
    """An estimated amount of money, to the minor unit."""
    from drybank.records.money import Money

    return str(Money(round(minor), currency)) if currency else f"{minor / 100:.2f}"


def _range(ends: Interval | None, say: Callable[[float], str]) -> str:
    return "" if ends is None else f"{say(ends.low)} to {say(ends.high)}"


def _energy_range(ends: Interval | None, unit: str) -> str:
    return _range(ends, lambda v: energy_words(v, unit).split(" ")[0])


def _money_range(ends: Interval | None, currency: str) -> str:
    return _range(ends, lambda v: money_words(v, currency).split(" ")[0])


def _signed_minutes(value: float | None) -> str:
    return "not known" if value is None else f"{value:+.1f}"


def _signed_share(value: float | None) -> str:
    return "" if value is None else f"{100 * value:+.0f} %"


def _signed_money(value: float | None, currency: str) -> str:
    if value is None:
        return ""
    if round(value) == 0:
        return "none"
    return ("+" if value >= 0 else "-") + money_words(abs(value), currency)


FIGURES: Final = {
    "heat_input_w": "fuel input", "flow_exhaust_m3_s": "airflow", "contact_w_k": "fabric contact", "leak_frac": "leakage",
}  # fmt: skip


def fitted_rows(fit: TrialFit) -> tuple[list[tuple[str, str, str]], list[str]]:
    """Rows of a fit, and its correlations in words."""
    rows = [
        (FIGURES[f.name], f"{f.value:.4g} {f.unit}", f"{100 * f.standard_error / f.value:.1f} %") for f in fit.figures
    ]
    links = [
        f"{FIGURES[a.name]} and {FIGURES[b.name]}: correlation {fit.correlations[i][j]:+.2f}"
        for i, a in enumerate(fit.figures)
        for j, b in enumerate(fit.figures)
        if j < i
    ]
    return rows, [
        *links,
        f"Readings miss the model by {fit.misfit:.1f} of their own errors ({fit.degrees_of_freedom} to spare).",
    ]
