"""Bands of assumption: they hold the figure, shrink with a calibration, and name what they rest on."""

import msgspec
import pytest

from drybank.drying import Air, Calibration, Heat, Load, Pocket, dry
from drybank.drying.bands import ASSUMED, band

LOAD, AIR, HEAT = Load(mass_dry_kg=6.0, residual_frac=0.6), Air(), Heat(temp_exhaust_c=70.0)


def test_band_of_an_unmeasured_pocket_holds_the_figure_and_is_wide():
    found, one = band(LOAD, Pocket(), AIR, HEAT, sold_s=1800.0), dry(LOAD, Pocket(), AIR, HEAT, sold_s=1800.0)
    for name, interval in found.ends.items():
        assert interval.low <= getattr(one, name) <= interval.high
        assert interval.kind == "assumption"
    minutes = found.ends["minutes_to_dry"]
    assert minutes.low < 0.9 * one.minutes_to_dry
    assert minutes.high > 1.15 * one.minutes_to_dry
    assert not found.sampling


def test_band_is_the_root_of_squares_of_its_shares():
    found, one = band(LOAD, Pocket(), AIR, HEAT), dry(LOAD, Pocket(), AIR, HEAT)
    up = sum(max(low, high, 0.0) ** 2 for _, low, high in found.shares) ** 0.5
    assert found.ends["minutes_to_dry"].high == pytest.approx(one.minutes_to_dry * (1 + up), rel=1e-9)
    assert [name for name, _, _ in found.shares] == [a.name for a in ASSUMED]


def test_a_calibrated_pocket_keeps_only_the_clienteles_assumptions_and_a_sampling_band():
    known = msgspec.structs.replace(Pocket(), calibration=Calibration(how="towel trial", band_frac=0.025))
    wide, narrow = band(LOAD, Pocket(), AIR, HEAT), band(LOAD, known, AIR, HEAT)
    assert {name for name, _, _ in narrow.shares} == {"spread of items", "cotton share"}
    assert narrow.ends["minutes_to_dry"].high < wide.ends["minutes_to_dry"].high
    sampling = narrow.sampling["minutes_to_dry"]
    assert sampling.kind == "sampling"
    one = dry(LOAD, known, AIR, HEAT)
    assert sampling.high == pytest.approx(1.05 * one.minutes_to_dry)


def test_every_assumption_names_its_source_and_range():
    for said in band(LOAD, Pocket(), AIR, HEAT).assumptions:
        assert said.source
        assert said.low
        assert said.high
