"""`drybank prove ...`: one word for each field test. Without a measured value it says what to take along and do."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By, StoreKey

if TYPE_CHECKING:
    from drybank.desk.proof import How, Proven

prove = typer.Typer(
    name="prove",
    no_args_is_help=True,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Field tests: show that a pocket runs as set. Pass, fail or cannot tell, with the margin and what to do next.",
)
app.add_typer(prove)

PocketKey = Annotated[str, typer.Argument(help="The pocket's number.", show_default=False)]
Minutes = Annotated[float | None, typer.Option("--minutes", help="How long the test took.")]
ShopOpen = Annotated[bool | None, typer.Option("--shop-open/--shop-shut", help="Whether customers were in.")]
With = Annotated[list[str] | None, typer.Option("--with", help="An instrument used; say it again for another.")]
OwnRule = Annotated[
    str, typer.Option("--tolerance", help="Your own: below=5, above=10%, source=the manual p. 12, where=Ohio.")
]
Forget = Annotated[bool, typer.Option("--forget", help="Show the verdict without entering it in the book.")]
Give = Annotated[str, typer.Option("--give", help="The instrument's give or take, with its unit.")]


def _how(by: str, minutes: float | None, shop: bool | None, tools: list[str] | None, rule: str, *, unit: str, keep: bool) -> How:  # fmt: skip
    from drybank.cli.opened import pen
    from drybank.desk.proof import How, own_tolerance

    return How(
        pen=pen(by), is_kept=keep, instruments=tuple(tools or ()), minutes=minutes, shop_open=shop,
        tolerance=own_tolerance(rule, unit) if rule else None,
    )  # fmt: skip


def _brief(kind: str, *, as_json: bool) -> None:
    """Cautions first, then what to take along and do."""
    from drybank.cli import say
    from drybank.proof.standing import CAUTIONS, STEPS

    if as_json:
        say.as_json({"cautions": CAUTIONS[kind], "steps": STEPS[kind]})
        return
    say.head("Cautions")
    for caution in CAUTIONS[kind]:
        say.danger(f"  {caution}")
    say.head("What to do")
    for number, step in enumerate(STEPS[kind], start=1):
        say.line(f"  {number}. {step}")


def _show(proven: Proven, *, as_json: bool) -> None:
    """The verdict, each judgement with margin and source, what was assumed, the next step. Exit 3 on a finding."""
    from drybank.cli import say
    from drybank.desk.pages_proof import figure_said, margin_said

    result = proven.result
    if as_json:
        say.as_json(proven)
        raise typer.Exit(3 if proven.findings else 0)
    say.quiet(result.cautions[0])
    {"fail": say.danger, "cannot tell": say.heed}.get(result.verdict, say.line)(
        f"{result.verdict.capitalize()}. {result.says}"
    )
    for judged in result.judgements:
        margin = (
            ""
            if judged.margin is None
            else f", {margin_said(judged.margin, judged.measured.unit if judged.measured else '')}"
        )
        say.line(f"  {judged.name}: {judged.verdict}{margin}" + (f" ({judged.saw})" if judged.saw else ""))
        if judged.because:
            say.quiet(f"    {judged.because}")
        if judged.tolerance is not None:
            say.quiet(f"    {judged.tolerance.shown()}")
    for figure in result.figures:
        say.line(f"  {figure.name}: {figure_said(figure.estimate)}")
    for taken in result.assumed:
        say.quiet(f"  Assumed: {taken.name} {taken.taken} ({taken.source})")
    say.line(f"Next: {result.next_step}")
    if proven.entry:
        say.quiet(f"Entered as {proven.entry}.")
    raise typer.Exit(3 if proven.findings else 0)


@prove.command("time", epilog="Example: drybank prove time saddle 3 --ran 26:02 --pieces 4 --input near")
def prove_time(
    store: StoreKey,
    pocket: PocketKey,
    ran: Annotated[str, typer.Option("--ran", help="The run of a start, as 26:04.2 or 1564.2 s.")] = "",
    pieces: Annotated[int, typer.Option("--pieces", help="Pieces put in; the least that start it if not said.")] = 0,
    topped_ran: Annotated[str, typer.Option("--topped-ran", help="The run of a start with its top-up.")] = "",
    topped_pieces: Annotated[int, typer.Option("--topped-pieces", help="All pieces of that run together.")] = 0,
    also: Annotated[list[str] | None, typer.Option("--also", help="Another pocket of the bank, as 4=25:58.")] = None,
    slot: Annotated[str, typer.Option("--input", help="The input the coins went into.")] = "",
    step: Annotated[float, typer.Option("--watch-step", help="The watch's step in seconds.")] = 0.2,
    minutes: Minutes = None, shop: ShopOpen = None, tools: With = None, rule: OwnRule = "", forget: Forget = False,
    book: BookPath = DEFAULT_BOOK, by: By = "", as_json: AsJson = False,
) -> None:  # fmt: skip
    """Time sold: a stop-watch against what the settings sell."""
    from drybank.cli.opened import opened
    from drybank.desk.proof import Timing, time_sold
    from drybank.desk.quantity import watch_s
    from drybank.proof import Stopwatch
    from drybank.records.errors import InputError

    if not ran:
        _brief("time", as_json=as_json)
        return
    runs = [Timing(pocket=pocket, ran_s=watch_s(ran, where="--ran"), pieces=pieces, input=slot)]
    if topped_ran:
        topped = watch_s(topped_ran, where="--topped-ran")
        runs.append(Timing(pocket=pocket, ran_s=topped, pieces=topped_pieces, input=slot, is_top_up=True))
    for text in also or ():
        other, sign, span = text.partition("=")
        if not sign:
            raise InputError(f"“{text}” is not a pocket and its run.", where="--also", mend="Write it like 4=25:58.")
        runs.append(Timing(pocket=other.strip(), ran_s=watch_s(span, where="--also"), pieces=pieces, input=slot))
    how = _how(by, minutes, shop, tools, rule, unit="s", keep=not forget)
    with opened(book) as it:
        proven = time_sold(it, store, runs, how, watch=Stopwatch(step_s=step))
    _show(proven, as_json=as_json)


@prove.command("heat", epilog="Example: drybank prove heat saddle 3 --heat 1 --log pocket3.csv --scale F --give '2 F'")
def prove_heat(
    store: StoreKey,
    pocket: PocketKey,
    heat: Annotated[int, typer.Option("--heat", help="The number of the heat.")] = 1,
    log: Annotated[str, typer.Option("--log", help="A CSV file: time and exhaust temperature.")] = "",
    scale: Annotated[str, typer.Option("--scale", help="C or F, the scale of the log.")] = "C",
    give: Give = "1 C",
    set_means: Annotated[str, typer.Option("--set-means", help="middle or cut-out, by the control's manual.")] = "",
    minutes: Minutes = None, shop: ShopOpen = None, tools: With = None, rule: OwnRule = "", forget: Forget = False,
    book: BookPath = DEFAULT_BOOK, by: By = "", as_json: AsJson = False,
) -> None:  # fmt: skip
    """Exhaust temperature against the heat set, its care symbol and the maker's limit."""
    from drybank.cli.card import one_of
    from drybank.cli.opened import opened
    from drybank.desk.exhaust_log import read_log
    from drybank.desk.proof import heat_run
    from drybank.desk.quantity import TEMPERATURE_STEP, quantity

    if not log:
        _brief("heat", as_json=as_json)
        return
    one_of("--scale", scale, ("C", "F"))
    one_of("--set-means", set_means, ("", "middle", "cut-out"))
    read = read_log(log, scale=scale, plus_minus_c=quantity(give, TEMPERATURE_STEP, where="--give", usual="1 C"))
    how = _how(by, minutes, shop, tools, rule, unit="°C", keep=not forget)
    with opened(book) as it:
        proven = heat_run(it, store, pocket, heat, read, how, set_means=set_means or None)  # type: ignore[arg-type]
    _show(proven, as_json=as_json)


