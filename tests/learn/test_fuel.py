"""Fuel of an hour: certified regressions, real weather, known truth."""

import csv
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from drybank.learn import compare, contrast, learn_fuel, least_squares
from drybank.records.errors import InputErrors, NotIdentified
from drybank.records.learn import FuelBill
from drybank.records.working import Estimate, Interval

PHYSICS = Estimate(value=2.0, unit="m3 an hour", assumption=Interval(1.0, 3.0, "assumption"))


def nist(folder, name):
    """A Statistical Reference Dataset of NIST as scipy ships it: lines of numbers, and the certified ones above."""
    path = Path(find_spec("scipy").origin).parent / "stats" / "tests" / "data" / folder / name
    return path.read_text().splitlines()


def months(name="703165TY.csv"):
    """Mean dry bulb of each month of a TMY3 file that pvlib ships (NREL). [°C]"""
    path = Path(find_spec("pvlib").origin).parent / "data" / name
    head, *rows = list(csv.reader(path.open(newline="")))[1:]
    assert head[31] == "Dry-bulb (C)"
    by = [[] for _ in range(12)]
    for row in rows:
        by[int(row[0][:2]) - 1].append(float(row[31]))
    return np.array([np.mean(b) for b in by])


def bills(rng, *, n=24, noise=0.03, washes=None, hour=1.8, air=0.03, standing=3.0, step=0.0):
    cold = 20.0 - np.tile(months_of(), 3)[:n]
    out = []
    for m in range(n):
        hours, days = rng.uniform(300, 700), int(rng.integers(27, 34))
        washed = None if washes is None else rng.uniform(0.8, 1.4) * hours
        after = float(m >= n // 2)
        burnt = (
            (hour * (1 + step * after) + air * cold[m]) * hours + standing * days + (washes or 0.0) * (washed or 0.0)
        )
        out.append(
            FuelBill(
                first=f"2024-{m % 12 + 1:02d}-01", last=f"2024-{m % 12 + 1:02d}-28", days=days, hours=hours,
                quantity=burnt * rng.normal(1, noise), air_c=20.0 - cold[m], washes=washed, share_after=(after,),
            )
        )  # fmt: skip
    return out, float(cold.mean())


MONTHS = []


def months_of():
    if not MONTHS:
        MONTHS.extend(months())
    return MONTHS


@pytest.mark.facts
class TestAgainstPublished:
    def test_norris_regression_is_nists_certified(self):
        """NIST StRD "Norris", certified intercept, slope and their sds, shipped with scipy (read): to 1e-9 relative."""
        lines = nist("nist_linregress", "Norris.dat")
        rows = np.array([[float(v) for v in ln.split()] for ln in lines[60:96] if len(ln.split()) == 2])
        assert len(rows) == 36
        fit = least_squares(np.column_stack([np.ones(36), rows[:, 1]]), rows[:, 0])
        assert fit.beta == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-9)
        assert np.sqrt(np.diag(fit.cov)) == pytest.approx([0.232818234301152, 0.429796848199937e-3], rel=1e-9)

    def test_two_groups_are_nists_certified_analysis_of_variance(self):
        """NIST StRD "AtmWtAg" (two instruments, 24 each), certified F = 15.9467335677930, shipped with scipy (read).

        With two groups F is the square of the pooled t. The data have seven leading digits alike, so 1e-6 is asked.
        """
        rows = [ln.split() for ln in nist("nist_anova", "AtmWtAg.dat")[60:] if len(ln.split()) == 2]
        one, two = (np.array([float(v) for g, v in rows if g == k]) for k in ("1", "2"))
        assert (one.size, two.size) == (24, 24)
        found = compare(one, two)
        assert (found.difference / found.se) ** 2 == pytest.approx(15.9467335677930, rel=1e-6)

    @pytest.mark.parametrize("station", ["703165TY.csv", "723170TYA.CSV"], ids=["Sand Point AK", "Greensboro NC"])
    def test_degree_regression_on_real_weather_is_scipys(self, station):
        """Twelve months of TMY3 air (pvlib): slope and its standard error equal `scipy.stats.linregress` to 1e-9."""
        cold = 20.0 - months(station)
        assert -8 < cold.min() < cold.max() < 25
        assert np.ptp(cold) > 10
        y = 1.8 + 0.03 * cold + np.random.default_rng(4).normal(0, 0.02, 12)
        fit, theirs = least_squares(np.column_stack([np.ones(12), cold]), y), stats.linregress(cold, y)
        assert fit.beta[1] == pytest.approx(theirs.slope, rel=1e-9)
        assert np.sqrt(fit.cov[1, 1]) == pytest.approx(theirs.stderr, rel=1e-9)

    def test_two_instruments_relabeled_are_scipys_exact_permutation_test(self):
        """NIST StRD "SiRstv" (silicon resistivity, instruments 1 and 5, five each, shipped with scipy): all 252 ways, equal p;
        Student's p equals `scipy.stats.ttest_ind` to 1e-9."""
        rows = [ln.split() for ln in nist("nist_anova", "SiRstv.dat")[60:] if len(ln.split()) == 2]
        one, five = (np.array([float(v) for g, v in rows if g == k]) for k in ("1", "5"))
        assert (one.size, five.size) == (5, 5)
        ours = compare(one, five)
        theirs = stats.permutation_test(
            (one, five), lambda x, y: np.mean(x) - np.mean(y), n_resamples=np.inf, vectorized=False
        )
        assert ours.relabelings == 252
        assert ours.p_relabel == pytest.approx(theirs.pvalue, abs=1e-12)
        assert ours.p_t == pytest.approx(stats.ttest_ind(one, five).pvalue, abs=1e-9)

    def test_difference_in_differences_on_real_weather_is_the_interaction_of_least_squares(self):
        """Dry bulb in kelvin of Greensboro's TMY3 (pvlib), hours of the day as units, weeks as weeks, "changed" from noon to
        17 h, about week 12: the effect equals the interaction of `numpy.linalg.lstsq` on the collapsed logs (to 1e-10),
        its p and ends those of `scipy.stats.ttest_ind` on the differences (to 1e-10)."""
        path = Path(find_spec("pvlib").origin).parent / "data" / "723170TYA.CSV"
        air = np.array([float(row[31]) for row in list(csv.reader(path.open(newline="")))[2:]])[: 24 * 364] + 273.15
        weeks = air.reshape(52, 7, 24).mean(axis=1).T
        mask = np.array([12 <= h <= 17 for h in range(24)])
        ours = contrast(weeks, list(mask), at=12, before=8, after=8, what="hours")
        pre, post = np.log(weeks[:, 4:12].sum(axis=1)), np.log(weeks[:, 12:20].sum(axis=1))
        is_changed, is_after = np.tile(mask, 2) * 1.0, np.repeat([0.0, 1.0], 24)
        x = np.column_stack([np.ones(48), is_changed, is_after, is_changed * is_after])
        assert ours.log_effect == pytest.approx(np.linalg.lstsq(x, np.concatenate([pre, post]))[0][3], abs=1e-10)
        theirs = stats.ttest_ind((post - pre)[mask], (post - pre)[~mask])
        assert ours.p_t == pytest.approx(theirs.pvalue, abs=1e-10)
        ends = theirs.confidence_interval(0.95)
        assert np.log1p([ours.effect.interval.low, ours.effect.interval.high]) == pytest.approx(
            [ends.low, ends.high], abs=1e-10
        )


