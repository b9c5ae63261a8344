"""Nouns of drying: the load, the pocket, the air, the heat, and what one load needs.

Every record checks its ranges when it is made; the range says how far the model's sources reach,
not what a machine may do.
"""

from __future__ import annotations

from typing import Any, Final, Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from drybank.records.errors import InputError, OutOfRange
from drybank.records.units import CFM_M3_S, c_from_f

Fuel = Literal["natural gas", "propane", "electric"]
Fire = Literal["on/off", "two-stage", "modulating"]
FIRES: Final[tuple[Fire, ...]] = ("on/off", "two-stage", "modulating")
Array = NDArray[np.float64]

MASS_KG: Final = (0.1, 120.0)
RESIDUAL_FRAC: Final = (0.05, 2.0)
BEYOND: Final = "Beyond that the drying model has nothing to go by; check the figure and its unit."


def _within(name: str, value: float, low: float, high: float, unit: str, why: str = "") -> None:
    if not low <= value <= high:  # a NaN fails too
        raise OutOfRange(name, value, low, high, unit, why or BEYOND)


class FabricClass(msgspec.Struct, frozen=True, kw_only=True):
    """Items of one thickness in a load.

    ``share_mass_frac`` of the dry mass; ``contact_rel`` is contact with the air per kg relative to the load's
    mean; ``moisture_rel`` its moisture at the start relative to the load's mean; ``cotton_frac`` the part of
    its dry mass that holds water as cotton does.
    """

    name: str
    share_mass_frac: float
    contact_rel: float
    moisture_rel: float
    cotton_frac: float

    def __post_init__(self) -> None:
        _within("Share of the mass", self.share_mass_frac, 0.001, 1.0, "of 1")
        _within("Contact with the air", self.contact_rel, 0.05, 10.0, "of the mean")
        _within("Moisture at the start", self.moisture_rel, 0.05, 5.0, "of the mean")
        _within("Cotton share", self.cotton_frac, 0.05, 1.0, "of 1", "The moisture data are for cotton.")


# Start moisture, contact and share of customers' mixed washes; the spread is weak: it rests on one field mean.
MIXED: Final = (
    FabricClass(name="thin", share_mass_frac=0.35, contact_rel=1.35, moisture_rel=0.72, cotton_frac=0.50),
    FabricClass(name="medium", share_mass_frac=0.40, contact_rel=0.93, moisture_rel=1.04, cotton_frac=0.85),
    FabricClass(name="thick", share_mass_frac=0.25, contact_rel=0.62, moisture_rel=1.34, cotton_frac=1.00),
)
TOWELS: Final = (FabricClass(name="towels", share_mass_frac=1.0, contact_rel=1.0, moisture_rel=1.0, cotton_frac=1.0),)
TEST_CLOTH: Final = (
    FabricClass(name="test cloth", share_mass_frac=1.0, contact_rel=1.0, moisture_rel=1.0, cotton_frac=0.5),
)


class Load(msgspec.Struct, frozen=True, kw_only=True):
    """What goes into the drum: dry mass, water left by the washer, temperature, and its fabric classes (1..3).

    Classes are listed from thin to thick; the last one is the one that must be dry last.
    """

    mass_dry_kg: float
    residual_frac: float
    temp_c: float = 20.0
    classes: tuple[FabricClass, ...] = MIXED

    def __post_init__(self) -> None:
        _within("Dry mass of the load", self.mass_dry_kg, *MASS_KG, "kg")
        _within("Residual moisture", self.residual_frac, *RESIDUAL_FRAC, "kg water per kg dry")
        _within("Temperature of the load", self.temp_c, 0.0, 70.0, "°C")
        if not 1 <= len(self.classes) <= 3:
            raise InputError(f"A load has {len(self.classes)} fabric classes.", allowed="1 to 3")
        share = sum(c.share_mass_frac for c in self.classes)
        if abs(share - 1.0) > 1e-6:
            raise InputError(f"The shares of the fabric classes add up to {share:g}.", mend="Make them add up to 1.")