@prove.command("gas", epilog="Example: drybank prove gas saddle 3 --dial '1 ft3' --turns 3 --seconds 95 --others-off")
def prove_gas(
    store: StoreKey,
    pocket: PocketKey,
    dial: Annotated[str, typer.Option("--dial", help="Gas in one turn of the test dial, as '1 ft3'.")] = "",
    turns: Annotated[float, typer.Option("--turns", help="Whole turns counted.")] = 0.0,
    seconds: Annotated[str, typer.Option("--seconds", help="Time for all the turns, as 1:35 or 95.")] = "",
    others_off: Annotated[bool, typer.Option("--others-off", help="Everything else on this meter was off.")] = False,
    heat_content: Annotated[str, typer.Option("--heat-content", help="From the bill, as '1038 Btu/ft3'.")] = "",
    pressure: Annotated[str, typer.Option("--pressure", help="At the meter, as '7 inwc'.")] = "",
    minutes: Minutes = None, shop: ShopOpen = None, tools: With = None, rule: OwnRule = "", forget: Forget = False,
    book: BookPath = DEFAULT_BOOK, by: By = "", as_json: AsJson = False,
) -> None:  # fmt: skip
    """Gas input by clocking the meter. With the dial alone it says how long the clocking takes."""
    from drybank.cli import say
    from drybank.cli.opened import opened
    from drybank.desk.proof import gas_input, gas_of, gas_plan
    from drybank.desk.quantity import HEAT_CONTENT, PRESSURE, VOLUME, quantity, watch_s
    from drybank.desk.standing import layout_at
    from drybank.proof import Clocking

    if not dial:
        _brief("gas", as_json=as_json)
        return
    dial_m3 = quantity(dial, VOLUME, where="--dial", usual="1 ft3")
    heat = quantity(heat_content, HEAT_CONTENT, where="--heat-content", usual="1038 Btu/ft3") if heat_content else None
    gauge = quantity(pressure, PRESSURE, where="--pressure", usual="7 inwc") if pressure else None
    how = _how(by, minutes, shop, tools, rule, unit="W", keep=not forget)
    with opened(book) as it:
        supply = gas_of(layout_at(it, store, how.when), pocket, heat_j_m3=heat, gauge_pa=gauge)
        if not seconds:
            plan = gas_plan(it, store, pocket, dial_m3, how, supply)
            if as_json:
                say.as_json(plan)
                return
            _brief("gas", as_json=False)
            say.line(plan.says)
            return
        clocking = Clocking(
            dial_m3=dial_m3, turns=turns, seconds=watch_s(seconds, where="--seconds"), others_off=others_off
        )
        proven = gas_input(it, store, pocket, clocking, how, supply)
    _show(proven, as_json=as_json)


