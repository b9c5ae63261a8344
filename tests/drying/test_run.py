"""`dry` and `dry_many` as a caller sees them."""

import subprocess
import sys
import threading
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.drying.loads import random_cases

from drybank.drying import (
    TOWELS,
    Air,
    FabricClass,
    FireControl,
    Heat,
    Load,
    Pocket,
    Start,
    dry,
    dry_many,
)
from drybank.records.errors import DrybankError, InputError, OutOfRange

LOAD, POCKET, AIR, HEAT = Load(mass_dry_kg=8.0, residual_frac=0.6), Pocket(), Air(), Heat()


def test_importing_the_room_does_not_import_numba_or_scipy():
    code = "import sys, drybank.drying; print([m for m in ('numba', 'scipy') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_dry_and_dry_many_give_the_same_figures():
    cases = random_cases(12, 91)
    sold = np.linspace(300, 3600, 12)
    many = dry_many(*(list(x) for x in zip(*cases, strict=True)), sold_s=sold)
    need = dry_many(*(list(x) for x in zip(*cases, strict=True)))
    for i, case in enumerate(cases):
        one = dry(*case, sold_s=float(sold[i]))
        assert one.minutes_to_dry * 60 == pytest.approx(need.seconds_to_dry[i], rel=1e-12)
        assert one.gas_to_dry_j == pytest.approx(need.gas_to_dry_j[i], rel=1e-12)
        assert one.gas_sold_j == pytest.approx(many.gas_end_j[i], rel=1e-12)
        assert one.electricity_sold_j == pytest.approx(many.electricity_end_j[i], rel=1e-12)
        assert one.load_temp_after_cool_down_k == pytest.approx(many.load_temp_end_k[i], rel=1e-12)
        assert one.firing_share_frac == pytest.approx(need.firing_share_frac[i], rel=1e-12)


def test_one_record_stands_for_all():
    loads = [Load(mass_dry_kg=m, residual_frac=0.6) for m in (3.0, 6.0, 9.0)]
    out = dry_many(loads, POCKET, AIR, HEAT)
    assert out.seconds_to_dry.shape == (3,)
    assert (np.diff(out.seconds_to_dry) > 0).all()


def test_sequences_of_different_length_are_refused():
    with pytest.raises(InputError, match="differ in number"):
        dry_many([LOAD, LOAD], [POCKET] * 3, AIR, HEAT)


def test_sold_time_with_cool_down_inside_ends_when_sold_and_outside_runs_longer():
    inside = dry(LOAD, POCKET, AIR, Heat(cool_down_s=180.0), sold_s=1200.0)
    outside = dry(LOAD, POCKET, AIR, Heat(cool_down_s=180.0, is_cool_down_inside_sold=False), sold_s=1200.0)
    assert inside.trace.time_s[-1] == pytest.approx(1200.0)
    assert outside.trace.time_s[-1] == pytest.approx(1380.0)
    assert outside.gas_sold_j > inside.gas_sold_j


def test_sold_time_shorter_than_its_cool_down_is_all_cool_down():
    out = dry(LOAD, POCKET, AIR, Heat(cool_down_s=300.0), sold_s=60.0)
    assert out.gas_sold_j == 0.0
    assert out.trace.time_s[-1] == pytest.approx(60.0)
    assert out.minutes_to_dry > 5.0  # what it needs does not depend on what was sold


def test_need_is_told_whatever_was_sold():
    bare = dry(LOAD, POCKET, AIR, HEAT)
    short = dry(LOAD, POCKET, AIR, HEAT, sold_s=300.0)
    assert short.minutes_to_dry == bare.minutes_to_dry
    assert short.is_dry_when_sold_ends is False
    assert bare.gas_sold_j is None


def test_a_load_that_never_dries_says_so_with_none():
    out = dry(LOAD, POCKET, Air(temp_c=10.0, humidity_frac=0.98), Heat(temp_exhaust_c=None))
    assert out.minutes_to_dry is None
    assert out.gas_to_dry_j is None
    assert out.electricity_to_dry_j is None


def test_lock_is_released_while_many_loads_dry():
    """Another thread must get its turn while the kernel runs; with the lock held it would get none."""
    cases = random_cases(2000, 17)
    records = tuple(list(x) for x in zip(*cases, strict=True))
    from drybank.drying import layout
    from drybank.drying.rows import row_of, start_of
    from drybank.drying.run import run_many

    rows = np.array([row_of(*c) for c in cases])
    starts = np.array([start_of(c[0], c[2]) for c in cases])
    assert len(records[0]) == rows.shape[0]
    run_many(rows[:8], starts[:8])
    stop, ticks = threading.Event(), []

    def tick():
        while not stop.is_set():
            ticks.append(time.perf_counter())
            time.sleep(0.001)

    side = threading.Thread(target=tick)
    side.start()
    begun = time.perf_counter()
    outs = run_many(rows, starts)
    ended = time.perf_counter()
    stop.set()
    side.join()
    inside = [t for t in ticks if begun < t < ended]
    assert np.isfinite(outs[:, layout.O_END_S]).all()
    assert len(inside) >= 3


