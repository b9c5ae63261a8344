"""Control sheets laid over a store, the sale rule, house settings and the checks on them.

    grid.py      what a setting can hold, in its own steps and unit; show and parse
    layout.py    every control, input, counter, meter, box and unit of a store, by key
    terms.py     a control's values as the sale rule reads them
    sale.py      `sell`: THE sale rule, event by event
    rate.py      closed forms of the sale rule for hot paths; what the sign must state
    house.py     house settings <-> one control's own values
    bank.py      what all the controls of a bank can hold; the nearest split where they cannot
    steps.py     from found to set, in the sheet's own way of changing
    sheet.py     what is wrong with a sheet or a store file
    checks.py    the checks on settings, each with its reason

Signatures (``values``: setting key -> whole number on the sheet's grid; ``worth``: minor units of one piece by sheet input,
as `worth(layout, control)` gives it; ``scale``: "°C", "°F", "C", "F" or "" where a sheet has one only)::

    holds(grid, value) -> bool                       settable(grid) -> tuple[int, ...]      # base unit
    nearest(grid, base_value) -> (below | None, above | None)                               # base unit
    to_base(grid, value) -> int                      from_base(grid, base_value) -> int | None
    grid_of(line, scale="") -> Grid
    show(line, value, scale="", currency="") -> str  parse(line, text, scale="", currency="") -> int

    layout(store, sheets) -> Layout                  worth(layout, control) -> dict[str, int]
    scale_of(layout, control, values=None) -> "°C" | "°F" | ""

    terms(sheet, values, *, worth=None, scale="") -> Terms
    sell(sheet, values, events, *, worth=None, clock_s=None, until_s=None) -> Sale
    sell_on(terms, sheet, events, *, clock_s=None, until_s=None) -> Sale
    pieces_to_start(sheet, values, input, *, worth=None, heat=None) -> int | None
    first_start(sheet, values, input, *, worth=None, heat=None) -> FirstStart | None
    time_for(sheet, values, input, pieces, *, worth=None, heat=None) -> int
    price_per_minute(sheet, values, input, *, worth=None, heat=None) -> Fraction | None
    heated_s(sheet, values, sold_s) -> int
    coin_plan(sheet, values, input, *, worth=None, heat=None) -> CoinPlan

    to_sheet(layout, control, house) -> Values       from_sheet(layout, control, values, like=None) -> HouseSettings
    common(layout, bank) -> tuple[Settable, ...]     split_bank(layout, bank, house=()) -> BankSplit | None
    rate_statement(layout, bank, house) -> RateStatement
    steps(layout, control, found, to_set) -> tuple[Step, ...]
    check_settings(layout, bank, house, *, waived=None, least_heat_s=None) -> tuple[CheckResult, ...]
    check_sheet(sheet) -> tuple[InputError, ...]     check_store(store, sheets) -> tuple[InputError, ...]
"""