@prove.command("make-up", epilog="Example: drybank prove make-up saddle --face '400 in2' --cover metal")
def prove_make_up(
    store: StoreKey,
    face: Annotated[str, typer.Option("--face", help="Area of the opening, as '400 in2' or '0.25 m2'.")] = "",
    cover: Annotated[str, typer.Option("--cover", help="metal, wood or open.")] = "metal",
    free: Annotated[str, typer.Option("--free", help="The louvre's own free share, as 60 %.")] = "",
    give: Give = "5 in2",
    minutes: Minutes = None, shop: ShopOpen = None, tools: With = None, rule: OwnRule = "", forget: Forget = False,
    book: BookPath = DEFAULT_BOOK, by: By = "", as_json: AsJson = False,
) -> None:  # fmt: skip
    """Make-up air: the opening against the total gas input of the room."""
    from drybank.cli.card import one_of
    from drybank.cli.opened import opened
    from drybank.desk.proof import make_up_air
    from drybank.desk.quantity import AREA, fraction, quantity
    from drybank.proof import Opening

    if not face:
        _brief("air", as_json=as_json)
        return
    one_of("--cover", cover, ("metal", "wood", "open"))
    opening = Opening(
        face_m2=quantity(face, AREA, where="--face", usual="400 in2"),
        plus_minus_m2=quantity(give, AREA, where="--give", usual="5 in2"),
        cover=cover,  # type: ignore[arg-type]
        free_frac=fraction(free, where="--free") if free else None,
    )
    how = _how(by, minutes, shop, tools, rule, unit="m²", keep=not forget)
    with opened(book) as it:
        proven = make_up_air(it, store, opening, how)
    _show(proven, as_json=as_json)