class TestRefusals:
    @pytest.mark.parametrize(
        ("make", "says"),
        [
            (lambda: Load(mass_dry_kg=0.0, residual_frac=0.6), "Dry mass of the load"),
            (lambda: Load(mass_dry_kg=float("nan"), residual_frac=0.6), "Dry mass of the load"),
            (lambda: Load(mass_dry_kg=5.0, residual_frac=60.0), "Residual moisture"),
            (lambda: Pocket(leak_frac=1.0), "Leakage"),
            (lambda: Pocket(flow_exhaust_m3_s=0.0), "Exhaust airflow"),
            (lambda: Air(humidity_frac=50.0), "Relative humidity"),
            (lambda: Air(temp_c=90.0), "Temperature of the air"),
            (lambda: Heat(temp_exhaust_c=190.0), "Heat setting"),
            (lambda: FireControl(band_k=0.0), "Dead-band"),
            (lambda: Start(temp_metal_c=900.0, temp_exhaust_c=20.0, temp_limit_sensor_c=20.0), "Metal at the start"),
        ],
    )
    def test_names_what_is_out_of_range(self, make, says):
        with pytest.raises(OutOfRange, match=says):
            make()

    def test_shares_that_do_not_add_up(self):
        half = FabricClass(name="a", share_mass_frac=0.5, contact_rel=1.0, moisture_rel=1.0, cotton_frac=1.0)
        with pytest.raises(InputError, match="add up"):
            Load(mass_dry_kg=5.0, residual_frac=0.6, classes=(half,))

    @pytest.mark.parametrize("classes", [(), TOWELS * 4])
    def test_no_class_and_four_classes(self, classes):
        with pytest.raises(InputError, match="fabric classes"):
            Load(mass_dry_kg=5.0, residual_frac=0.6, classes=classes)

    def test_unknown_fuel_and_fire(self):
        with pytest.raises(InputError, match="not a fuel"):
            Pocket(fuel="coal")
        with pytest.raises(InputError, match="way of firing"):
            FireControl(kind="candle")

    @pytest.mark.parametrize("sold", [-1.0, 1e6, float("nan")])
    def test_sold_time_beyond_the_model(self, sold):
        with pytest.raises(OutOfRange, match="Sold time"):
            dry(LOAD, POCKET, AIR, HEAT, sold_s=sold)


@settings(max_examples=60, deadline=None)
@given(
    mass=st.floats(0.1, 120.0), residual=st.floats(0.05, 2.0), temp=st.floats(-30.0, 50.0), rh=st.floats(0.0, 1.0),
    altitude=st.floats(-430.0, 4000.0), setting=st.floats(25.0, 110.0), flow=st.floats(0.02, 3.0),
    power=st.floats(500.0, 250e3), leak=st.floats(0.0, 0.7), contact=st.floats(5.0, 300.0),
    kind=st.sampled_from(("on/off", "two-stage", "modulating")),
)  # fmt: skip
def test_every_load_that_the_records_let_through_ends_with_finite_figures_or_a_plain_refusal(
    mass, residual, temp, rh, altitude, setting, flow, power, leak, contact, kind
):
    try:
        pocket = Pocket(
            heat_input_w=power,
            flow_exhaust_m3_s=flow,
            leak_frac=leak,
            contact_w_k=contact,
            fire=FireControl(kind=kind),
        )
        out = dry(
            Load(mass_dry_kg=mass, residual_frac=residual),
            pocket,
            Air(temp_c=temp, humidity_frac=rh, altitude_m=altitude),
            Heat(temp_exhaust_c=setting),
            sold_s=900.0,
        )
    except DrybankError:
        return
    assert np.isfinite(out.gas_sold_j)
    assert np.isfinite(out.load_temp_after_cool_down_k)
    assert abs(out.water_residual_frac) < 1e-9


def test_a_near_empty_large_drum_is_followed_without_the_fabric_going_below_dry():
    """Found by random loads: the wet time constant let the step overshoot, moisture fell below nothing and the run never ended."""
    out = dry(
        Load(mass_dry_kg=1.02, residual_frac=1.524),
        Pocket(
            heat_input_w=250e3,
            flow_exhaust_m3_s=1.02,
            leak_frac=0.0,
            contact_w_k=235.2,
            fire=FireControl(kind="on/off"),
        ),
        Air(temp_c=17.1, humidity_frac=0.454, altitude_m=1533.5),
        Heat(temp_exhaust_c=58.2),
        sold_s=900.0,
    )
    assert out.steps < 5000
    assert out.trace.moisture_frac.min() > -1e-3
    assert abs(out.water_residual_frac) < 1e-9
    assert abs(out.energy_residual_frac) < 2e-3
