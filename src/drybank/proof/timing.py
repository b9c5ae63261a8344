"""Time sold: stop-watch a start and a top-up, and know how many starts are enough.

Error of a sale = time run - time sold: below zero the customer is short, above zero the
customer gets extra.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Literal

import msgspec

from drybank.proof.judge import combine, judge, overall
from drybank.proof.standing import CAUTIONS, COIN_TEST, TIME_SOLD
from drybank.records.errors import InputError, NotIdentified
from drybank.records.proof import Conduct, Figure, Judgement, Measured, ProofResult, Tolerance, Verdict
from drybank.records.units import minutes
from drybank.records.working import Assumption, Estimate, Input, Interval, Working

STEP_S: Final = 0.2  # largest resolution step of a field stopwatch: NIST SP 960-12 (2009), table 3; read
RATE_S_PER_DAY: Final = 15.0  # largest error of the test timepiece: HB 44 5.55 N.1; from memory
PRESS_SD_S: Final = 0.2  # scatter of one press of the button by hand: assumed, no source


class Stopwatch(msgspec.Struct, frozen=True, kw_only=True):
    """A watch in a hand: resolution [s], rate error [s/day], scatter of one press (sd) [s]."""

    name: str = "stopwatch"
    step_s: float = STEP_S
    rate_s_per_day: float = RATE_S_PER_DAY
    press_sd_s: float = PRESS_SD_S

    def __post_init__(self) -> None:
        if not 0 < self.step_s <= 5:
            raise InputError(f"The watch reads in steps of {self.step_s:g} s.", allowed="0.001 to 5 s")
        if not 0 <= self.rate_s_per_day <= 600 or not 0 <= self.press_sd_s <= 5:
            raise InputError("The watch is too far off to test with.", mend="Use another watch.")

    def plus_minus_s(self, elapsed_s: float) -> float:
        """Expanded (95 %) uncertainty of an elapsed time [s].

        Two presses and the rate error (a limit either way, rectangular) as roots of squares;
        half a step of the reading on top. Times sold are often whole steps, and then the
        rounding does not average out: adding it as a square would cover only 92 % at 0.2 s.
        """
        rate = self.rate_s_per_day * elapsed_s / 86_400 / math.sqrt(3)
        return 2.0 * combine(self.press_sd_s * math.sqrt(2), rate) + self.step_s / 2


class TimedSale(msgspec.Struct, frozen=True, kw_only=True):
    """One timed purchase: what the settings say it sells, what the watch said.

    ``sold_s`` is all the time that the sale rule gives for the money, a start with its
    top-ups together where ``kind`` is "top-up". ``cool_down_s`` is the cool-down setting;
    ``cool_down_is_sold`` says whether it lies inside the time sold (the sheet's sale rule).
    ``ran_s`` runs from the start to the stop of the drum.
    """

    pocket: str
    kind: Literal["start", "top-up"]
    sold_s: float
    ran_s: float
    cool_down_s: float = 0.0
    cool_down_is_sold: bool = True

    def __post_init__(self) -> None:
        where = f"pocket {self.pocket}"
        if self.ran_s < 0:
            raise InputError(
                f"A run of {self.ran_s:g} s is below zero.",
                where=where,
                mend="Enter the time on the watch; was start taken from stop the wrong way round?",
            )
        if not (math.isfinite(self.sold_s) and self.sold_s > 0):
            raise InputError("The settings sell no time for this money, so there is nothing to time.", where=where)
        if not math.isfinite(self.ran_s) or self.ran_s > 4 * self.sold_s + 3600:
            raise InputError(
                f"The watch says {self.ran_s:g} s where {self.sold_s:g} s were sold.",
                where=where,
                mend="Were minutes and seconds swapped, or did another coin go in?",
            )
        if self.ran_s < self.sold_s / 20:
            raise InputError(
                f"The watch says {self.ran_s:g} s where {self.sold_s:g} s were sold.",
                where=where,
                mend="Enter seconds, not minutes.",
            )
        if not 0 <= self.cool_down_s < 3600 or (self.cool_down_is_sold and self.cool_down_s > self.sold_s):
            raise InputError(f"A cool-down of {self.cool_down_s:g} s does not fit into the sale.", where=where)

    @property
    def counted_s(self) -> float:
        """The part of the run that stands against the time sold [s]."""
        return self.ran_s if self.cool_down_is_sold else self.ran_s - self.cool_down_s

    @property
    def heated_s(self) -> float:
        """Heated time the customer is sold [s]: the cool-down is taken off where it is inside."""
        return self.sold_s - self.cool_down_s if self.cool_down_is_sold else self.sold_s


def _one(sale: TimedSale, watch: Stopwatch, tolerance: Tolerance | None) -> Judgement:
    reading = Measured(value=sale.counted_s, unit="s", plus_minus=watch.plus_minus_s(sale.ran_s), instrument=watch.name)
    fits = tolerance is None or sale.sold_s >= tolerance.nominal_min
    return judge(f"{sale.kind}, pocket {sale.pocket}", reading, tolerance if fits else None, nominal=sale.sold_s)


def judge_coin_test(sale: TimedSale, *, watch: Stopwatch | None = None) -> Judgement:
    """Whether a control gives what it was just set to: a start against `COIN_TEST`, the watch's doubt beside it."""
    watch = watch or Stopwatch()
    reading = Measured(value=sale.counted_s, unit="s", plus_minus=watch.plus_minus_s(sale.ran_s), instrument=watch.name)
    return judge(f"coin test, pocket {sale.pocket}", reading, COIN_TEST, nominal=sale.sold_s)


def _repeated(sales: Sequence[TimedSale], watch: Stopwatch, tolerance: Tolerance | None) -> tuple[Judgement, ...]:
    """The mean of several starts of one pocket, judged with the larger of watch and scatter (Student t)."""
    from scipy.stats import t

    out = []
    for pocket, sold in dict.fromkeys((s.pocket, s.sold_s) for s in sales if s.kind == "start"):
        runs = [s.counted_s for s in sales if (s.pocket, s.sold_s, s.kind) == (pocket, sold, "start")]
        if len(runs) < 3 or (tolerance is not None and sold < tolerance.nominal_min):
            continue
        n, mean = len(runs), sum(runs) / len(runs)
        sd = math.sqrt(sum((r - mean) ** 2 for r in runs) / (n - 1))
        give = max(float(t.ppf(0.975, n - 1)) * sd, watch.plus_minus_s(mean)) / math.sqrt(n)
        reading = Measured(value=mean, unit="s", plus_minus=give, instrument=watch.name)
        out.append(judge(f"mean of {n} starts, pocket {pocket}", reading, tolerance, nominal=sold))
    return tuple(out)


def _starts_more(judged: Sequence[Judgement]) -> tuple[Figure, ...]:
    """How many starts would decide what is too close to call, at the watch's own scatter."""
    close = [j for j in judged if j.verdict == "cannot tell" and j.margin and j.plus_minus]
    if not close:
        return ()
    worst = min(close, key=lambda j: abs(j.margin or 0.0))
    try:
        n = starts_needed(spread_sd_s=worst.plus_minus / 2, margin_s=abs(worst.margin or 0.0))
    except NotIdentified:
        return ()
    return (Figure(name=f"starts to be sure, {worst.name}", estimate=Estimate(value=float(n), unit="starts")),)


def starts_needed(*, spread_sd_s: float, margin_s: float, most: int = 200) -> int:
    """How many timed starts until the mean is known well enough to be judged.

    Smallest n with t(.975, n - 1) sd / sqrt(n) <= margin, sd being that of repeated
    starts of one pocket and margin the distance of their mean from the nearest limit.
    Raises `NotIdentified` where more than ``most`` would be needed.
    """
    from scipy.stats import t

    if spread_sd_s < 0 or not math.isfinite(spread_sd_s):
        raise InputError("The spread of the starts cannot be below zero.")
    if margin_s > 0:
        for n in range(2, most + 1):
            if float(t.ppf(0.975, n - 1)) * spread_sd_s / math.sqrt(n) <= margin_s:
                return n
    raise NotIdentified(
        f"With starts that differ by {spread_sd_s:g} s and a margin of {margin_s:g} s, not even {most} starts decide it."
    )


def pockets_needed(pockets: int, *, wrong_frac: float, confidence: float = 0.95) -> int:
    """How many pockets of a bank to time so that, if none is wrong, few can be.

    Sampling without replacement: smallest n whose chance of missing every one of
    wrong_frac x pockets wrong ones (rounded down, the cautious way, but at least one) is at
    most 1 - confidence (hypergeometric, accept on none).
    """
    if pockets < 1 or not 0 < wrong_frac <= 1 or not 0 < confidence < 1:
        raise InputError("Say how many pockets there are, and a share and a confidence between 0 and 1.")
    bad = max(1, math.floor(wrong_frac * pockets + 1e-9))
    miss = 1.0
    for n in range(1, pockets + 1):
        miss *= max(0, pockets - bad - n + 1) / (pockets - n + 1)
        if miss <= 1 - confidence:
            return n
    return pockets


def spread(errors_s: Sequence[float]) -> Estimate:
    """Standard deviation of the errors over a bank with its 95 % chi-square interval [s]."""
    from scipy.stats import chi2

    n = len(errors_s)
    if n < 2:
        raise NotIdentified("One pocket has no spread; time a second one.")
    mean = sum(errors_s) / n
    total = sum((e - mean) ** 2 for e in errors_s)
    low, high = (math.sqrt(total / float(chi2.ppf(p, n - 1))) for p in (0.975, 0.025))
    return Estimate(value=math.sqrt(total / (n - 1)), unit="s", interval=Interval(low, high), how="measured")


def _says(judged: Sequence[Judgement], verdict: Verdict) -> str:
    worst = min(judged, key=lambda j: math.inf if j.margin is None else j.margin)
    assert worst.measured is not None
    error = worst.measured.value - (worst.nominal or 0.0)
    side = "short" if error < 0 else "over"
    gap = (
        f"{abs(error):.1f} s {side} of the {minutes(worst.nominal or 0.0)} sold (give or take {worst.plus_minus:.1f} s)"
    )
    head = {"pass": "Time is sold as set", "fail": "Time is not sold as set", "cannot tell": "Too close to call"}
    return f"{head.get(verdict, 'Measured, not judged')}: {worst.name} ran {gap}."


def _next_step(verdict: Verdict, judged: Sequence[Judgement]) -> str:
    if verdict == "fail":
        short = any(
            j.verdict == "fail" and j.measured is not None and j.measured.value < (j.nominal or 0.0) for j in judged
        )
        way = "The customer is short: read the time setting back" if short else "Read the time setting back"
        return f"{way}, then time the same purchase once more before changing anything."
    if verdict == "cannot tell":
        return "Time the same purchase three more times and enter all four; their mean halves the doubt."
    if verdict == "no tolerance":
        return "Enter the local tolerance with its source to have this judged."
    return "Nothing to do; time this pocket again after the next setting change."


def _figures(sales: Sequence[TimedSale], watch: Stopwatch) -> tuple[Figure, ...]:
    errors = [s.counted_s - s.sold_s for s in sales if s.kind == "start"]
    out = [
        Figure(name=f"heated time sold, pocket {s.pocket}, {s.kind}", estimate=Estimate(value=s.heated_s, unit="s"))
        for s in sales
    ]
    if len({s.pocket for s in sales if s.kind == "start"}) >= 2:
        out.append(Figure(name="spread of the bank", estimate=spread(errors)))
    return (*out, *(_top_up(a, b, watch) for a, b in _pairs(sales)))


def _pairs(sales: Sequence[TimedSale]) -> list[tuple[TimedSale, TimedSale]]:
    starts = {s.pocket: s for s in sales if s.kind == "start"}
    return [(starts[s.pocket], s) for s in sales if s.kind == "top-up" and s.pocket in starts]


def _top_up(start: TimedSale, topped: TimedSale, watch: Stopwatch) -> Figure:
    """What the top-up alone added, from the two runs, against what the settings give."""
    added = topped.counted_s - start.counted_s
    give = combine(watch.plus_minus_s(start.ran_s), watch.plus_minus_s(topped.ran_s))
    return Figure(
        name=f"time added by the top-up, pocket {topped.pocket}",
        estimate=Estimate(
            value=added,
            unit="s",
            interval=Interval(added - give, added + give, kind="instrument"),
            how="measured",
            working=Working(
                figure="time added by the top-up",
                formula="run with top-up - run without",
                inputs=(
                    Input(name="sold by the top-up", value=f"{topped.sold_s - start.sold_s:g}", unit="s"),
                    Input(name="run with top-up", value=f"{topped.counted_s:g}", unit="s", how="measured"),
                    Input(name="run without", value=f"{start.counted_s:g}", unit="s", how="measured"),
                ),
            ),
        ),
    )


def _assumed(watch: Stopwatch) -> tuple[Assumption, ...]:
    if watch.press_sd_s != PRESS_SD_S:
        return ()
    return (
        Assumption(
            name="scatter of one press of the watch",
            taken=f"{PRESS_SD_S:g} s (one standard deviation)",
            source="assumed, no source",
            matters="the give or take of every timed run",
        ),
    )


def prove_time(
    sales: Sequence[TimedSale],
    *,
    watch: Stopwatch | None = None,
    tolerance: Tolerance | None = TIME_SOLD,
    conduct: Conduct | None = None,
) -> ProofResult:
    """Judge timed sales of one pocket or a bank against what the settings sell.

    A sale shorter than the tolerance speaks about (1 min) is reported without a verdict. Three
    starts or more of one pocket are judged by their mean.
    """
    if not sales:
        raise InputError("No timed run was entered.", mend="Time one start, then one start with a top-up.")
    watch = watch or Stopwatch()
    means = _repeated(sales, watch, tolerance)
    singles = tuple(_one(s, watch, tolerance) for s in sales)
    held = {m.name.rsplit(" ", 1)[-1] for m in means}
    judged = (*means, *(j for s, j in zip(sales, singles, strict=True) if s.kind == "top-up" or s.pocket not in held))
    verdict = overall(judged)
    names = sorted({s.pocket for s in sales})
    working = Working(
        figure="error of a sale",
        formula="time run - time sold; the cool-down is taken off the run where it is not part of the sale",
        inputs=tuple(
            Input(
                name=f"pocket {s.pocket}, {s.kind}", value=f"{s.counted_s:g} - {s.sold_s:g}", unit="s", how="measured"
            )
            for s in sales
        ),
        source=tolerance.shown() if tolerance else "no tolerance on file",
    )
    return ProofResult(
        kind="time sold",
        subject=f"pocket {names[0]}" if len(names) == 1 else f"pockets {', '.join(names)}",
        verdict=verdict,
        says=_says(judged, verdict),
        next_step=_next_step(verdict, judged),
        cautions=CAUTIONS["time"],
        judgements=judged,
        figures=(*_figures(sales, watch), *_starts_more(judged)),
        workings=(working,),
        assumed=_assumed(watch),
        conduct=conduct or Conduct(instruments=(watch.name,)),
    )