@prove.command(
    "duct",
    epilog="Example: drybank prove duct saddle 3 --flow '450 cfm' --width '8 in' --length '30 ft' --elbow 'smooth 90'",
)
def prove_duct(
    store: StoreKey,
    pocket: PocketKey,
    flow: Annotated[str, typer.Option("--flow", help="Exhaust flow, as '450 cfm'.")] = "",
    width: Annotated[str, typer.Option("--width", help="Diameter, or width of a rectangular duct.")] = "",
    height: Annotated[str, typer.Option("--height", help="Height of a rectangular duct.")] = "",
    length: Annotated[str, typer.Option("--length", help="Straight length.")] = "",
    elbow: Annotated[list[str] | None, typer.Option("--elbow", help="smooth 90, smooth 45, mitred 90, mitred 45.")] = None,
    give: Give = "20 cfm",
    minutes: Minutes = None, shop: ShopOpen = None, tools: With = None, rule: OwnRule = "", forget: Forget = False,
    book: BookPath = DEFAULT_BOOK, by: By = "", as_json: AsJson = False,
) -> None:  # fmt: skip
    """Exhaust duct: what the flow costs in pressure, against the maker's limit."""
    from drybank.cli.card import one_of
    from drybank.cli.opened import opened
    from drybank.desk.proof import exhaust_duct
    from drybank.desk.quantity import FLOW, LENGTH, quantity
    from drybank.proof import Duct
    from drybank.records.proof import Measured

    if not (flow and width and length):
        _brief("air", as_json=as_json)
        return
    for one in elbow or ():
        one_of("--elbow", one, ("smooth 90", "smooth 45", "mitred 90", "mitred 45"))
    duct = Duct(
        width_m=quantity(width, LENGTH, where="--width", usual="8 in"),
        height_m=quantity(height, LENGTH, where="--height", usual="8 in") if height else 0.0,
        length_m=quantity(length, LENGTH, where="--length", usual="30 ft"),
        elbows=tuple(elbow or ()),  # type: ignore[arg-type]
    )
    reading = Measured(
        value=quantity(flow, FLOW, where="--flow", usual="450 cfm"), unit="m³/s",
        plus_minus=quantity(give, FLOW, where="--give", usual="20 cfm"), instrument=(tools or ["traverse"])[0],
    )  # fmt: skip
    how = _how(by, minutes, shop, tools, rule, unit="Pa", keep=not forget)
    with opened(book) as it:
        proven = exhaust_duct(it, store, pocket, reading, duct, how)
    _show(proven, as_json=as_json)


@prove.command("pressure", epilog="Example: drybank prove pressure saddle 3 --reading '0.3 inwc' --give '0.02 inwc'")
def prove_pressure(
    store: StoreKey,
    pocket: PocketKey,
    reading: Annotated[str, typer.Option("--reading", help="Static pressure at the collar, as '0.3 inwc'.")] = "",
    give: Give = "5 Pa",
    minutes: Minutes = None, shop: ShopOpen = None, tools: With = None, forget: Forget = False,
    book: BookPath = DEFAULT_BOOK, by: By = "", as_json: AsJson = False,
) -> None:  # fmt: skip
    """Static pressure at the exhaust collar against the maker's limit."""
    from drybank.cli.opened import opened
    from drybank.desk.proof import back_pressure
    from drybank.desk.quantity import PRESSURE, quantity
    from drybank.records.proof import Measured

    if not reading:
        _brief("air", as_json=as_json)
        return
    read = Measured(
        value=quantity(reading, PRESSURE, where="--reading", usual="0.3 inwc"), unit="Pa",
        plus_minus=quantity(give, PRESSURE, where="--give", usual="5 Pa"), instrument=(tools or ["gauge"])[0],
    )  # fmt: skip
    how = _how(by, minutes, shop, tools, "", unit="Pa", keep=not forget)
    with opened(book) as it:
        proven = back_pressure(it, store, pocket, read, how)
    _show(proven, as_json=as_json)


