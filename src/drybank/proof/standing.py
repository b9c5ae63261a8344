"""Tolerances and cautions that ship with Drybank: data, each with source and how known.

Every one may be replaced by the store's own. Those known from memory say so wherever
they are shown; the local inspector's copy of the rule comes first.
"""

from __future__ import annotations

from typing import Final

from drybank.records.proof import Tolerance

US: Final = "United States, where the state has adopted the handbook"
_USA: Final = ("US",)

TIME_SOLD: Final = Tolerance(
    name="time sold on a dryer",
    unit="s",
    below=5.0,
    above_frac=0.1,
    nominal_min=60.0,
    jurisdiction=US,
    countries=_USA,
    source="NIST Handbook 44, section 5.55, T.1, all other timing devices: customer short by at most "
    "5 s in any interval of 1 min or more, over by at most 6 s per indicated minute",
    known="from memory",
    note="Figures and clause number not verified; ask the local weights and measures office.",
)
COIN_TEST: Final = Tolerance(
    name="coin test",
    unit="s",
    below=5.0,
    above=5.0,
    jurisdiction="a check of what was set, not a rule of law",
    source="common practice, no source: what a display in whole seconds may differ by; the short side is that of the "
    "time-sold rule (NIST Handbook 44, section 5.55, T.1), the other is tighter, since a dial one mark too far must show",
    known="common practice, no source",
    note="So whatever passes here passes the time-sold rule too, from 1 min on.",
)
STATEMENT_OF_RATES: Final = Tolerance(
    name="statement of rates",
    unit="s",
    below=0.0,
    above=0.0,
    jurisdiction=US,
    countries=_USA,
    source="NIST Handbook 44, section 5.55, UR, statement of rates (2010 edition); "
    "money values agree mathematically, section 1.10, G-S.5.5",
    known="read in a secondary page",
    note="That money values must agree is from memory.",
)
REFUND_NOTICE: Final = Tolerance(
    name="refund notice",
    unit="",
    below=0.0,
    jurisdiction=US,
    countries=_USA,
    source="NIST Handbook 44, section 1.10, G-UR.3.4: how money is returned, with name, address and "
    "telephone of the local responsible party, unless staff on site settle it",
    known="read in a secondary page",
)
CARE_LIMIT: Final = {
    "two dots": Tolerance(
        name="tumble dry, two dots, exhaust at most 80 °C",
        unit="°C",
        above=0.0,
        jurisdiction="wherever the care symbols are used",
        source="GINETEX table of textile care symbols; ISO 3758:2012 table 3 (its wording from memory)",
        known="read",
    ),
    "one dot": Tolerance(
        name="tumble dry, one dot, exhaust at most 60 °C",
        unit="°C",
        above=0.0,
        jurisdiction="wherever the care symbols are used",
        source="GINETEX table of textile care symbols; ISO 3758:2012 table 3 (its wording from memory)",
        known="read",
        note="One workwear page gives 50 to 60 °C.",
    ),
}
CARE_LIMIT_C: Final = {"two dots": 80.0, "one dot": 60.0}

GAS_INPUT: Final = Tolerance(
    name="gas input against the plate",
    unit="W",
    below_frac=0.10,
    above_frac=0.10,
    jurisdiction="United States",
    countries=_USA,
    source="adjust where more than 10 % off the plate: a training page citing NFPA 54 (1996) table XIII",
    known="read in a secondary page",
)
MAKE_UP_AIR: Final = Tolerance(
    name="make-up air opening for commercial gas dryers",
    unit="m²",
    below=0.0,
    jurisdiction="United States",
    countries=_USA,
    source="NFPA 54/ANSI Z223.1, 10.4.3.2: at least 1 in² free area per 1000 Btu/h of total input",
    known="from memory",
)
DUCT_VELOCITY: Final = Tolerance(
    name="exhaust duct velocity at most 2000 ft/min",
    unit="m/s",
    above=0.0,
    jurisdiction="US Navy buildings; a yardstick elsewhere in the United States",
    countries=_USA,
    source="UFC 3-410-02N, dryer clause d)",
    known="read",
)
DUCT_VELOCITY_MAX_M_S: Final = 2000 * 0.3048 / 60
MOTOR_VOLTAGE: Final = Tolerance(
    name="voltage at the motor within 10 % of its plate",
    unit="V",
    below_frac=0.10,
    above_frac=0.10,
    jurisdiction="United States; the machine's own plate comes first",
    countries=_USA,
    source="NEMA MG 1, 12.44",
    known="from memory",
)
VOLTAGE_UNBALANCE: Final = Tolerance(
    name="voltage unbalance at most 1 %",
    unit="%",
    above=1.0,
    jurisdiction="United States; the machine's own plate comes first",
    countries=_USA,
    source="NEMA MG 1, 12.45",
    known="from memory",
)

