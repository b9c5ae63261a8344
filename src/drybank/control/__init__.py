"""Control sheets laid over a store, the sale rule, house settings and the checks on them.

    grid.py      what a setting can hold, in its own steps and unit; show and parse
    layout.py    every control, input, counter, meter, box and unit of a store, by key
    terms.py     a control's values as the sale rule reads them
    sale.py      `sell`: THE sale rule, event by event
    rate.py      closed forms of the sale rule for hot paths
    house.py     house settings <-> one control's own values
    bank.py      what all the controls of a bank can hold, what its sign must state, the nearest split
    steps.py     from found to set, in the sheet's own way of changing
    sheet.py     what is wrong with a sheet or a store file
    checks.py    the checks on settings, each with its reason

``values`` are setting key -> whole number on the sheet's grid; ``worth`` the minor units of one piece by sheet input, as
`worth(layout, control)` gives it; ``scale`` one of "°C", "°F", "C", "F", or "" where a sheet has one only.
"""

from drybank.control.bank import common, kinds_of, nearest_house, rate_statement, split_bank
from drybank.control.checks import CARE_LIMIT_C, CHECKS, LEAST_HEAT_S, POSTED_S, care_limit, check_settings
from drybank.control.grid import (
    base_of,
    from_base,
    grid_of,
    held,
    holds,
    nearest,
    nearest_says,
    off_grid,
    parse,
    range_says,
    settable,
    show,
    to_base,
)
from drybank.control.house import MUST_HOLD, from_sheet, reading, scale_of, to_sheet
from drybank.control.layout import control_of, controls_of, layout, natural, sheet_of, worth
from drybank.control.rate import (
    coin_plan,
    first_on,
    first_start,
    heated_on,
    heated_s,
    pieces_on,
    pieces_to_start,
    plan_on,
    price_per_minute,
    rate_on,
    time_for,
    time_on,
)
from drybank.control.sale import counts_of, sell, sell_on
from drybank.control.sheet import check_sheet, check_store
from drybank.control.steps import steps
from drybank.control.terms import terms
from drybank.records.control import (
    BankSplit,
    CheckResult,
    CoinPlan,
    Conflict,
    DoorClosed,
    DoorOpened,
    Event,
    FirstStart,
    HeatChosen,
    InputTerms,
    Paid,
    PieceRate,
    PowerBack,
    PowerCut,
    Pressed,
    RateStatement,
    Sale,
    Settable,
    SignedBank,
    Span,
    Step,
    Terms,
)

__all__ = [
    "CARE_LIMIT_C",
    "CHECKS",
    "LEAST_HEAT_S",
    "MUST_HOLD",
    "POSTED_S",
    "BankSplit",
    "CheckResult",
    "CoinPlan",
    "Conflict",
    "DoorClosed",
    "DoorOpened",
    "Event",
    "FirstStart",
    "HeatChosen",
    "InputTerms",
    "Paid",
    "PieceRate",
    "PowerBack",
    "PowerCut",
    "Pressed",
    "RateStatement",
    "Sale",
    "Settable",
    "SignedBank",
    "Span",
    "Step",
    "Terms",
    "base_of",
    "care_limit",
    "check_settings",
    "check_sheet",
    "check_store",
    "coin_plan",
    "common",
    "control_of",
    "controls_of",
    "counts_of",
    "first_on",
    "first_start",
    "from_base",
    "from_sheet",
    "grid_of",
    "heated_on",
    "heated_s",
    "held",
    "holds",
    "kinds_of",
    "layout",
    "natural",
    "nearest",
    "nearest_house",
    "nearest_says",
    "off_grid",
    "parse",
    "pieces_on",
    "pieces_to_start",
    "plan_on",
    "price_per_minute",
    "range_says",
    "rate_on",
    "rate_statement",
    "reading",
    "scale_of",
    "sell",
    "sell_on",
    "settable",
    "sheet_of",
    "show",
    "split_bank",
    "steps",
    "terms",
    "time_for",
    "time_on",
    "to_base",
    "to_sheet",
    "worth",
]