class FireControl(msgspec.Struct, frozen=True, kw_only=True):
    """How the heat is held: kind, dead-band, low fire, ignition delay, and the two safety devices.

    ``band_k`` lies between off and on again. ``low_fire_frac`` is the low stage, or the least fire of a modulating
    valve. A modulating valve is full open ``band_modulating_k`` below its setting and shuts ``over_k`` above it.
    The inlet limit opens at ``temp_limit_c`` as its own sensor feels it (lag ``lag_limit_s``) and closes by itself
    ``band_limit_k`` lower. Below ``flow_proving_m3_s`` the airflow switch never lets the fire light.
    """

    kind: Fire = "on/off"
    band_k: float = 3.0
    low_fire_frac: float = 0.3
    band_modulating_k: float = 8.0
    over_k: float = 2.0
    ignition_delay_s: float = 8.0
    temp_limit_c: float = 165.0
    band_limit_k: float = 25.0
    lag_limit_s: float = 12.0
    flow_proving_m3_s: float = 0.0

    def __post_init__(self) -> None:
        if self.kind not in FIRES:
            raise InputError(f"“{self.kind}” is not a way of firing Drybank knows.", allowed=", ".join(FIRES))
        _within("Dead-band of the thermostat", self.band_k, 0.5, 25.0, "K")
        _within("Low fire", self.low_fire_frac, 0.05, 0.95, "of full fire")
        _within("Band of the modulating valve", self.band_modulating_k, 1.0, 40.0, "K")
        _within("Shut-off above the setting", self.over_k, 0.5, 15.0, "K")
        _within("Ignition delay", self.ignition_delay_s, 0.0, 120.0, "s")
        _within("Inlet limit", self.temp_limit_c, 60.0, 400.0, "°C")
        _within("Band of the inlet limit", self.band_limit_k, 2.0, 100.0, "K")
        _within("Lag of the inlet limit", self.lag_limit_s, 2.0, 120.0, "s")
        _within("Airflow that the airflow switch asks for", self.flow_proving_m3_s, 0.0, 20.0, "m3/s")


class Calibration(msgspec.Struct, frozen=True, kw_only=True):
    """What a trial at this pocket showed. ``band_frac`` is one standard error of minutes to dry, as a fraction."""

    how: str
    band_frac: float
    source: str = ""

    def __post_init__(self) -> None:
        _within("Band of the calibration", self.band_frac, 0.0, 1.0, "of the minutes")


class Pocket(msgspec.Struct, frozen=True, kw_only=True):
    """One vented drum as the model sees it. The defaults are a 30-lb gas pocket nobody has measured.

    ``contact_w_k`` is the heat-transfer conductance of 1 kg of cloth at 0.05 m3/s; it was set on one federal
    efficiency level for household dryers, so a pocket without `calibration` gives an *estimate*.
    """

    fuel: Fuel = "natural gas"
    heat_input_w: float = 21980.0  # 75,000 Btu/h, common practice
    flow_exhaust_m3_s: float = 450 * CFM_M3_S  # common practice
    leak_frac: float = 0.20  # measured 0.2..0.6 on two household units (abstract read)
    contact_w_k: float = 45.1
    heat_metal_j_k: float = 20000.0  # assumed, weak influence
    ua_air_metal_w_k: float = 25.0  # assumed, weak
    ua_metal_fabric_w_k: float = 15.0  # assumed, weak
    ua_loss_w_k: float = 8.0  # assumed, weak
    motor_w: float = 560.0  # common practice
    lag_thermostat_s: float = 20.0  # assumed
    derate_frac_per_1000_ft: float = 0.0  # 0.04 where the burner was derated; above 2,000 ft only
    fire: FireControl = FireControl()
    calibration: Calibration | None = None

    def __post_init__(self) -> None:
        if self.fuel not in ("natural gas", "propane", "electric"):
            raise InputError(f"“{self.fuel}” is not a fuel Drybank knows.", allowed="natural gas, propane, electric")
        _within("Heat input", self.heat_input_w, 500.0, 250e3, "W")
        _within("Exhaust airflow", self.flow_exhaust_m3_s, 0.005, 3.0, "m3/s")
        _within("Leakage", self.leak_frac, 0.0, 0.7, "of the airflow", "Measured figures run from 0.2 to 0.6.")
        _within("Fabric contact", self.contact_w_k, 5.0, 300.0, "W/K")
        _within("Heat capacity of the metal", self.heat_metal_j_k, 1e3, 1e6, "J/K")
        _within("Air to metal", self.ua_air_metal_w_k, 0.0, 1000.0, "W/K")
        _within("Metal to fabric", self.ua_metal_fabric_w_k, 0.0, 1000.0, "W/K")
        _within("Loss to the room", self.ua_loss_w_k, 0.0, 500.0, "W/K")
        _within("Motor", self.motor_w, 0.0, 20e3, "W")
        _within("Lag of the thermostat", self.lag_thermostat_s, 3.0, 300.0, "s")
        _within("Derating", self.derate_frac_per_1000_ft, 0.0, 0.1, "per 1,000 ft")


