"""Air: make-up opening, exhaust duct velocity and friction, pressure and flow readings, lint.

Moist air is a mixture of ideal gases; its viscosity follows Sutherland for dry air, a
quadratic for steam and Wilke's rule for the mixture. Friction is Darcy's with the
Colebrook factor. Fittings are equivalent lengths, as the codes give them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Literal

import msgspec

from drybank.drying.properties import R_AIR_J_KG_K, R_VAPOUR_J_KG_K, saturation_pressure_pa
from drybank.proof.gas import pressure_at_height_pa
from drybank.proof.judge import within
from drybank.records.errors import InputError, NoConvergence, OutOfRange
from drybank.records.units import BTU_J, CFM_M3_S, FOOT_M, INCH_M, ZERO_C_K

AREA_M2_PER_W: Final = INCH_M**2 / (1000 * BTU_J / 3600)  # 1 in² per 1000 Btu/h: NFPA 54 10.4.3.2, from memory
LOUVRE_FREE_FRAC: Final = {"metal": 0.75, "wood": 0.25}  # where unknown: NFPA 54 9.3.7; IFGC 304.10; from memory
MAKE_UP_ABOVE_M3_S: Final = 200 * CFM_M3_S  # UFC 3-410-02N (read); IMC 504.7 (secondary)
ROUGHNESS_M: Final = 0.0003 * FOOT_M  # galvanised sheet: ASHRAE Fundamentals, duct chapter; secondary
LINTED_M: Final = 0.0005  # a duct with some lint on its wall: assumed, no source
# Equivalent lengths of 90-degree elbows: IRC table M1502.4.5.1 as several permit drawings give it; secondary.
# In diameters: 4 in mitred 5 ft = 15; 6 in smooth 1.75 ft = 3.5.
ELBOW_DIAMETERS: Final = {"mitred 90": 15.0, "smooth 90": 3.5, "mitred 45": 7.5, "smooth 45": 2.0}
Elbow = Literal["mitred 90", "smooth 90", "mitred 45", "smooth 45"]


class ExhaustAir(msgspec.Struct, frozen=True, kw_only=True):
    """Air in the duct: temperature [°C], relative humidity as a fraction, height [m] or pressure [Pa]."""

    temp_c: float = 60.0
    humidity_frac: float = 0.35
    height_m: float = 0.0
    pressure_pa: float | None = None

    def __post_init__(self) -> None:
        within("Exhaust temperature", self.temp_c, -20, 120, "°C", "Was °F entered as °C?")
        within("Relative humidity", self.humidity_frac, 0, 1, "as a fraction", "40 % is 0.4.")
        if self.pressure_pa is not None:
            within("Air pressure", self.pressure_pa, 50_000, 110_000, "Pa")
        if self.vapour_pa > 0.5 * self.total_pa:
            why = "More than half of it would be steam; ideal mixing is only checked below that."
            raise OutOfRange("Vapour pressure", self.vapour_pa, 0, 0.5 * self.total_pa, "Pa", why)

    @property
    def total_pa(self) -> float:
        return pressure_at_height_pa(self.height_m) if self.pressure_pa is None else self.pressure_pa

    @property
    def vapour_pa(self) -> float:
        return self.humidity_frac * saturation_pressure_pa(self.temp_c)

    @property
    def density_kg_m3(self) -> float:
        """Mass per volume of the mixture. Within 0.4 % of a real-gas library (0.15 % below a third steam)."""
        kelvin = self.temp_c + ZERO_C_K
        return (self.total_pa - self.vapour_pa) / (R_AIR_J_KG_K * kelvin) + self.vapour_pa / (R_VAPOUR_J_KG_K * kelvin)

    @property
    def viscosity_pa_s(self) -> float:
        """Dynamic viscosity of the mixture by Wilke's rule. Within 2 % of a real-gas library."""
        kelvin = self.temp_c + ZERO_C_K
        dry = 1.716e-5 * (kelvin / 273.15) ** 1.5 * (273.15 + 110.4) / (kelvin + 110.4)
        steam = 8.99e-6 + 3.48e-8 * self.temp_c + 3.6e-11 * self.temp_c**2
        x = self.vapour_pa / self.total_pa
        return _wilke(((1 - x, dry, 28.965), (x, steam, 18.015)))


def _wilke(gases: Sequence[tuple[float, float, float]]) -> float:
    """Viscosity of a gas mixture from (mole share, viscosity, molar mass) of each."""
    total = 0.0
    for share, mu, mass in gases:
        below = sum(
            s * (1 + math.sqrt(mu / m) * (w / mass) ** 0.25) ** 2 / math.sqrt(8 * (1 + mass / w)) for s, m, w in gases
        )
        total += share * mu / below
    return total


def friction_factor(reynolds: float, roughness_frac: float) -> float:
    """Darcy friction factor: 64/Re below 2000, Colebrook from 4000, straight between.

    ``roughness_frac`` is roughness over hydraulic diameter, 0 to 0.05.
    """
    within("Reynolds number", reynolds, 1, 1e8, "")
    within("Relative roughness", roughness_frac, 0, 0.05, "as a fraction", "Roughness is in metres.")
    if reynolds <= 2000:
        return 64 / reynolds
    if reynolds < 4000:
        share = (reynolds - 2000) / 2000
        return (1 - share) * 64 / 2000 + share * _colebrook(4000, roughness_frac)
    return _colebrook(reynolds, roughness_frac)


