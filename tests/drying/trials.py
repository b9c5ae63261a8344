"""Invented pockets and the trials that they would give, with noise of the readings' own size."""

import msgspec
import numpy as np

from drybank.drying import Air, Heat, Pocket
from drybank.drying.calibrate import predicted, readings_of
from drybank.records.drying import NearEmptyRun, TowelRun, TowelTrial
from drybank.records.units import CFM_M3_S, POUND_KG

HIGH = Heat(temp_exhaust_c=82.0, cool_down_s=0.0)
TRUTH = Pocket(heat_input_w=20300.0, flow_exhaust_m3_s=405 * CFM_M3_S, contact_w_k=37.0)


def blank(*, inlet=False, towels=((8, 360.0), (16, 660.0)), clock=True, near_empty=True):
    """The trial of the card with readings still to be made: weighed 60 %, taken out at 6 and 11 minutes."""
    runs = tuple(
        TowelRun(
            dry_kg=lb * POUND_KG, wet_kg=1.6 * lb * POUND_KG, run_s=seconds, after_kg=1.3 * lb * POUND_KG,
            exhaust_3_min_c=40.0, exhaust_end_c=45.0, inlet_3_min_c=120.0 if inlet else None,
        )
        for lb, seconds in towels
    )  # fmt: skip
    return TowelTrial(
        air=Air(temp_c=21.0, humidity_frac=0.45),
        heat=HIGH,
        clocked_w=20000.0 if clock else None,
        near_empty=NearEmptyRun(towel_kg=0.5, exhaust_mean_c=80.0, fuel_w=8e3, exhaust_1_min_c=50.0)
        if near_empty
        else None,
        towels=runs,
    )


def measured(truth: Pocket, trial: TowelTrial, rng: np.random.Generator | None) -> TowelTrial:
    """The trial filled with what the true pocket gives, and noise where a generator is handed in."""
    exact = predicted(truth, trial)
    sds = np.array([sd for _, _, sd in readings_of(refilled(trial, exact))])
    noise = np.zeros(len(exact)) if rng is None else rng.normal(size=len(exact)) * sds
    return refilled(trial, exact + noise)


def refilled(trial: TowelTrial, values: np.ndarray) -> TowelTrial:
    """The trial with its readings replaced, in the order of `readings_of`."""
    left = list(values)
    clocked = left.pop(0) if trial.clocked_w is not None else None
    near = trial.near_empty
    if near is not None:
        first = left.pop(0) if near.exhaust_1_min_c is not None else None
        near = msgspec.structs.replace(near, exhaust_1_min_c=first, exhaust_mean_c=left.pop(0), fuel_w=left.pop(0))
    towels = []
    for run in trial.towels:
        changed = {"after_kg": min(max(run.dry_kg + left.pop(0), run.dry_kg), run.wet_kg)}
        for name in ("exhaust_3_min_c", "exhaust_end_c", "inlet_3_min_c"):
            if getattr(run, name) is not None:
                changed[name] = left.pop(0)
        towels.append(msgspec.structs.replace(run, **changed))
    return msgspec.structs.replace(trial, clocked_w=clocked, near_empty=near, towels=tuple(towels))