# A household test dryer as the published efficiency levels see it (common practice, assumed).
HOUSEHOLD: Final = Pocket(
    fuel="electric", heat_input_w=5200.0, flow_exhaust_m3_s=125 * CFM_M3_S, heat_metal_j_k=9000.0,
    ua_air_metal_w_k=8.0, ua_metal_fabric_w_k=6.0, ua_loss_w_k=4.0, motor_w=250.0,
    fire=FireControl(band_k=8.0, ignition_delay_s=0.0),
)  # fmt: skip


class Air(msgspec.Struct, frozen=True, kw_only=True):
    """The air the dryer breathes; ``temp_room_c`` where the room differs from the make-up air (None: the same)."""

    temp_c: float = 22.0
    humidity_frac: float = 0.5
    altitude_m: float = 0.0
    pressure_pa: float | None = None
    temp_room_c: float | None = None

    def __post_init__(self) -> None:
        _within("Temperature of the air", self.temp_c, -30.0, 50.0, "°C")
        _within("Relative humidity", self.humidity_frac, 0.0, 1.0, "of 1")
        _within("Altitude", self.altitude_m, -430.0, 4000.0, "m")
        if self.pressure_pa is not None:
            _within("Pressure", self.pressure_pa, 55e3, 110e3, "Pa")
        if self.temp_room_c is not None:
            _within("Temperature of the room", self.temp_room_c, -30.0, 60.0, "°C")


class Heat(msgspec.Struct, frozen=True, kw_only=True):
    """A heat as set: the exhaust temperature at which the fire goes off (None: no heat) and its cool-down."""

    temp_exhaust_c: float | None = c_from_f(180.0)
    cool_down_s: float = 120.0
    is_cool_down_inside_sold: bool = True

    def __post_init__(self) -> None:
        if self.temp_exhaust_c is not None:
            _within("Heat setting", self.temp_exhaust_c, 25.0, 110.0, "°C", "Hotter exhaust is outside the model.")
        _within("Cool-down", self.cool_down_s, 0.0, 3600.0, "s")


class Start(msgspec.Struct, frozen=True, kw_only=True):
    """How warm the pocket still is from the load before."""

    temp_metal_c: float
    temp_exhaust_c: float
    temp_limit_sensor_c: float

    def __post_init__(self) -> None:
        for name, value in (
            ("Metal", self.temp_metal_c),
            ("Exhaust", self.temp_exhaust_c),
            ("Inlet limit sensor", self.temp_limit_sensor_c),
        ):
            _within(f"{name} at the start", value, -30.0, 250.0, "°C")