@prove.command("flow", epilog="Example: drybank prove flow saddle 3 --reading '450 cfm' --give '20 cfm'")
def prove_flow(
    store: StoreKey,
    pocket: PocketKey,
    reading: Annotated[str, typer.Option("--reading", help="Exhaust flow, as '450 cfm'.")] = "",
    give: Give = "20 cfm",
    minutes: Minutes = None, shop: ShopOpen = None, tools: With = None, rule: OwnRule = "", forget: Forget = False,
    book: BookPath = DEFAULT_BOOK, by: By = "", as_json: AsJson = False,
) -> None:  # fmt: skip
    """Exhaust flow against the plate's airflow."""
    from drybank.cli.opened import opened
    from drybank.desk.proof import exhaust_flow
    from drybank.desk.quantity import FLOW, quantity
    from drybank.records.proof import Measured

    if not reading:
        _brief("air", as_json=as_json)
        return
    read = Measured(
        value=quantity(reading, FLOW, where="--reading", usual="450 cfm"), unit="m³/s",
        plus_minus=quantity(give, FLOW, where="--give", usual="20 cfm"), instrument=(tools or ["traverse"])[0],
    )  # fmt: skip
    how = _how(by, minutes, shop, tools, rule, unit="m³/s", keep=not forget)
    with opened(book) as it:
        proven = exhaust_flow(it, store, pocket, read, how)
    _show(proven, as_json=as_json)


@prove.command("power", epilog="Example: drybank prove power saddle 3 --volts 207 --give 1")
def prove_power(
    store: StoreKey,
    pocket: PocketKey,
    volts: Annotated[list[float] | None, typer.Option("--volts", help="Once, or three times between phases.")] = None,
    amps: Annotated[float | None, typer.Option("--amps", help="Motor current, measured by a licensed person.")] = None,
    plate_amps: Annotated[float, typer.Option("--plate-amps", help="The current on the motor's plate.")] = 0.0,
    licensed: Annotated[bool, typer.Option("--licensed", help="A licensed person measured the current.")] = False,
    give: Annotated[float, typer.Option("--give", help="The meter's give or take, in V or A.")] = 1.0,
    minutes: Minutes = None, shop: ShopOpen = None, tools: With = None, rule: OwnRule = "", forget: Forget = False,
    book: BookPath = DEFAULT_BOOK, by: By = "", as_json: AsJson = False,
) -> None:  # fmt: skip
    """Supply voltage, or a motor's current, against the plate."""
    from drybank.cli.opened import opened
    from drybank.desk.proof import motor_current, supply_voltage
    from drybank.records.proof import Measured

    if not volts and amps is None:
        _brief("power", as_json=as_json)
        return
    how = _how(by, minutes, shop, tools, rule, unit="V", keep=not forget)
    with opened(book) as it:
        if volts:
            readings = [Measured(value=v, unit="V", plus_minus=give, instrument="voltmeter") for v in volts]
            proven = supply_voltage(it, store, pocket, readings, how)
        else:
            read = Measured(value=amps or 0.0, unit="A", plus_minus=give, instrument="clamp meter")
            proven = motor_current(it, store, pocket, read, how, plate_a=plate_amps, is_licensed=licensed)
    _show(proven, as_json=as_json)


