"""The need table: its error against `dry`, its bytes, its refusals."""

import msgspec
import numpy as np
import pytest

from drybank.drying import Air, Heat, Load, NeedAxes, Pocket, dry
from drybank.drying.need import build_needs, need_key, needs_at, pack_needs, unpack_needs
from drybank.records.errors import InputError, OutOfRange

SMALL = NeedAxes(air_c=(22.0, 22.0), humidity_frac=(0.5, 0.5), points=(16, 10, 1, 1))


@pytest.fixture(scope="module")
def small():
    return build_needs(Pocket(), [80.0, 60.0], SMALL, rng=np.random.default_rng(4))


def test_default_table_is_within_one_percent_of_minutes_at_random_points_cell_centres_and_corners():
    table = build_needs(Pocket(), [65.0], NeedAxes(), rng=np.random.default_rng(7), checks=300)
    assert table.error_points == 616
    assert table.error_max_frac <= 0.01
    assert table.error_rms_frac < 0.003


def test_points_of_the_table_are_exact(small):
    mass = float(np.geomspace(1.0, 14.0, 16)[6])
    need = needs_at(small, [1], [mass], [0.35], [22.0], [0.5])
    one = dry(
        Load(mass_dry_kg=mass, residual_frac=0.35), Pocket(), Air(temp_c=22.0, humidity_frac=0.5),
        Heat(temp_exhaust_c=60.0, cool_down_s=0.0),
    )  # fmt: skip
    assert need.seconds[0] == pytest.approx(one.minutes_to_dry * 60, rel=1e-9)
    assert need.fuel_j[0] == pytest.approx(one.gas_to_dry_j, rel=1e-9)


def test_fuel_after_dry_is_that_of_a_longer_sale(small):
    mass = float(np.geomspace(1.0, 14.0, 16)[8])
    heat = Heat(temp_exhaust_c=80.0, cool_down_s=0.0)
    args = (Load(mass_dry_kg=mass, residual_frac=1.0), Pocket(), Air(temp_c=22.0, humidity_frac=0.5), heat)
    one = dry(*args)
    longer = dry(*args, sold_s=one.minutes_to_dry * 60 + 600.0)
    over = needs_at(small, [0], [mass], [1.0], [22.0], [0.5]).over_w[0]
    assert over == pytest.approx((longer.gas_sold_j - one.gas_to_dry_j) / 600.0, rel=1e-6)


def test_table_survives_its_bytes_and_damage_is_seen(small):
    data = pack_needs(small)
    again = unpack_needs(data, small.key)
    assert np.array_equal(again.values, small.values)
    assert again.axes == small.axes
    assert again.error_max_frac == small.error_max_frac
    with pytest.raises(InputError, match="damaged"):
        unpack_needs(data[:-1] + b"\x00", small.key)
    with pytest.raises(InputError, match="another pocket"):
        unpack_needs(data, "0" * 64)


def test_key_changes_with_pocket_heat_and_axes_and_not_with_the_calibration_note():
    base = need_key(Pocket(), [80.0], SMALL)
    assert need_key(Pocket(contact_w_k=44.0), [80.0], SMALL) != base
    assert need_key(Pocket(), [79.0], SMALL) != base
    assert need_key(Pocket(), [80.0], msgspec.structs.replace(SMALL, altitude_m=500.0)) != base
    assert need_key(Pocket(), [80.0], SMALL) == base


@pytest.mark.parametrize(
    ("column", "value", "says"),
    [(1, 20.0, "Dry mass"), (2, 0.1, "Residual"), (3, 30.0, "Air"), (1, np.nan, "Dry mass")],
)
def test_reading_beyond_the_table_is_refused(small, column, value, says):
    columns = [[0], [5.0], [0.6], [22.0], [0.5]]
    columns[column] = [value]
    with pytest.raises(OutOfRange, match=says):
        needs_at(small, *columns)


def test_heat_number_beyond_the_table_is_refused(small):
    with pytest.raises(OutOfRange, match="Number of the heat"):
        needs_at(small, [2], [5.0], [0.6], [22.0], [0.5])


def test_what_does_not_get_dry_is_not_a_number():
    axes = NeedAxes(air_c=(10.0, 10.0), humidity_frac=(0.97, 0.97), points=(3, 3, 1, 1))
    table = build_needs(Pocket(), [None], axes, rng=np.random.default_rng(1), checks=5)
    assert np.isnan(needs_at(table, [0], [8.0], [0.7], [10.0], [0.97]).seconds[0])
