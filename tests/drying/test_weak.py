"""What the page on limits says of weak assumptions, held to it: a tenth more or less moves minutes by under half a per cent."""

import msgspec
import pytest

from drybank.drying import Air, Heat, Load, Pocket, dry, layout, reference
from drybank.drying.rows import row_of, start_of

LOAD, AIR, HEAT = Load(mass_dry_kg=8.0, residual_frac=0.6), Air(), Heat(temp_exhaust_c=80.0)


@pytest.mark.parametrize("field", ["heat_metal_j_k", "ua_air_metal_w_k", "ua_metal_fabric_w_k", "ua_loss_w_k"])
@pytest.mark.parametrize("factor", [0.9, 1.1])
def test_metal_and_losses_are_weak(field, factor):
    moved = msgspec.structs.replace(Pocket(), **{field: factor * getattr(Pocket(), field)})
    base, other = dry(LOAD, Pocket(), AIR, HEAT), dry(LOAD, moved, AIR, HEAT)
    assert other.minutes_to_dry == pytest.approx(base.minutes_to_dry, rel=5e-3)


@pytest.mark.parametrize(
    ("name", "factor"), [("MOISTURE_CRITICAL", 0.9), ("MOISTURE_CRITICAL", 1.1), ("FALLING", 0.8 / 0.75)]
)
def test_falling_rate_is_weak(monkeypatch, name, factor):
    """By the plain reference, whose constants can be moved; 0.8 is the exponent that was first assumed."""
    row, start = row_of(LOAD, Pocket(), AIR, HEAT), start_of(LOAD, AIR)
    base = reference.run_to_dry(row, start, step_s=4.0).seconds
    monkeypatch.setattr(layout, name, factor * getattr(layout, name))
    assert reference.run_to_dry(row, start, step_s=4.0).seconds == pytest.approx(base, rel=5e-3)
