"""Due dates: intervals that cover what they say on fleets the forecast does not know."""

import importlib.util
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from tests.facts.report import note

from drybank.records.errors import InputError, NotIdentified
from drybank.records.upkeep import Outage, Span
from drybank.upkeep.clock import Season, TradeClock, fit_season
from drybank.upkeep.forecast import FIRST_GUESS, HORIZONS, back_test, forecast, rate, sd_weeks

_spec = importlib.util.spec_from_file_location("upkeep_fleet", Path(__file__).with_name("fleet.py"))
fleet = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(fleet)


@pytest.fixture(scope="module")
def past():
    """The back-test of 40 stores' two years, no season fitted."""
    rng = np.random.default_rng(1)
    pockets = [(fleet.spans_of(h), TradeClock()) for _ in range(40) for h in fleet.store_hours(rng, weeks=104)]
    return back_test(pockets)


def _crossings(rng, past, level, *, stores=150, seasonal=False):
    """Share of true crossings inside the interval at each horizon, over fresh stores (weeks 104 to 160)."""
    hits = {h: [] for h in HORIZONS}
    for _ in range(stores):
        hours = fleet.store_hours(rng, weeks=160)
        season = fit_season(fleet.FIRST, hours[:, :104].sum(axis=0)) if seasonal else Season()
        clock = TradeClock(season=season)
        today = fleet.FIRST + timedelta(weeks=104)
        for pocket in hours[:4]:
            spans = fleet.spans_of(pocket[:104])
            found = rate(spans, clock)
            run = np.concatenate([[0.0], np.cumsum(pocket[104:])])
            for h in HORIZONS:
                left = found.per_week * h
                true_day = today + timedelta(days=float(np.interp(left, run, 7.0 * np.arange(run.size))))
                due = forecast(left, spans, today=today, clock=clock, past=past, level=level)
                hits[h].append(due.low <= true_day <= due.high)
    return {h: float(np.mean(v)) for h, v in hits.items()}


def test_80_percent_intervals_cover_75_to_85_at_every_horizon(past):
    covered = _crossings(np.random.default_rng(2), past, 0.80)
    assert all(0.75 <= c <= 0.85 for c in covered.values()), covered


def test_95_percent_intervals_cover_92_to_98(past):
    covered = _crossings(np.random.default_rng(3), past, 0.95)
    assert all(0.92 <= c <= 0.98 for c in covered.values()), covered


def test_the_books_own_back_test_covers_in_the_invented_worlds_of_the_trial_room_too():
    """30 stores of another generator (`drybank.trial`), forecast at four dates of a year so that no one season
    decides; each store's factor comes from its own 12 pockets' past at that date."""
    from drybank.trial import World, invent

    hours = np.diff(invent(World(), stores=30, pockets=12, weeks=200, seed=9).hours_read, axis=2)
    hits = {h: [] for h in HORIZONS}
    for store in hours:
        told = [fleet.spans_of(p) for p in store]
        for cut in (104, 117, 130, 143):
            own = back_test([(s[:cut], TradeClock()) for s in told])
            for pocket, known in zip(store, told, strict=True):
                found = rate(known[:cut], TradeClock())
                run = np.concatenate([[0.0], np.cumsum(pocket[cut:])])
                for h in HORIZONS:
                    t, sd = sd_weeks(found.per_week * h, found, resolution=1.0)
                    true = float(np.interp(found.per_week * h, run, np.arange(run.size)))
                    hits[h].append(abs(true - t) <= own.factor(t, 0.80) * sd)
    covered = {h: float(np.mean(v)) for h, v in hits.items()}
    for h, share in covered.items():
        note(f"due dates, {h:g} weeks ahead, 80 %", "our own simulated stores (drybank.trial)", "C", ".75 to .85", f"{share:.3f}",
             f"{share - 0.80:+.3f}")  # fmt: skip
    assert all(0.75 <= c <= 0.85 for c in covered.values()), covered


def test_formula_without_the_back_test_would_cover_too_little(past):
    """The reason for the factor: a normal 80 % half-width is 1.28 sd, and the past asks for more."""
    assert min(past.p80) > 1.2816


def test_first_guess_is_what_the_simulated_fleet_gives(past):
    assert np.allclose(past.p80, FIRST_GUESS.p80, atol=0.005)
    assert np.allclose(past.p95, FIRST_GUESS.p95, atol=0.005)


def test_a_fitted_season_shortens_the_error_of_long_forecasts():
    """Over 40 stores with an 18 % swing: median error at 26 weeks with and without the season of two years."""
    rng = np.random.default_rng(4)
    errors = {True: [], False: []}
    for _ in range(40):
        hours = fleet.store_hours(rng, weeks=140, season=0.18)
        spans, today = fleet.spans_of(hours[0, :104]), fleet.FIRST + timedelta(weeks=104)
        run = np.concatenate([[0.0], np.cumsum(hours[0, 104:])])
        left = float(np.interp(26.0, np.arange(run.size), run))
        for fitted in (True, False):
            clock = TradeClock(season=fit_season(fleet.FIRST, hours[:, :104].sum(axis=0))) if fitted else TradeClock()
            due = forecast(left, spans, today=today, clock=clock)
            errors[fitted].append(abs((due.on - today).days / 7 - 26))
    assert np.median(errors[True]) < 0.7 * np.median(errors[False])


