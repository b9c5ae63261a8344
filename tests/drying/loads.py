"""Random loads, pockets, air and heats over the range that the numerics are held to."""

import numpy as np

from drybank.drying import Air, FireControl, Heat, Load, Pocket

FIRES = ("on/off", "two-stage", "modulating")


def random_cases(count, seed):
    """1..14 kg, residual 35..100 %, three ways of firing, 0..2,500 m, 5..38 °C, settings 45..90 °C."""
    rng = np.random.default_rng(seed)
    return [
        (
            Load(mass_dry_kg=rng.uniform(1, 14), residual_frac=rng.uniform(0.35, 1.0)),
            Pocket(fire=FireControl(kind=FIRES[i % 3])),
            Air(temp_c=rng.uniform(5, 38), humidity_frac=rng.uniform(0.1, 0.9), altitude_m=rng.uniform(0, 2500)),
            Heat(temp_exhaust_c=rng.uniform(45, 90), cool_down_s=rng.uniform(0, 300)),
        )
        for i in range(count)
    ]
