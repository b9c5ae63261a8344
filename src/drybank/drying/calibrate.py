"""What the towel trial of a closed evening says of one pocket.

Fuel input, airflow and fabric contact are fitted by weighted least squares of the readings against the model; leakage only
where a thermometer stood at the drum's inlet, as it cannot be told from fabric contact otherwise. What the readings cannot
tell is refused, and the refusal says what would tell it. Losses, metal and the falling rate are never fitted.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final, Literal

import msgspec
import numpy as np

from drybank.drying.run import dry, sold_run
from drybank.records.drying import (
    TOWELS,
    Air,
    Array,
    Calibration,
    FittedFigure,
    Heat,
    Load,
    NearEmptyRun,
    Pocket,
    TowelRun,
    TowelTrial,
    Trace,
    TrialFit,
)
from drybank.records.errors import InputError, NotIdentified

Figure = Literal["heat_input_w", "flow_exhaust_m3_s", "contact_w_k", "leak_frac"]
UNITS: Final[dict[Figure, str]] = {
    "heat_input_w": "W", "flow_exhaust_m3_s": "m3/s", "contact_w_k": "W/K", "leak_frac": "of the airflow",
}  # fmt: skip
SAID: Final[dict[Figure, str]] = {
    "heat_input_w": "fuel input", "flow_exhaust_m3_s": "airflow", "contact_w_k": "fabric contact",
    "leak_frac": "leakage",
}  # fmt: skip
TELLS: Final[dict[Figure, str]] = {
    "heat_input_w": "Clock the gas meter with only this pocket firing.",
    "flow_exhaust_m3_s": "Run one dry towel at the highest heat and read exhaust and fuel between minutes 6 and 12.",
    "contact_w_k": "Weigh two towel loads that are taken out before they are dry.",
    "leak_frac": "Put a thermometer at the drum's inlet and read it at 3 minutes.",
}
TOO_VAGUE_FRAC: Final = 0.20  # a standard error beyond this tells nothing the default does not
TOO_ALIKE: Final = 0.97  # correlation from which two figures cannot be told apart
UNLIKELY: Final = 0.01  # chance of such a misfit below which it is pointed out
STEP: Final = 3e-3  # of the logarithm, for slopes
TURN_S: Final = 300.0  # longest wait for the fire to go out
LIKELY: Final = 0.05  # chance of a misfit above which a fit is taken without another start
STARTS: Final = (0.0, -0.25, 0.25)  # of the logarithm of fabric contact
NORMAL = (8.0, 0.6, 75.0)  # load, moisture and heat for which the band of minutes is stated

Reading = tuple[str, float, float]  # what, value, standard deviation


def fit_trial(pocket: Pocket, trial: TowelTrial, *, wanted: Sequence[Figure] | None = None) -> TrialFit:
    """Fit what the trial can tell; ``wanted`` defaults to the three figures, and leakage with an inlet reading.

    Raises `NotIdentified` where the readings leave a wanted figure open, naming what would settle it, and `InputError`
    where there is nothing to fit.
    """
    from scipy.optimize import least_squares

    names = tuple(wanted) if wanted is not None else _wanted(trial)
    readings = readings_of(trial)
    _enough(names, trial, readings)
    values = np.array([r[1] for r in readings])
    deviations = np.array([r[2] for r in readings])

    def misfit(logs: Array) -> Array:
        out: Array = (predicted(_moved(pocket, names, logs), trial) - values) / deviations
        return out

    freedom = len(readings) - len(names)
    first = np.log([getattr(pocket, n) for n in names])
    if "heat_input_w" in names and trial.clocked_w is not None:
        first[names.index("heat_input_w")] = np.log(trial.clocked_w)
    low, high = first - 1.2, first + 1.2
    if "leak_frac" in names:
        high[names.index("leak_frac")] = np.log(0.69)
    found: Any = None
    for start in _starts(first, names):
        tried = least_squares(misfit, start, jac="3-point", bounds=(low, high), diff_step=STEP, x_scale=0.1)
        if found is None or tried.cost < found.cost:
            found = tried
        if _chance_of(float(np.sqrt(2.0 * found.cost / max(freedom, 1))), freedom) > LIKELY:
            break  # the readings are met within their errors: no other start can matter
    errors, correlations = _errors(found.jac, names)
    _refuse(names, errors, correlations)
    fitted = _moved(pocket, names, found.x)
    rms = float(np.sqrt((found.fun**2).sum() / max(freedom, 1)))
    band = _band(fitted, names, found.jac, max(1.0, rms))
    return TrialFit(
        figures=tuple(
            FittedFigure(name=n, value=float(np.exp(x)), standard_error=float(np.exp(x) * e), unit=UNITS[n])
            for n, x, e in zip(names, found.x, errors, strict=True)
        ),
        correlations=tuple(tuple(float(c) for c in row) for row in correlations),
        misfit=rms,
        degrees_of_freedom=freedom,
        residuals=tuple(
            (what, value, value + float(d) * sd, float(d))
            for (what, value, sd), d in zip(readings, found.fun, strict=True)
        ),
        band_frac=band,
        pocket=msgspec.structs.replace(fitted, calibration=Calibration(how="towel trial", band_frac=band)),
        cautions=_cautions(rms, freedom, found.active_mask),
    )


def readings_of(trial: TowelTrial) -> list[Reading]:
    """The trial's readings in one list: what, value, standard deviation."""
    out: list[Reading] = []
    if trial.clocked_w is not None:
        out.append(("clocked fuel input, W", trial.clocked_w, trial.clock_sd_frac * trial.clocked_w))
    if (near := trial.near_empty) is not None:
        if near.exhaust_1_min_c is not None:
            out.append(("near-empty, exhaust at 1 min, °C", near.exhaust_1_min_c, 2.0 * trial.exhaust_sd_k))
        out.append(("near-empty, mean exhaust, °C", near.exhaust_mean_c, trial.exhaust_sd_k))
        out.append(("near-empty, fuel, W", near.fuel_w, trial.fuel_sd_frac * near.fuel_w))
    for i, run in enumerate(trial.towels, 1):
        # water is a difference of two weighings on one scale
        out.append((f"towels {i}, water left, kg", run.after_kg - run.dry_kg, trial.scale_sd_kg * 2**0.5))
        for what, value, sd in (
            ("exhaust at 3 min, °C", run.exhaust_3_min_c, trial.exhaust_sd_k),
            ("exhaust 1 min before the end, °C", run.exhaust_end_c, trial.exhaust_sd_k),
            ("inlet at 3 min, °C", run.inlet_3_min_c, trial.inlet_sd_k),
        ):
            if value is not None:
                out.append((f"towels {i}, {what}", value, sd))
    return out