class TestClock:
    def test_season_is_found_beside_a_trend(self):
        t = np.arange(156) * 7 + 3.5 + fleet.FIRST.toordinal()
        angle = 2 * np.pi * t / 365.2425
        weekly = 400 * np.exp(0.002 * np.arange(156)) * np.exp(0.1 * np.cos(angle) - 0.05 * np.sin(angle))
        found = fit_season(fleet.FIRST, list(weekly))
        assert found.cos[0] == pytest.approx(0.1, abs=1e-6)
        assert found.sin[0] == pytest.approx(-0.05, abs=1e-6)

    def test_one_year_cannot_tell_season_from_trend(self):
        with pytest.raises(NotIdentified, match="104"):
            fit_season(fleet.FIRST, [100.0] * 60)

    def test_the_short_way_for_plain_weeks_agrees_with_looking_at_each_day(self):
        day = date(2026, 5, 4)
        assert TradeClock().weeks(day, date(2026, 7, 1)) == pytest.approx(TradeClock().weights(day, 58).sum())

    def test_an_outage_is_no_trade(self):
        day = date(2026, 5, 4)
        clock = TradeClock(outages=(Outage(first=date(2026, 5, 11), last=date(2026, 5, 18)),))
        assert clock.weeks(day, day + timedelta(weeks=3)) == pytest.approx(2.0)
        assert clock.day_after(day, 1.5) >= date(2026, 5, 18)

    def test_a_busy_saturday_moves_the_date_within_the_week(self):
        monday = date(2026, 5, 4)
        saturday = TradeClock(weekday_frac=(0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0))
        assert saturday.day_after(monday, 0.5) == date(2026, 5, 9)
        assert TradeClock().day_after(monday, 0.5) == date(2026, 5, 7)

    def test_weekday_shares_must_add_to_one(self):
        with pytest.raises(InputError, match="adding to 1"):
            TradeClock(weekday_frac=(0.5,) * 7)


class TestRate:
    def _span(self, k, amount, days=7):
        first = fleet.FIRST + timedelta(days=7 * k)
        return Span(first=first, last=first + timedelta(days=days), amount=amount)

    def test_mean_of_twelve_weeks_and_their_variance(self):
        use = [10, 12, 9, 11, 10, 13, 8, 11, 12, 10, 9, 11]
        found = rate([self._span(0, 99)] + [self._span(k + 1, a) for k, a in enumerate(use)], TradeClock())
        assert found.per_week == pytest.approx(np.mean(use))
        assert found.variance == pytest.approx(np.var(use, ddof=1))

    def test_formula_by_hand(self):
        """t = 52.5/10.5 = 5; sd² = 5 v/l² + 25 (v/(12 l²) + .0025) + (.41/l)² with v 2: worked by hand."""
        found = rate([self._span(k, a) for k, a in enumerate([9.5, 11.5] * 6)], TradeClock())
        t, sd = sd_weeks(52.5, found, resolution=1.0)
        v = found.variance
        assert t == pytest.approx(5.0)
        assert sd**2 == pytest.approx(5 * v / 110.25 + 25 * (v / (12 * 110.25) + 0.0025) + (0.41 / 10.5) ** 2)

    def test_a_fortnight_and_two_weeks_tell_the_same(self):
        weekly = rate([self._span(k, 10) for k in range(12)], TradeClock())
        mixed = rate([self._span(2 * k, 20, days=14) for k in range(6)], TradeClock())
        assert mixed.per_week == pytest.approx(weekly.per_week)

    def test_no_use_gives_no_date(self):
        with pytest.raises(NotIdentified, match="read the meter"):
            rate([self._span(0, 0)], TradeClock())

    def test_a_span_refuses_days_out_of_order_and_falling_meters(self):
        with pytest.raises(InputError, match="two days in order"):
            Span(first=date(2026, 5, 4), last=date(2026, 5, 4), amount=1)
        with pytest.raises(InputError, match="rolled over"):
            Span(first=date(2026, 5, 4), last=date(2026, 5, 11), amount=-3)


def test_a_past_that_ends_before_the_target_counts_at_least_its_error():
    """A pocket that stops being used is an error of the forecast, not a missing one."""
    first = fleet.FIRST
    spans = [Span(first=first + timedelta(weeks=k), last=first + timedelta(weeks=k + 1), amount=10.0 if k < 40 else 0.2)
             for k in range(104)]  # fmt: skip
    steady = [Span(first=s.first, last=s.last, amount=10.0 + k % 2) for k, s in enumerate(spans)]
    assert back_test([(spans, TradeClock())] * 40).p95[0] > 3 * back_test([(steady, TradeClock())] * 40).p95[0]