@prove.command(
    "sign",
    epilog="Example: drybank prove sign saddle gallery --start '1.00=26 min' --more '0.25=6 min 30 s' --coins 4 --attended",
)
def prove_sign(
    store: StoreKey,
    bank: Annotated[str, typer.Argument(help="The bank's key; may be left out where there is one.")] = "",
    start: Annotated[list[str] | None, typer.Option("--start", help="A line of the sign: money=time of a start.")] = None,
    more: Annotated[list[str] | None, typer.Option("--more", help="A line of the sign: money=time of a top-up.")] = None,
    coins: Annotated[int, typer.Option("--coins", help="Coins that the sign says start a dryer; 0 if it does not say.")] = 0,
    refund_how: Annotated[str, typer.Option("--refund-how", help="How the sign says money is returned.")] = "",
    refund_name: Annotated[str, typer.Option("--refund-name", help="By whom.")] = "",
    refund_address: Annotated[str, typer.Option("--refund-address", help="Where.")] = "",
    refund_phone: Annotated[str, typer.Option("--refund-phone", help="By what telephone.")] = "",
    attended: Annotated[bool, typer.Option("--attended", help="Staff on site settle refunds.")] = False,
    minutes: Minutes = None, shop: ShopOpen = None, forget: Forget = False,
    book: BookPath = DEFAULT_BOOK, by: By = "", as_json: AsJson = False,
) -> None:  # fmt: skip
    """The price sign on the wall against what every control of the bank sells."""
    from drybank.cli.opened import opened
    from drybank.desk.proof import posted_line, price_sign
    from drybank.desk.standing import layout_at
    from drybank.proof import PostedSign

    if not start and not more:
        _brief("sign", as_json=as_json)
        return
    how = _how(by, minutes, shop, None, "", unit="s", keep=not forget)
    with opened(book) as it:
        currency = layout_at(it, store, how.when).store.currency
        lines = [posted_line(t, currency, "start") for t in start or ()]
        lines += [posted_line(t, currency, "top-up") for t in more or ()]
        sign = PostedSign(
            lines=tuple(lines), starts_with=coins, refund_how=refund_how, refund_name=refund_name,
            refund_address=refund_address, refund_phone=refund_phone, is_attended=attended,
        )  # fmt: skip
        proven = price_sign(it, store, bank, sign, how)
    _show(proven, as_json=as_json)


@prove.command(
    "scale",
    epilog="Example: drybank prove scale saddle --reference '2 kg' --give '0.1 g' --shown '2001 g' --step '1 g' --coin 25",
)
def prove_scale(
    store: StoreKey,
    reference: Annotated[str, typer.Option("--reference", help="A known mass, as '2 kg'.")] = "",
    shown: Annotated[str, typer.Option("--shown", help="What the scale showed, as '2001 g'.")] = "",
    step: Annotated[str, typer.Option("--step", help="The scale's step, as '1 g'.")] = "1 g",
    coin: Annotated[int, typer.Option("--coin", help="The coin to reckon the error in, by minor units.")] = 0,
    give: Give = "0.1 g",
    minutes: Minutes = None, rule: OwnRule = "", forget: Forget = False,
    book: BookPath = DEFAULT_BOOK, by: By = "", as_json: AsJson = False,
) -> None:  # fmt: skip
    """A coin scale against a known mass."""
    from drybank.cli.opened import opened
    from drybank.desk.proof import ScaleSaid, scale_check
    from drybank.desk.quantity import MASS_G, quantity

    if not (reference and shown):
        _brief("coins", as_json=as_json)
        return
    said = ScaleSaid(
        reference_g=quantity(reference, MASS_G, where="--reference", usual="2 kg"),
        reference_plus_minus_g=quantity(give, MASS_G, where="--give", usual="0.1 g"),
        shown_g=quantity(shown, MASS_G, where="--shown", usual="2001 g"),
        step_g=quantity(step, MASS_G, where="--step", usual="1 g"),
        coin_minor=coin,
    )
    how = _how(by, minutes, None, None, rule, unit="g", keep=not forget)
    with opened(book) as it:
        proven = scale_check(it, store, said, how)
    _show(proven, as_json=as_json)