_ORDER: Final = (
    "Local code, the maker's manual and the licensed trades come before this page.",
    "Stop if you smell gas, see scorching or hear a motor that hums and does not turn.",
)
CAUTIONS: Final[dict[str, tuple[str, ...]]] = {
    "time": (
        "The drum is moving: keep hands, sleeves and cords away while it turns.",
        *_ORDER,
    ),
    "heat": (
        "The exhaust and the duct burn skin at once: bare metal at 65 to 70 °C hurts within a second "
        "(ISO 13732-1, from memory).",
        "Do not drill a hole or open a panel for the probe; use the opening the maker gives.",
        "Never leave a thermometer lead where the drum or the fan can catch it.",
        *_ORDER,
    ),
    "gas": (
        "Read the meter only. Do not open a gas valve, regulator, union or burner panel: that is the licensed trade's.",
        "Other appliances on the meter are turned off at their own controls, by someone who may; pilots "
        "that go out are lit again by the same person before leaving.",
        "A meter that turns with everything off may mean a leak: leave, and call the gas supplier.",
        *_ORDER,
    ),
    "air": (
        "Lint burns. Do not test a duct that is visibly clogged: have it cleaned first.",
        "Hot air and hot metal at the duct; work from a ladder that is held.",
        "Do not block a make-up air opening, not even for a reading.",
        *_ORDER,
    ),
    "power": (
        "Live voltage kills. Only a qualified person measures it, with rated meter, leads and gloves.",
        "This test needs the power on.",
        *_ORDER,
    ),
    "sign": _ORDER[:1],
    "coins": ("Full coin bags are heavy: 1,000 dollars in quarters weigh 22.7 kg (50 lb).", *_ORDER[:1]),
}

# What to take along and do, said before a test begins.
STEPS: Final[dict[str, tuple[str, ...]]] = {
    "time": (
        "Take a stop-watch and the coins of one start and of one top-up; note them as test coins.",
        "Start the watch when the drum starts and stop it when the drum stops.",
        "Time one start alone; then one start with a top-up put in while it runs.",
    ),
    "heat": (
        "Take a thermometer for the exhaust and its give or take from its papers.",
        "Choose the heat, put in a damp load, read the exhaust every 10 to 15 s from the start to the cool-down.",
        "At least two on-off cycles of the burner; write time and temperature into two columns.",
    ),
    "gas": (
        "Find the smallest test dial of the meter and read its size off its face.",
        "Have every other appliance on this meter off at its own control, pilots included where they can be.",
        "Choose the highest heat with a wet load so that the burner does not cycle off; time whole turns.",
    ),
    "air": (
        "Take a rule for openings and ducts, and the maker's limit on duct pressure from the plate or manual.",
        "For pressure: a gauge at the maker's test opening near the collar, zeroed, drum running with a load.",
        "For flow: a traverse of velocity pressures across a straight piece of duct.",
    ),
    "power": (
        "For a qualified person: a rated meter, at the terminals the maker names, with the dryer heating.",
        "Three phases: between each pair.",
    ),
    "coins": (
        "Take a mass whose value is known to a tenth of the scale's step, near the weight of a full bag.",
        "Zero the scale, put the mass on its middle, read it; not rolled coins: one coin may be 4 % off when new.",
    ),
    "sign": ("Read the sign off the wall, line by line, as a customer would.",),
}
