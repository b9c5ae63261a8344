"""Store file nouns: one laundry site as its owner describes it.

These are what a store file says, before the control sheets are laid over it. What a sheet already tells
(inputs, counters, meters of a control) need not be repeated: `drybank.control.layout` works it out and gives every
input, counter, meter and box its key. Lengths of time are seconds, money is minor units, power is watts.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from drybank.records.energy import NaturalGas, Propane, RoomAir, Tariff

Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
Care = Literal["none", "one dot", "two dots"]
Means = Literal["coin", "token", "card", "app", "staff key"]
Fuel = Literal["natural gas", "propane", "electric"]
Fire = Literal["on/off", "two-stage", "modulating"]
HOURS_COUNTED = ("motor", "sold time", "heat")


class _Frozen(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Base: frozen, named fields only, unknown names refused with their path."""


class Units(_Frozen, frozen=True, kw_only=True):
    """The person's units at every face."""

    temperature: Literal["C", "F"] = "C"
    gas: Literal["therm", "Ccf", "m3", "GJ", "kWh", "gal", "L", "kg"] = "m3"
    mass: Literal["kg", "lb"] = "kg"


class Heat(_Frozen, frozen=True, kw_only=True):
    """A heat by the store's own name; ``care`` is the care symbol the store labels it with, or none."""

    number: int
    name: str
    care: Care = "none"


class Opening(_Frozen, frozen=True, kw_only=True):
    """Hours of some days, local time as ``06:00``; a close at or before the open is on the next day."""

    days: tuple[Day, ...]
    open: str
    close: str
    attended: bool = False


class Responsible(_Frozen, frozen=True, kw_only=True):
    """Who gives money back, for the wall sign."""

    name: str
    address: str
    phone: str


class Washer(_Frozen, frozen=True, kw_only=True):
    """A kind of washer in the store: how many, largest load, length of a wash, water left after its spin."""

    key: str
    number: int
    load_kg: float
    wash_s: int
    moisture_left_frac: float | None = None
    price_minor: int | None = None


class Plate(_Frozen, frozen=True, kw_only=True):
    """What the rating plate and the maker's booklet of a pocket say; unknown stays unknown."""

    fuel: Fuel = "natural gas"
    input_w: float | None = None
    airflow_m3_s: float | None = None
    motor_w: float | None = None
    fire: Fire = "on/off"
    is_derated: bool = False
    duct_pressure_limit_pa: float | None = None
    exhaust_limit_c: float | None = None
    voltage_v: float | None = None


class Pocket(_Frozen, frozen=True, kw_only=True):
    """One drum, sold by time. ``key`` is the number painted on it."""

    key: str
    fill_kg: float
    plate: Plate = Plate()


class Machine(_Frozen, frozen=True, kw_only=True):
    """One cabinet with its pockets and the kind of control it carries. ``place`` is the walking order."""

    key: str
    bank: str
    sheet: str
    pockets: tuple[str, ...]
    place: int = 0


class Bank(_Frozen, frozen=True, kw_only=True):
    """Dryers meant to be set alike and posted on one sign."""

    key: str
    name: str
    normal_load_kg: float | None = None
    is_metered_apart: bool = False


class Box(_Frozen, frozen=True, kw_only=True):
    """A coin box and the inputs that drop into it; one that feeds from several inputs is shared."""

    key: str
    inputs: tuple[str, ...]
    capacity_pieces: int | None = None
    number: str = ""


class InputSaid(_Frozen, frozen=True, kw_only=True):
    """What the store adds to an input of a control: the piece it takes, its means, where takings go.

    ``input`` is ``<control>.<sheet's input>`` where the control is a pocket key or, for a control that serves a whole
    machine, a machine key; ``*.<sheet's input>`` says it for every control that has such an input.
    """

    input: str
    means: Means = "coin"
    piece_minor: int = 0
    takings: Literal["box", "statement", "nowhere"] = "box"
    account: str = ""


