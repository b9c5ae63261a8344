"""Do the stated intervals of proof and upkeep hold what they say? Simulation only; prints the coverage reached.

Run: python bench/forecast_cover.py
"""

from __future__ import annotations

import numpy as np

from drybank.proof import OwnMass, Stopwatch, TimedSale, Weighing, count_by_weight, prove_time
from drybank.records.coins import coin
from drybank.records.upkeep import Span
from drybank.trial import World, invent
from drybank.upkeep import TradeClock, back_test, falling_use
from drybank.upkeep.forecast import FIRST_GUESS, HORIZONS, rate, sd_weeks

STORES, POCKETS, WEEKS, SEED = 60, 12, 200, 20
CUTS = (104, 117, 130, 143)


def spans(hours: np.ndarray) -> list[Span]:
    """A span a week, as the meter was read."""
    from datetime import date, timedelta

    first = date(2023, 1, 2)
    return [
        Span(first=first + timedelta(weeks=k), last=first + timedelta(weeks=k + 1), amount=max(0.0, float(a)))
        for k, a in enumerate(hours)
    ]


def due_dates() -> None:
    """Formula alone, first guess, the store's own back-test: share of true dates inside an 80 % interval."""
    read = np.diff(invent(World(), stores=STORES, pockets=POCKETS, weeks=WEEKS, seed=SEED).hours_read, axis=2)
    ways = {w: {h: [] for h in HORIZONS} for w in ("formula alone", "first guess", "own back-test")}
    width = {h: [] for h in HORIZONS}
    for store in read:
        told = [spans(p) for p in store]
        for cut in CUTS:
            own = back_test([(s[:cut], TradeClock()) for s in told])
            for pocket, known in zip(store, told, strict=True):
                found = rate(known[:cut], TradeClock())
                run = np.concatenate([[0.0], np.cumsum(pocket[cut:])])
                for h in HORIZONS:
                    t, sd = sd_weeks(found.per_week * h, found, resolution=0.1)
                    off = abs(float(np.interp(found.per_week * h, run, np.arange(run.size))) - t)
                    for way, factor in (("formula alone", 1.2816), ("first guess", FIRST_GUESS.factor(t, 0.80)),
                                        ("own back-test", own.factor(t, 0.80))):  # fmt: skip
                        ways[way][h].append(off <= factor * sd)
                    width[h].append(own.factor(t, 0.80) * sd)
    print(f"due dates: {STORES} invented stores of {POCKETS} pockets, {len(CUTS)} dates, nominal 80 %")
    for way, hits in ways.items():
        print(f"  {way:14s}" + "".join(f"  {h:>2.0f} weeks {np.mean(v):.3f}" for h, v in hits.items()))
    print("  half-width, weeks" + "".join(f"  {h:>2.0f} weeks {np.median(v):.2f}" for h, v in width.items()))
    reached = [float(np.mean(v)) for v in ways["own back-test"].values()]
    verdict = "met" if all(0.75 <= r <= 0.85 for r in reached) else "short"
    print(f"goal due dates: {min(reached):.3f} to {max(reached):.3f} (goal .75 to .85 at 4 to 26 weeks) {verdict}")


def field_tests() -> None:
    """Stop-watch and count by weight, nominal 95 %."""
    rng = np.random.default_rng(SEED)
    watch, n = Stopwatch(step_s=0.01), 20_000
    presses = rng.normal(0, watch.press_sd_s, (n, 2))
    off = presses[:, 1] - presses[:, 0] + rng.uniform(-1, 1, n) * watch.rate_s_per_day * 600 / 86_400
    print(f"stop-watch, 10 min: {np.mean(np.abs(off) <= watch.plus_minus_s(600.0)):.3f} (nominal .95)")
    edge = [
        prove_time([TimedSale(pocket="1", kind="start", sold_s=600, ran_s=594.99 + e)], watch=watch).verdict
        for e in off[:4000]
    ]
    print(f"a sale 5.01 s short passes: {np.mean([v == 'pass' for v in edge]):.4f} (at most .025)")
    hits = []
    for _ in range(4000):
        count = int(rng.integers(50, 3000))
        mean = 5.622 * (1 + rng.normal(0, 0.0015))
        mass = count * mean + rng.normal(0, np.sqrt(count) * 0.012 * 5.622) + rng.normal(0, 0.5)
        own = OwnMass(coins=1000, mass_g=5622 * (1 + rng.normal(0, 0.012 / np.sqrt(1000))), scale_plus_minus_g=1.0)
        found = count_by_weight(coin("USD", 25), Weighing(gross_g=mass, scale_plus_minus_g=1.0), own=own).count.interval
        hits.append(found.low <= count <= found.high)
    print(f"count by weight: {np.mean(hits):.3f} (nominal .95)")


def hints() -> None:
    """Falling use against siblings: false names, and how often a fall is seen."""
    rng = np.random.default_rng(SEED)

    def bank(fall: float) -> dict[str, list[float]]:
        mean = 35 * np.exp(rng.normal(0, 0.2, 12))[:, None] * np.exp(rng.normal(0, 0.06, 20)) * np.ones((12, 20))
        mean[0, -8:] *= 1 - fall
        return {str(i): list(map(float, row)) for i, row in enumerate(rng.poisson(mean))}

    for fall in (0.0, 0.2, 0.3, 0.4, 0.5):
        named = [{f.where for f in falling_use(bank(fall))} for _ in range(300)]
        false = sum(len(x - {"0"}) for x in named) / (300 * 11)
        print(
            f"falling use, {fall:.0%} in 8 weeks: seen {np.mean(['0' in x for x in named]):.2f}, false names {false:.4f}"
        )


if __name__ == "__main__":
    due_dates()
    field_tests()
    hints()
