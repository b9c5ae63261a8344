"""Bills, watched loads and top-ups of an invented store: the band must narrow and hold the truth."""

import msgspec
import numpy as np
import pytest

from drybank.drying import Air, Heat, Load, Pocket, dry, dry_many
from drybank.drying.evidence import fit_store
from drybank.records.drying import FuelBill, MoreTime, StoreEvidence, WatchedLoad
from drybank.records.errors import InputError, NotIdentified, OutOfRange

TRUTH = msgspec.structs.replace(Pocket(), contact_w_k=36.0, leak_frac=0.3, heat_input_w=21000.0)
HEAT, AIR = Heat(temp_exhaust_c=75.0, cool_down_s=0.0), Air()
BARE = StoreEvidence(normal_load_kg=6.0, residual_frac=0.6, heat=HEAT, air=AIR)


def _watched(rng, count):
    out = []
    for mass in rng.uniform(3, 9, count):
        need = dry(Load(mass_dry_kg=mass, residual_frac=0.6), TRUTH, AIR, HEAT).minutes_to_dry * 60
        seen = need * np.exp(rng.normal() * 0.10)
        out.append(
            WatchedLoad(
                mass_dry_kg=mass * np.exp(rng.normal() * 0.15), residual_frac=0.6, dry_s=seen, heat=HEAT, air=AIR
            )
        )
    return tuple(out)


def _bill():
    rng = np.random.default_rng(0)
    loads = [Load(mass_dry_kg=m, residual_frac=0.6) for m in 6.0 * np.exp(0.34 * rng.normal(size=200))]
    used = dry_many(loads, TRUTH, AIR, HEAT, sold_s=1800.0).gas_end_j.mean()
    return FuelBill(fuel_j=used * 3000 + 4e10, other_low_j=2e10, other_high_j=6e10, sold_s=3000 * 1800.0, loads=3000)


def test_watched_loads_and_a_bill_narrow_the_band_and_hold_the_truth():
    evidence = msgspec.structs.replace(BARE, watched=_watched(np.random.default_rng(2), 12), bills=(_bill(),))
    fit = fit_store(Pocket(), evidence, rng=np.random.default_rng(1), draws=300)
    true = dry(Load(mass_dry_kg=6.0, residual_frac=0.6), TRUTH, AIR, HEAT).minutes_to_dry
    assert fit.minutes[0] < true < fit.minutes[2]
    assert fit.narrowed_frac > 0.2
    assert abs(fit.minutes[1] / true - 1) < 0.12
    assert fit.pocket.calibration.how == "store evidence"


def test_share_that_buys_more_moves_the_band_the_right_way():
    few = msgspec.structs.replace(BARE, more_time=(MoreTime(first_s=1200.0, bought_more=10, loads=200),))
    many = msgspec.structs.replace(BARE, more_time=(MoreTime(first_s=1200.0, bought_more=150, loads=200),))
    rng = np.random.default_rng
    low, high = (fit_store(Pocket(), e, rng=rng(1), draws=150).minutes[1] for e in (few, many))
    assert high > 1.15 * low


def test_vague_evidence_says_that_it_hardly_narrows():
    vague = WatchedLoad(
        mass_dry_kg=6.0, residual_frac=0.6, dry_s=1200.0, heat=HEAT, mass_sd_frac=0.6, residual_sd_frac=0.6, time_sd_frac=0.6
    )  # fmt: skip
    fit = fit_store(Pocket(), msgspec.structs.replace(BARE, watched=(vague,)), rng=np.random.default_rng(1), draws=300)
    assert any("hardly narrows" in n for n in fit.notes)


def test_impossible_evidence_is_refused():
    slow = WatchedLoad(mass_dry_kg=3.0, residual_frac=0.6, dry_s=9000.0, heat=HEAT)
    with pytest.raises(NotIdentified, match="fits no pocket"):
        fit_store(Pocket(), msgspec.structs.replace(BARE, watched=(slow,) * 3), rng=np.random.default_rng(1), draws=200)


def test_no_evidence_and_a_bill_used_up_by_others_are_refused():
    with pytest.raises(InputError, match="nothing to learn"):
        fit_store(Pocket(), BARE, rng=np.random.default_rng(1))
    with pytest.raises(OutOfRange, match="Other uses, most"):
        FuelBill(fuel_j=1e10, other_low_j=1e9, other_high_j=2e10, sold_s=1e6, loads=100)