class CounterSaid(_Frozen, frozen=True, kw_only=True):
    """A counter or meter that differs from its sheet: wider, narrower, or not there at all."""

    key: str
    rolls_over_at: int | None = None
    is_missing: bool = False


class Costs(_Frozen, frozen=True, kw_only=True):
    """Costs beside fuel, all in minor units and as the owner states them."""

    wear_minor_per_hour: float = 0.0
    visit_minor: float | None = None
    visit_minor_low: float | None = None
    visit_minor_high: float | None = None


class ShareTier(_Frozen, frozen=True, kw_only=True):
    """Of what lies above ``above_minor`` in a period, ``percent`` (text, exact) is shared."""

    above_minor: int
    percent: str


class Share(_Frozen, frozen=True, kw_only=True):
    """A landlord's or partner's share of a period's takings, after tax.

    ``percent`` (text, exact) of the base; ``tiers`` change the percentage of what lies above their amounts; never less
    than ``guaranteed_minor``. ``costs_first``: fuel and other stated costs are taken off the base before sharing.
    """

    name: str
    percent: str
    tiers: tuple[ShareTier, ...] = ()
    guaranteed_minor: int = 0
    costs_first: bool = False
    period: Literal["week", "month"] = "month"
    rounding: Literal["half up", "half even", "down", "up"] = "half up"


class Counting(_Frozen, frozen=True, kw_only=True):
    """What the store asks of a count: two people (``asks_two``), and days from collection to deposit."""

    asks_two: bool = False
    late_after_days: float = 3.0


class SalesTax(_Frozen, frozen=True, kw_only=True):
    """Tax on vended drying where there is one: percent as text, with its jurisdiction and source."""

    percent: str
    is_included: bool
    jurisdiction: str
    source: str
    valid_from: str


class Trade(_Frozen, frozen=True, kw_only=True):
    """What the owner knows or guesses of the trade; what is left out is assumed and listed as such.

    ``need_minutes`` with ``need_share`` hold at the hottest heat as set today; ``heat_share`` goes by the heats' numbers.
    ``walk_away_minor_low`` to ``_high``: how much dearer than today drying a normal load may get before half of the
    customers go elsewhere.
    """

    loads_per_week: float | None = None
    need_minutes: tuple[float, ...] = ()
    need_share: tuple[float, ...] = ()
    heat_share: tuple[float, ...] = ()
    load_kg_mean: float | None = None
    walk_away_minor_low: int | None = None
    walk_away_minor_high: int | None = None


class Constraints(_Frozen, frozen=True, kw_only=True):
    """What a plan may not do."""

    normal_load_pieces_at_most: int | None = None
    wait_p95_s: int | None = None
    price_step_at_most_pct: float | None = None
    posted_minutes: Literal["whole", "half", "any"] = "half"


class Store(_Frozen, frozen=True, kw_only=True):
    """One laundry site. Keys are unique within their list; money is in ``currency`` minor units."""

    key: str
    name: str
    kind: Literal["walk-in", "residents"] = "walk-in"
    time_zone: str
    currency: str
    country: str
    languages: tuple[str, ...] = ("en",)
    units: Units = Units()
    altitude_m: float = 0.0
    weather: str = ""
    is_conditioned: bool = False
    coins: tuple[int, ...]
    responsible: Responsible | None = None
    hours: tuple[Opening, ...] = ()
    heats: tuple[Heat, ...] = ()
    washers: tuple[Washer, ...] = ()
    banks: tuple[Bank, ...]
    machines: tuple[Machine, ...]
    pockets: tuple[Pocket, ...]
    boxes: tuple[Box, ...] = ()
    inputs: tuple[InputSaid, ...] = ()
    counters: tuple[CounterSaid, ...] = ()
    tariffs: tuple[Tariff, ...] = ()
    natural_gas: NaturalGas | None = None
    propane: Propane | None = None
    room_air: RoomAir | None = None
    costs: Costs = Costs()
    shares: tuple[Share, ...] = ()
    taxes: tuple[SalesTax, ...] = ()
    counting: Counting = Counting()
    trade: Trade = Trade()
    constraints: Constraints = Constraints()