class TestOnKnownTruth:
    @pytest.mark.parametrize("washes", [None, 0.35], ids=["own meter", "shared with washers"])
    def test_intervals_cover_and_alarms_are_few(self, washes):
        """600 stores, 24 bills on real monthly air, 3 % scatter: every interval 93 to 97 of 100, alarms at most 6 of 100."""
        held, alarms = np.zeros(4), 0
        for k in range(600):
            made, cold = bills(np.random.default_rng(k), washes=washes)
            f = learn_fuel(
                made, fuel="gas", unit="m3", is_shared=washes is not None, physics=PHYSICS, changes=("service",)
            )
            assert f.verdict == "learned"
            truth = (
                (f.per_hour, 1.8 + 0.03 * cold),
                (f.per_degree_hour, 0.03),
                (f.per_day, 3.0),
                (f.changes[0][1], 0.0),
            )
            held += [e.interval.low <= t <= e.interval.high for e, t in truth]
            alarms += bool(f.findings)
        assert (held / 600 >= 0.93).all()
        assert (held / 600 <= 0.97).all()
        assert alarms / 600 <= 0.06  # two questions a store, each at 2.5 %: the change, and the last bills

    def test_a_rise_of_a_fifth_after_a_change_is_a_finding_with_causes(self):
        made, _ = bills(np.random.default_rng(2), step=0.2, air=0.0)
        f = learn_fuel(made, fuel="gas", unit="m3", is_shared=False, physics=PHYSICS, changes=("heat up",))
        assert [x.key for x in f.findings] == ["learn/fuel/store/heat up"]
        assert any("lint" in c.name for c in f.findings[0].causes)

    def test_the_size_of_a_rise_is_covered(self):
        """500 stores, a rise of a fifth: 93 to 97 of 100."""
        held = 0
        for k in range(500):
            made, _ = bills(np.random.default_rng(k), step=0.2, air=0.0)
            f = learn_fuel(made, fuel="gas", unit="m3", is_shared=False, physics=PHYSICS, changes=("heat up",))
            held += f.changes[0][1].interval.low <= 0.2 <= f.changes[0][1].interval.high
        assert 0.93 <= held / 500 <= 0.97

    def test_the_last_bills_that_burn_more_are_a_finding(self):
        made, _ = bills(np.random.default_rng(5))
        dear = [m if i < 21 else FuelBill(**{f: getattr(m, f) for f in m.__struct_fields__} | {"quantity": 1.25 * m.quantity}) for i, m in enumerate(made)]  # fmt: skip
        f = learn_fuel([FuelBill(**{n: getattr(m, n) for n in m.__struct_fields__} | {"share_after": ()}) for m in dear],
                       fuel="gas", unit="m3", is_shared=False, physics=PHYSICS)  # fmt: skip
        assert any(x.key == "learn/fuel/store" for x in f.findings)