def predicted(pocket: Pocket, trial: TowelTrial) -> Array:
    """What the model gives for `readings_of`, in the same order."""
    heat = msgspec.structs.replace(trial.heat, cool_down_s=0.0)
    out: list[float] = []
    if trial.clocked_w is not None:
        out.append(pocket.heat_input_w)
    if trial.near_empty is not None:
        out += _near_empty(pocket, trial.near_empty, trial.air, heat)
    for run in trial.towels:
        out += _towels(pocket, run, trial.air, heat)
    return np.array(out)


def _near_empty(pocket: Pocket, run: NearEmptyRun, air: Air, heat: Heat) -> list[float]:
    load = Load(mass_dry_kg=run.towel_kg, residual_frac=0.07, temp_c=max(0.0, air.temp_c), classes=TOWELS)
    _, out = sold_run(load, pocket, air, heat, run.until_s + TURN_S)
    times, exhaust = out.time_s, out.temp_exhaust_c
    first, last = _whole_turns(out, run.from_s, run.until_s)
    fine = np.linspace(first, last, 401)
    given = [float(np.interp(60.0, times, exhaust))] if run.exhaust_1_min_c is not None else []
    burned = _burned(out, pocket, last) - _burned(out, pocket, first)
    return [*given, float(np.interp(fine, times, exhaust).mean()), burned / (last - first)]


def _whole_turns(out: Trace, from_s: float, until_s: float) -> tuple[float, float]:
    """First going-out of the fire after each of two times; the times themselves where the fire does not go out."""
    fire, times = out.fire_frac, out.time_s
    outs = times[1:][(fire[1:] == 0.0) & (fire[:-1] > 0.0)]
    first, last = outs[outs >= from_s], outs[outs >= until_s]
    if first.size and last.size and last[0] > first[0]:
        return float(first[0]), float(last[0])
    return from_s, until_s


def _burned(out: Trace, pocket: Pocket, until_s: float) -> float:
    """Fuel burned from the start to a time, from the fire held over each step. [J]"""
    ends = np.minimum(out.time_s[1:], until_s)
    spans = np.maximum(ends - np.minimum(out.time_s[:-1], until_s), 0.0)
    return float((out.fire_frac[:-1] * spans).sum()) * pocket.heat_input_w


def _towels(pocket: Pocket, run: TowelRun, air: Air, heat: Heat) -> list[float]:
    load = Load(
        mass_dry_kg=run.dry_kg, residual_frac=run.wet_kg / run.dry_kg - 1, temp_c=run.towel_temp_c, classes=TOWELS
    )
    moisture, out = sold_run(load, pocket, air, heat, run.run_s)
    times = out.time_s
    given = [run.dry_kg * moisture]
    if run.exhaust_3_min_c is not None:
        given.append(float(np.interp(180.0, times, out.temp_exhaust_c)))
    if run.exhaust_end_c is not None:
        given.append(float(np.interp(run.run_s - 60.0, times, out.temp_exhaust_c)))
    if run.inlet_3_min_c is not None:
        given.append(float(np.interp(180.0, times, out.temp_inlet_c)))
    return given


def _starts(first: Array, names: tuple[Figure, ...]) -> list[Array]:
    """Where the search begins: three fabric contacts, the rest as first taken."""
    out = []
    for shift in STARTS:
        start = first.copy()
        if "contact_w_k" in names:
            start[names.index("contact_w_k")] += shift
        out.append(start)
    return out if "contact_w_k" in names else out[:1]