def _colebrook(reynolds: float, roughness_frac: float) -> float:
    x = 8.0  # 1 / sqrt(f)
    for _ in range(60):
        new = -2 * math.log10(roughness_frac / 3.7 + 2.51 * x / reynolds)
        if abs(new - x) < 1e-13 * abs(new):
            return 1 / (new * new)
        x = new
    raise NoConvergence("The friction factor did not settle; check flow and duct size.")


class Duct(msgspec.Struct, frozen=True, kw_only=True):
    """One run of duct: round (``width_m`` its diameter, ``height_m`` 0) or rectangular; length, elbows.

    ``terminal_pa_at`` is the loss of the outlet hood as a multiple of velocity pressure
    (assumed 1.0 for an open flap unless the maker says).
    """

    width_m: float
    height_m: float = 0.0
    length_m: float
    elbows: tuple[Elbow, ...] = ()
    roughness_m: float = ROUGHNESS_M
    terminal_factor: float = 1.0

    def __post_init__(self) -> None:
        within("Duct width", self.width_m, 0.05, 2, "m", "Were inches or millimetres entered as metres?")
        if self.height_m:
            within("Duct height", self.height_m, 0.05, 2, "m", "Were inches or millimetres entered as metres?")
        within("Duct length", self.length_m, 0, 150, "m", "Were feet entered as metres?")
        within("Wall roughness", self.roughness_m * 1000, 0, 5, "mm")
        within("Outlet loss", self.terminal_factor, 0, 20, "velocity pressures")
        if len(self.elbows) > 40:
            raise InputError("More than 40 elbows in one run.", mend="Enter one duct run at a time.")

    @property
    def area_m2(self) -> float:
        return self.width_m * self.height_m if self.height_m else math.pi / 4 * self.width_m**2

    @property
    def hydraulic_m(self) -> float:
        """Four times area over wetted edge; a round duct's own diameter [m]."""
        if not self.height_m:
            return self.width_m
        return 2 * self.width_m * self.height_m / (self.width_m + self.height_m)

    @property
    def equivalent_round_m(self) -> float:
        """Round duct with the same friction at the same flow [m]: 1.30 (ab)^.625 / (a + b)^.25."""
        if not self.height_m:
            return self.width_m
        return float(1.30 * (self.width_m * self.height_m) ** 0.625 / (self.width_m + self.height_m) ** 0.25)

    @property
    def effective_length_m(self) -> float:
        """Length with elbows as equivalent lengths of the hydraulic diameter [m]."""
        return self.length_m + self.hydraulic_m * sum(ELBOW_DIAMETERS[e] for e in self.elbows)


class DuctFlow(msgspec.Struct, frozen=True, kw_only=True):
    """What a flow does in a duct: velocity, Reynolds number, friction, pressures."""

    velocity_m_s: float
    reynolds: float
    friction: float
    velocity_pressure_pa: float
    friction_pa_m: float
    loss_pa: float


def duct_flow(
    *, flow_m3_s: float, duct: Duct, air: ExhaustAir | None = None, density_kg_m3: float | None = None,
    viscosity_pa_s: float | None = None,
) -> DuctFlow:  # fmt: skip
    """Velocity and pressure loss of a flow in a duct of one size [Pa].

    The loss is what a gauge at the dryer's collar would show over the room: friction over
    the effective length and the outlet hood. Buoyancy of the hot air in a riser is left out
    (it helps upward runs and hinders downward ones).
    """
    within("Air flow", flow_m3_s, 0.001, 20, "m³/s", "Were cfm or L/s entered as m³/s?")
    air = air or ExhaustAir()
    rho = air.density_kg_m3 if density_kg_m3 is None else density_kg_m3
    mu = air.viscosity_pa_s if viscosity_pa_s is None else viscosity_pa_s
    velocity = flow_m3_s / duct.area_m2
    reynolds = rho * velocity * duct.hydraulic_m / mu
    factor = friction_factor(reynolds, duct.roughness_m / duct.hydraulic_m)
    dynamic = rho * velocity**2 / 2
    per_m = factor / duct.hydraulic_m * dynamic
    return DuctFlow(
        velocity_m_s=velocity,
        reynolds=reynolds,
        friction=factor,
        velocity_pressure_pa=dynamic,
        friction_pa_m=per_m,
        loss_pa=per_m * duct.effective_length_m + duct.terminal_factor * dynamic,
    )


def flow_from_velocity_pressure_m3_s(
    pressures_pa: Sequence[float], *, area_m2: float, air: ExhaustAir | None = None
) -> float:
    """Flow from the velocity pressures of a traverse [m³/s]: the mean of the velocities, not of the pressures."""
    if not pressures_pa or min(pressures_pa) < 0:
        raise InputError(
            "A traverse needs readings of zero or more.",
            mend="A negative one means that the tube points the wrong way.",
        )
    rho = (air or ExhaustAir()).density_kg_m3
    return area_m2 * sum(math.sqrt(2 * p / rho) for p in pressures_pa) / len(pressures_pa)


def make_up_area_m2(total_input_w: float) -> float:
    """Free make-up area for the total input of all gas dryers in the room [m²]."""
    within("Total gas input", total_input_w / 1000, 0.5, 20_000, "kW", "Was Btu/h entered as W?")
    return total_input_w * AREA_M2_PER_W


def face_area_m2(free_m2: float, *, free_frac: float) -> float:
    """Opening to cut for a free area behind a louvre or screen [m²]."""
    within("Free share of the louvre", free_frac, 0.05, 1, "as a fraction", "75 % is 0.75.")
    return free_m2 / free_frac