class TestWhatCannotBeTold:
    def test_a_meter_shared_with_the_washers_needs_wash_counts(self):
        made, _ = bills(np.random.default_rng(1))
        f = learn_fuel(made, fuel="gas", unit="m3", is_shared=True, physics=PHYSICS, changes=("service",))
        assert f.verdict == "cannot tell"
        assert f.per_hour == PHYSICS
        assert "wash counts" in f.says

    def test_few_bills_fall_back_to_the_physics_with_its_band(self):
        made, _ = bills(np.random.default_rng(1), n=4)
        f = learn_fuel(made, fuel="gas", unit="m3", is_shared=False, physics=PHYSICS, changes=("service",))
        assert f.verdict == "cannot tell"
        assert f.per_hour.interval is None

    def test_a_bill_without_hours_is_refused_in_words(self):
        made, _ = bills(np.random.default_rng(1))
        bad = FuelBill(first="2024-01-01", last="2024-01-28", days=28, quantity=5.0, hours=0.0, share_after=(0.0,))
        with pytest.raises(InputErrors, match="hours"):
            learn_fuel([*made, bad], fuel="gas", unit="m3", is_shared=False, physics=PHYSICS, changes=("service",))

    def test_columns_that_say_the_same_are_told(self):
        x = np.arange(8.0)
        with pytest.raises(NotIdentified, match="same"):
            least_squares(np.column_stack([x, 2 * x]), x)