def _wanted(trial: TowelTrial) -> tuple[Figure, ...]:
    has_inlet = any(r.inlet_3_min_c is not None for r in trial.towels)
    three: tuple[Figure, ...] = ("heat_input_w", "flow_exhaust_m3_s", "contact_w_k")
    return (*three, "leak_frac") if has_inlet else three


def _enough(names: tuple[Figure, ...], trial: TowelTrial, readings: list[Reading]) -> None:
    if not names or not readings:
        raise InputError("The trial holds no readings.", mend="Enter a gas-meter clocking or a weighed towel load.")
    if "leak_frac" in names and all(r.inlet_3_min_c is None for r in trial.towels):
        raise NotIdentified(f"Leakage cannot be told from fabric contact by these readings. {TELLS['leak_frac']}")
    wet = [r for r in trial.towels if r.after_kg / r.dry_kg - 1 > 0.08]
    if "contact_w_k" in names and not wet:
        why = "every towel load was run until dry" if trial.towels else "no towel load was weighed"
        raise NotIdentified(f"Fabric contact cannot be told: {why}. {TELLS['contact_w_k']}")
    if len(readings) <= len(names):
        missing = next((n for n in names if not _tells(n, trial)), names[-1])
        raise NotIdentified(
            f"{len(readings)} readings cannot tell {len(names)} figures and their errors. {TELLS[missing]}"
        )


def _tells(name: Figure, trial: TowelTrial) -> bool:
    return {
        "heat_input_w": trial.clocked_w is not None, "flow_exhaust_m3_s": trial.near_empty is not None,
        "contact_w_k": bool(trial.towels), "leak_frac": any(r.inlet_3_min_c is not None for r in trial.towels),
    }[name]  # fmt: skip


def _moved(pocket: Pocket, names: Sequence[Figure], logs: Array) -> Pocket:
    return msgspec.structs.replace(pocket, **{n: float(np.exp(x)) for n, x in zip(names, logs, strict=True)})


def _errors(jacobian: Array, names: tuple[Figure, ...]) -> tuple[Array, Array]:
    """Standard errors of the logarithms and their correlations, for the readings' stated deviations."""
    normal = jacobian.T @ jacobian
    scale = np.sqrt(np.diag(normal))
    for n, s in zip(names, scale, strict=True):
        if s * TOO_VAGUE_FRAC < 1.0:  # even with all other figures known it would be open
            raise NotIdentified(f"These readings say next to nothing of {SAID[n]}. {TELLS[n]}")
    covariance = np.linalg.pinv(normal / np.outer(scale, scale), hermitian=True) / np.outer(scale, scale)
    errors = np.sqrt(np.diag(covariance))
    return errors, covariance / np.outer(errors, errors)


def _refuse(names: tuple[Figure, ...], errors: Array, correlations: Array) -> None:
    for i, n in enumerate(names):
        for j in range(i):
            if abs(correlations[i, j]) > TOO_ALIKE:
                raise NotIdentified(
                    f"These readings cannot tell {SAID[n]} from {SAID[names[j]]} (correlation {correlations[i, j]:+.2f}). "
                    f"{TELLS[n]}"
                )
        if errors[i] > TOO_VAGUE_FRAC:
            raise NotIdentified(
                f"These readings leave {SAID[n]} open to {100 * errors[i]:.0f} % (one standard error). {TELLS[n]}"
            )


def _band(pocket: Pocket, names: tuple[Figure, ...], jacobian: Array, stretch: float) -> float:
    """One standard error of minutes to dry of a normal mixed load, from the fit's covariance."""
    mass, residual, temp = NORMAL
    load, heat = Load(mass_dry_kg=mass, residual_frac=residual), Heat(temp_exhaust_c=temp, cool_down_s=0.0)

    def minutes(logs: Array) -> float:
        return dry(load, _moved(pocket, names, logs), Air(), heat).minutes_to_dry or float("nan")

    at = np.log([getattr(pocket, n) for n in names])
    base = minutes(at)
    slope = np.empty(len(names))
    for i in range(len(names)):
        ahead = at.copy()
        ahead[i] += 0.02
        slope[i] = np.log(minutes(ahead) / base) / 0.02
    covariance = np.linalg.pinv(jacobian.T @ jacobian, hermitian=True)
    band = stretch * max(float(slope @ covariance @ slope), 0.0) ** 0.5
    return min(band, 1.0) if np.isfinite(band) else 1.0


def _chance_of(rms: float, freedom: int) -> float:
    """How likely readings with their stated errors are to miss the model by this much or more (chi-square)."""
    from scipy.stats import chi2

    return float(chi2.sf(rms * rms * freedom, freedom))


def _cautions(rms: float, freedom: int, at_edge: Array) -> tuple[str, ...]:
    out = []
    if freedom > 0 and _chance_of(rms, freedom) < UNLIKELY:
        out.append(
            f"Readings and model differ {rms:.1f} times as much as the readings' own errors allow. Look at the largest "
            "difference first: a wrong unit, a second burner on the meter, a load that got dry."
        )
    if np.any(at_edge):
        out.append("A fitted figure ran to the end of its range; take no figure of this trial as found.")
    return tuple(out)
