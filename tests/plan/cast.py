"""Small invented banks for the plan's tests."""

from __future__ import annotations

import numpy as np

from drybank.records.plan import (
    PlanCosts,
    PlanGrid,
    PlanHeat,
    PlanInputs,
    PlanLimits,
    PlanLoads,
    PlanSetting,
    PriceAnswer,
    Ranged,
)


def known(value: float) -> Ranged:
    return Ranged(value=value, low=value, high=value, how="given")


def loads(n: int = 400, temps: tuple[int, ...] = (60, 70, 80), heats: int = 2, seed: int = 1) -> PlanLoads:
    """Invented loads: cooler heats take longer and burn about the same."""
    rng = np.random.default_rng(seed)
    base = rng.lognormal(np.log(1500), 0.35, n)
    slower = np.array([1.0 + 0.012 * (temps[-1] - t) for t in temps])
    normal = 1500.0 * slower
    return PlanLoads(
        need_s=base[:, None] * slower,
        fuel_j=base[:, None] * 15_000.0 * np.ones(len(temps)),
        heat=rng.integers(0, heats, n),
        belief=rng.uniform(0.7, 1.3, n),
        patience=rng.lognormal(0.0, 0.3, n),
        weight=np.ones(n, np.int64),
        load_kg=base / 300.0,
        fuel_over_w=np.array([4000.0 + 60.0 * t for t in temps]),
        motor_w=560.0,
        normal_need_s=normal,
        normal_fuel_j=normal * 15_000.0,
        normal_kg=5.0,
    )


def grid(**changes: object) -> PlanGrid:
    base: dict[str, object] = {
        "piece_minor": 25,
        "time_per_piece_s": tuple(range(180, 661, 30)),
        "start_pieces": (1, 2, 3, 4, 5, 6),
        "cool_down_s": (0, 60, 120),
        "temps": (60, 70, 80),
        "temps_c": (60.0, 70.0, 80.0),
        "heats": (PlanHeat(number=1, name="high", levels=(0, 1, 2)), PlanHeat(number=2, name="low", levels=(0, 1, 2))),
    }
    return PlanGrid(**{**base, **changes})  # type: ignore[arg-type]


def inputs(**changes: object) -> PlanInputs:
    base: dict[str, object] = {
        "store": "Millbrook",
        "bank": "front",
        "currency": "USD",
        "grid": grid(),
        "loads": loads(),
        "loads_per_week": Ranged(value=600.0, low=500.0, high=700.0, how="given"),
        "costs": PlanCosts(
            fuel_minor_kwh=Ranged(value=4.3, low=3.5, high=6.0, how="given"),
            power_minor_kwh=Ranged(value=14.0, low=12.0, high=16.0, how="given"),
            wear_minor_hour=Ranged(value=40.0, low=20.0, high=80.0),
            visit_minor=Ranged(value=180.0, low=100.0, high=300.0),
        ),
        "price_answer": PriceAnswer(walk_away_minor=Ranged(value=260.0, low=200.0, high=340.0)),
        "limits": PlanLimits(heat_step_at_most_c=None),
        "today": PlanSetting(
            piece_minor=25, time_per_piece_s=360, start_pieces=4, first_time_s=1440, cool_down_s=120, temps=(80, 60)
        ),
        "pockets": 12,
    }
    return PlanInputs(**{**base, **changes})  # type: ignore[arg-type]