class Trace(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """What happens against time, one row per step: times (n,), classes (n, K)."""

    time_s: Array
    temp_fabric_c: Array
    moisture_frac: Array
    temp_metal_c: Array
    temp_exhaust_c: Array
    temp_inlet_c: Array
    fire_frac: Array


class Drying(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """What one load needs in one pocket, and what a sold time gives it.

    *To dry* holds for a heat that goes on until dry, whatever was sold; ``minutes_to_dry`` and the figures beside it
    are None when the load does not get dry within the model's four hours. *Sold* figures are None without a sold
    time. The load temperatures are those at the very end, after the cool-down: the least certain outputs.
    """

    minutes_to_dry: float | None
    gas_to_dry_j: float | None
    electricity_to_dry_j: float | None
    firing_share_frac: float
    water_removed_kg: float
    gas_sold_j: float | None
    electricity_sold_j: float | None
    moisture_sold_frac: float | None
    is_dry_when_sold_ends: bool | None
    load_temp_before_cool_down_k: float
    load_temp_after_cool_down_k: float
    hottest_class_after_cool_down_k: float
    hottest_fabric_k: float
    hottest_inlet_k: float
    limit_trips: int
    is_fire_proved: bool
    energy_residual_frac: float
    water_residual_frac: float
    left: Start
    trace: Trace
    steps: int


class Needs(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """Arrays (n,) out of `dry_many`, in the order asked; NaN where a load does not get dry in four hours."""

    seconds_to_dry: Array
    gas_to_dry_j: Array
    electricity_to_dry_j: Array
    water_removed_kg: Array
    gas_end_j: Array
    electricity_end_j: Array
    seconds_end: Array
    load_temp_end_k: Array
    hottest_class_end_k: Array
    hottest_fabric_k: Array
    hottest_inlet_k: Array
    energy_residual_frac: Array
    water_residual_frac: Array
    firing_share_frac: Array


def plain(record: msgspec.Struct) -> dict[str, Any]:
    """A record as builtins, arrays as lists; for faces and hashes."""
    out: dict[str, Any] = msgspec.to_builtins(record, enc_hook=lambda a: a.tolist())
    return out


class NeedAxes(msgspec.Struct, frozen=True, kw_only=True):
    """The ranges and numbers of points of a need table; equal low and high with one point hold a quantity fixed.

    Mass is spaced by equal ratios, the others by equal steps.
    """

    mass_kg: tuple[float, float] = (1.0, 14.0)
    residual_frac: tuple[float, float] = (0.35, 1.0)
    air_c: tuple[float, float] = (0.0, 34.0)
    humidity_frac: tuple[float, float] = (0.15, 0.80)
    points: tuple[int, int, int, int] = (24, 12, 10, 5)
    altitude_m: float = 0.0
    load_temp_c: float = 20.0
    classes: tuple[FabricClass, ...] = MIXED

    def __post_init__(self) -> None:
        ranges = (self.mass_kg, self.residual_frac, self.air_c, self.humidity_frac)
        limits = (MASS_KG, RESIDUAL_FRAC, (-30.0, 50.0), (0.0, 1.0))
        names = ("Dry mass", "Residual moisture", "Temperature of the air", "Relative humidity")
        for name, (low, high), (least, most), count in zip(names, ranges, limits, self.points, strict=True):
            _within(f"{name}, low end of the table", low, least, most, "")
            _within(f"{name}, high end of the table", high, low, most, "")
            if (count == 1) != (low == high) or not 1 <= count <= 200:
                raise InputError(
                    f"{name} has {count} points from {low:g} to {high:g}.",
                    allowed="one point for a fixed value, else 2 to 200",
                )


class NeedMap(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """What loads need in one pocket, tabulated. Read it with `drybank.drying.need`.

    ``values`` (heats, mass, residual, air, humidity, 3): drying rate in kg water per s per kg dry x residual, heat burned
    per kg of water brought in (J/kg), heat burned per second after dry (W); a rate of zero marks a load that does not get dry.
    ``error_max_frac`` and ``error_rms_frac`` are those of minutes against `dry` over ``error_points`` random and cell-centre
    points plus every corner of the range.
    """

    key: str
    axes: NeedAxes
    temps_exhaust_c: tuple[float | None, ...]
    values: Array
    is_electric: bool
    motor_w: float
    error_max_frac: float
    error_rms_frac: float
    error_fuel_max_frac: float
    error_points: int


class TowelRun(msgspec.Struct, frozen=True, kw_only=True):
    """One towel load of the trial: weighed dry and wet, taken out before it is dry, weighed again.

    ``exhaust_3_min_c`` at 3 min, ``exhaust_end_c`` 1 min before the end, ``inlet_3_min_c`` where a thermometer is at the
    drum's inlet; None where not read. Masses in kg, times in s, temperatures in °C.
    """

    dry_kg: float
    wet_kg: float
    run_s: float
    after_kg: float
    exhaust_3_min_c: float | None = None
    exhaust_end_c: float | None = None
    inlet_3_min_c: float | None = None
    towel_temp_c: float = 20.0

    def __post_init__(self) -> None:
        _within("Dry towels", self.dry_kg, 0.5, 60.0, "kg")
        _within("Wet towels", self.wet_kg, 1.1 * self.dry_kg, 2.8 * self.dry_kg, "kg", "Wet them to about 60 %.")
        _within("Towels after the run", self.after_kg, 1.0 * self.dry_kg, self.wet_kg, "kg")
        _within("Run", self.run_s, 180.0, 2400.0, "s")
        for name, value in (("Exhaust at 3 min", self.exhaust_3_min_c), ("Exhaust at the end", self.exhaust_end_c)):
            if value is not None:
                _within(name, value, 0.0, 130.0, "°C")
        if self.inlet_3_min_c is not None:
            _within("Inlet at 3 min", self.inlet_3_min_c, 0.0, 350.0, "°C")


class NearEmptyRun(msgspec.Struct, frozen=True, kw_only=True):
    """One dry towel at the highest heat: exhaust at 1 min, then mean exhaust and fuel (J, higher heating value) per second
    from the first going-out of the fire after ``from_s`` to the first after ``until_s``: whole turns of the fire only.
    """

    towel_kg: float
    exhaust_mean_c: float
    fuel_w: float
    from_s: float = 360.0
    until_s: float = 720.0
    exhaust_1_min_c: float | None = None

    def __post_init__(self) -> None:
        _within("Towel", self.towel_kg, 0.2, 3.0, "kg")
        _within("Mean exhaust", self.exhaust_mean_c, 10.0, 130.0, "°C")
        _within("Fuel of the near-empty run", self.fuel_w, 50.0, 250e3, "W")
        _within("Start of the mean", self.from_s, 60.0, 1800.0, "s")
        _within("End of the mean", self.until_s, self.from_s + 60.0, 3600.0, "s")


class TowelTrial(msgspec.Struct, frozen=True, kw_only=True):
    """What the trial of a closed evening gives; parts may be missing, and then less can be told.

    ``clocked_w`` is the fuel input from the meter with only this pocket firing. Errors of one standard deviation:
    clock and fuel as fractions, exhaust and inlet in K, scale in kg.
    """

    air: Air
    heat: Heat
    clocked_w: float | None = None
    near_empty: NearEmptyRun | None = None
    towels: tuple[TowelRun, ...] = ()
    clock_sd_frac: float = 0.02
    fuel_sd_frac: float = 0.03
    exhaust_sd_k: float = 1.5
    inlet_sd_k: float = 5.0
    scale_sd_kg: float = 0.05

    def __post_init__(self) -> None:
        if self.clocked_w is not None:
            _within("Clocked fuel input", self.clocked_w, 500.0, 250e3, "W")
        _within("Error of the clocking", self.clock_sd_frac, 0.001, 0.5, "of 1")
        _within("Error of the fuel", self.fuel_sd_frac, 0.001, 0.5, "of 1")
        _within("Error of the exhaust", self.exhaust_sd_k, 0.1, 20.0, "K")
        _within("Error of the inlet", self.inlet_sd_k, 0.1, 50.0, "K")
        _within("Error of the scale", self.scale_sd_kg, 0.001, 2.0, "kg")


class FittedFigure(msgspec.Struct, frozen=True, kw_only=True):
    """One fitted figure of a pocket with its standard error, both in the pocket's own unit."""

    name: str
    value: float
    standard_error: float
    unit: str


class TrialFit(msgspec.Struct, frozen=True, kw_only=True):
    """What a towel trial says: fitted figures, their correlations (row by row), how well it fits, and the pocket with them.

    ``misfit`` is the root mean square of (reading - model) / standard deviation per degree of freedom: near 1 is as it should be.
    ``band_frac`` is one standard error of minutes to dry of a normal mixed load.
    """

    figures: tuple[FittedFigure, ...]
    correlations: tuple[tuple[float, ...], ...]
    misfit: float
    degrees_of_freedom: int
    residuals: tuple[tuple[str, float, float, float], ...]
    band_frac: float
    pocket: Pocket
    cautions: tuple[str, ...] = ()


class FuelBill(msgspec.Struct, frozen=True, kw_only=True):
    """A fuel bill over which hours and loads of these dryers are known: what else burned on it lies between two figures."""

    fuel_j: float
    other_low_j: float
    other_high_j: float
    sold_s: float
    loads: float

    def __post_init__(self) -> None:
        _within("Fuel of the bill", self.fuel_j, 1e6, 1e15, "J")
        _within("Other uses, least", self.other_low_j, 0.0, self.fuel_j, "J")
        _within("Other uses, most", self.other_high_j, self.other_low_j, self.fuel_j, "J")
        _within("Hours sold", self.sold_s, 3600.0, 1e10, "s")
        _within("Loads", self.loads, 1.0, 1e8, "")


class WatchedLoad(msgspec.Struct, frozen=True, kw_only=True):
    """A customer-like load timed to dry with a stop watch; errors as fractions, one standard deviation."""

    mass_dry_kg: float
    residual_frac: float
    dry_s: float
    heat: Heat
    air: Air = Air()
    mass_sd_frac: float = 0.15
    residual_sd_frac: float = 0.12
    time_sd_frac: float = 0.10

    def __post_init__(self) -> None:
        _within("Dry mass of the watched load", self.mass_dry_kg, *MASS_KG, "kg")
        _within("Residual moisture", self.residual_frac, *RESIDUAL_FRAC, "kg/kg")
        _within("Time to dry", self.dry_s, 60.0, 14000.0, "s")
        for name, value in (
            ("mass", self.mass_sd_frac),
            ("moisture", self.residual_sd_frac),
            ("time", self.time_sd_frac),
        ):
            _within(f"Error of the {name}", value, 0.005, 0.6, "of 1")


class MoreTime(msgspec.Struct, frozen=True, kw_only=True):
    """How many of the loads that first bought a time came back for more."""

    first_s: float
    bought_more: int
    loads: int

    def __post_init__(self) -> None:
        _within("First time", self.first_s, 60.0, 14000.0, "s")
        _within("Loads seen", self.loads, 1, 10**7, "")
        _within("Loads that bought more", self.bought_more, 0, self.loads, "")


class StoreEvidence(msgspec.Struct, frozen=True, kw_only=True):
    """What a working store can tell of its pockets without closing."""

    normal_load_kg: float
    residual_frac: float
    heat: Heat
    air: Air = Air()
    spread_load_frac: float = 0.35
    bills: tuple[FuelBill, ...] = ()
    watched: tuple[WatchedLoad, ...] = ()
    more_time: tuple[MoreTime, ...] = ()

    def __post_init__(self) -> None:
        _within("Normal load", self.normal_load_kg, *MASS_KG, "kg")
        _within("Residual moisture", self.residual_frac, *RESIDUAL_FRAC, "kg/kg")
        _within("Spread of loads", self.spread_load_frac, 0.02, 1.0, "of the normal load")


class StoreFit(msgspec.Struct, frozen=True, kw_only=True):
    """Where the evidence puts a pocket: 5 %, 50 % and 95 % of minutes for the normal load, and of each assumption as a factor.

    ``before`` is the same without the evidence. ``narrowed_frac`` is how much shorter the band of minutes became.
    """

    minutes: tuple[float, float, float]
    minutes_before: tuple[float, float, float]
    factors: tuple[tuple[str, float, float, float], ...]
    narrowed_frac: float
    draws_kept: float
    pocket: Pocket
    notes: tuple[str, ...] = ()
