"""Field tests: cautions first, what to take along and do, the measured value, then the verdict with its margin and source."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from drybank.desk import proof as desk
from drybank.desk.exhaust_log import log_of
from drybank.desk.pages_proof import Result, result_said
from drybank.desk.proof import How, Proven, Timing, own_tolerance
from drybank.desk.quantity import (
    AREA,
    FLOW,
    HEAT_CONTENT,
    LENGTH,
    MASS_G,
    PRESSURE,
    TEMPERATURE_STEP,
    VOLUME,
    fraction,
    quantity,
    watch_s,
)
from drybank.desk.standing import layout_at
from drybank.proof import Clocking, Duct, Opening, PostedSign, Stopwatch
from drybank.proof.standing import CAUTIONS, STEPS
from drybank.records.errors import DrybankError, InputError
from drybank.records.proof import Measured
from drybank.web import forms as ask
from drybank.web import site
from drybank.web.forms import Ask, Form
from drybank.web.guard import Seat
from drybank.web.speech import page

Typed = dict[str, str]
OPTIONAL = _l("May be left out.")


class Kind(NamedTuple):
    """One field test: its name, which brief it has, the unit of an own tolerance, what is asked, how it is worked out."""

    name: Any
    brief: str
    unit: str
    asks: Callable[[Seat], tuple[Ask, ...]]
    work: Callable[[Seat, Typed, How, bytes], Proven]


def field_tests(request: HttpRequest, seat: Seat) -> HttpResponse:
    return page(request, "web/field_tests.html", {"kinds": [(key, k.name) for key, k in KINDS.items()]})


def field_test(request: HttpRequest, seat: Seat, kind: str) -> HttpResponse:
    if kind not in KINDS:
        raise Http404
    one = KINDS[kind]
    form = Form(key="test", title="", button=_l("Judge it"), asks=(*one.asks(seat), *_common(one)))
    shown: dict[str, Any] = {"name": one.name, "cautions": CAUTIONS[one.brief], "steps": STEPS[one.brief], "form": form}
    if request.method != "POST":
        return page(request, "web/field_test.html", shown)
    typed = ask.typed_of(request)
    sent = request.FILES.get("file")
    try:
        ask.check_needed(form, typed)
        made = one.work(seat, typed, _how(seat, typed, one.unit), sent.read(2_000_001) if sent else b"")
    except DrybankError as wrong:
        shown |= {"form": ask.filled(form, typed), "mistakes": ask.mistakes_of(wrong)}
        return page(request, "web/field_test.html", shown, status=422)
    result: Result = result_said(made)
    return page(request, "web/field_test.html", shown | {"proven": made, "result": result})


def _common(kind: Kind) -> tuple[Ask, ...]:
    own = (
        Ask(name="least", label=_l("Your own tolerance: so much below is still right"), hint=_l("A number in the unit of the test, or a percentage such as 5%. May be left out.")),
        Ask(name="most", label=_l("Your own tolerance: so much above is still right"), hint=_l("As above.")),
        Ask(name="source", label=_l("Where that tolerance stands"), hint=_l("Such as the manual, p. 12.")),
    )  # fmt: skip
    return (
        Ask(name="minutes", label=_l("Minutes the test took"), kind="number", hint=OPTIONAL),
        Ask(name="shop", label=_l("Were customers in?"), kind="choice", options=(("", _l("not said")), ("1", _l("yes")), ("0", _l("no")))),
        *(own if kind.unit else ()),
        Ask(name="forget", label=_l("Show the verdict without entering it in the book"), kind="check"),
    )  # fmt: skip


def _how(seat: Seat, typed: Typed, unit: str) -> How:
    rule, shop = _own_rule(typed), typed.get("shop", "")
    return How(
        pen=seat.pen(), is_kept=typed.get("forget") != "1", minutes=ask.number_of(typed.get("minutes", ""), _("Minutes the test took")),
        shop_open=None if shop == "" else shop == "1", tolerance=own_tolerance(rule, unit) if rule else None,
    )  # fmt: skip


def _own_rule(typed: Typed) -> str:
    """The person's own tolerance as the desk reads it; empty where no limit was given."""
    limits = [f"{side}={given}" for side, name in (("below", "least"), ("above", "most")) if (given := typed.get(name, "").strip().replace(" ", ""))]  # fmt: skip
    source = typed.get("source", "").replace(",", ";").strip()
    return ", ".join([*limits, f"source={source}"]) if limits else ""


def _pocket(seat: Seat) -> Ask:
    return Ask(name="pocket", label=_l("Pocket"), kind="choice", options=ask.pockets_of(seat))


def _give(value: str) -> Ask:
    return Ask(name="give", label=_l("Give or take of the instrument"), value=value)


def _number(typed: Typed, name: str, label: Any) -> float:
    value = ask.number_of(typed.get(name, ""), label)
    if value is None:
        raise InputError(_("%(what)s: this is needed.") % {"what": label})
    return value


def _amount(typed: Typed, name: str, table: dict[str, float], label: Any, usual: str) -> float:
    return quantity(typed.get(name, ""), table, where=str(label), usual=usual)


# Each test: what is asked, and how the desk is asked


def _time_asks(seat: Seat) -> tuple[Ask, ...]:
    return (
        _pocket(seat), Ask(name="ran", label=_l("A start ran"), hint=_l("As 26:04 or 1564.2 s."), is_needed=True),
        Ask(name="pieces", label=_l("Pieces put in"), kind="number", hint=_l("The least that start it, if left out.")),
        Ask(name="topped_ran", label=_l("A start with a top-up ran"), hint=OPTIONAL),
        Ask(name="topped_pieces", label=_l("All pieces of that run together"), kind="number", hint=OPTIONAL),
        Ask(name="input", label=_l("The input the coins went into"), hint=_l("Needed where a control has several.")),
    )  # fmt: skip


def _time(seat: Seat, typed: Typed, how: How, _file: bytes) -> Proven:
    pocket, slot = typed.get("pocket", ""), typed.get("input", "")
    pieces = int(ask.number_of(typed.get("pieces", ""), _("Pieces put in")) or 0)
    runs = [Timing(pocket=pocket, ran_s=watch_s(typed["ran"], where=str(_("A start ran"))), pieces=pieces, input=slot)]
    if typed.get("topped_ran"):
        ran = watch_s(typed["topped_ran"], where=str(_("A start with a top-up ran")))
        more = int(_number(typed, "topped_pieces", _("All pieces of that run together")))
        runs.append(Timing(pocket=pocket, ran_s=ran, pieces=more, input=slot, is_top_up=True))
    return desk.time_sold(site.book(), seat.store, runs, how, watch=Stopwatch())


def _heat_asks(seat: Seat) -> tuple[Ask, ...]:
    heats = tuple((f"{h.number}", h.name) for h in layout_at(site.book(), seat.store, site.now()).store.heats)
    return (
        _pocket(seat), Ask(name="heat", label=_l("Heat"), kind="choice", options=heats),
        Ask(name="file", label=_l("The log as a CSV file"), kind="file", hint=_l("Two columns: time and exhaust temperature. Or type it below.")),
        Ask(name="log", label=_l("Or typed: a time and a temperature on each line"), kind="long", hint=_l("Such as 0:15, 41.5")),
        Ask(name="scale", label=_l("Scale of the log"), kind="choice", options=(("C", "°C"), ("F", "°F"))),
        _give("1 C"),
        Ask(name="set_means", label=_l("What the set temperature means, by the control's manual"), kind="choice", options=(("", _l("not said")), ("middle", _l("the middle of the cycle")), ("cut-out", _l("where the heat goes off")))),
    )  # fmt: skip


def _heat(seat: Seat, typed: Typed, how: How, file: bytes) -> Proven:
    raw = file or typed.get("log", "").encode()
    if not raw:
        raise InputError(_("No log was given: choose a file, or type it."))
    give = _amount(typed, "give", TEMPERATURE_STEP, _("Give or take of the instrument"), "1 C")
    log = log_of(str(_("The log")), raw, scale="F" if typed.get("scale") == "F" else "C", plus_minus_c=give)
    means: Any = typed.get("set_means") if typed.get("set_means") in ("middle", "cut-out") else None
    heat = int(_number(typed, "heat", _("Heat")))
    return desk.heat_run(site.book(), seat.store, typed.get("pocket", ""), heat, log, how, set_means=means)


def _gas_asks(seat: Seat) -> tuple[Ask, ...]:
    return (
        _pocket(seat), Ask(name="dial", label=_l("Gas in one turn of the test dial"), hint=_l("Such as 1 ft3 or 10 L."), is_needed=True),
        Ask(name="turns", label=_l("Whole turns counted"), kind="number", is_needed=True),
        Ask(name="seconds", label=_l("Time for all the turns"), hint=_l("As 1:35 or 95."), is_needed=True),
        Ask(name="others_off", label=_l("Everything else on this meter was off"), kind="check"),
        Ask(name="heat_content", label=_l("Heat content, from the bill"), hint=_l("Such as 1038 Btu/ft3 or 38.6 MJ/m3. May be left out.")),
        Ask(name="pressure", label=_l("Pressure at the meter"), hint=_l("Such as 7 inwc or 20 mbar. May be left out.")),
    )  # fmt: skip


def _gas(seat: Seat, typed: Typed, how: How, _file: bytes) -> Proven:
    pocket = typed.get("pocket", "")
    heat = _amount(typed, "heat_content", HEAT_CONTENT, _("Heat content, from the bill"), "1038 Btu/ft3") if typed.get("heat_content") else None  # fmt: skip
    gauge = _amount(typed, "pressure", PRESSURE, _("Pressure at the meter"), "7 inwc") if typed.get("pressure") else None  # fmt: skip
    supply = desk.gas_of(layout_at(site.book(), seat.store, how.when), pocket, heat_j_m3=heat, gauge_pa=gauge)
    clocking = Clocking(
        dial_m3=_amount(typed, "dial", VOLUME, _("Gas in one turn of the test dial"), "1 ft3"), turns=_number(typed, "turns", _("Whole turns counted")),
        seconds=watch_s(typed["seconds"], where=str(_("Time for all the turns"))), others_off=typed.get("others_off") == "1",
    )  # fmt: skip
    return desk.gas_input(site.book(), seat.store, pocket, clocking, how, supply)


def _air_asks(seat: Seat) -> tuple[Ask, ...]:
    return (
        Ask(name="face", label=_l("Area of the opening"), hint=_l("Such as 400 in2 or 0.25 m2."), is_needed=True),
        Ask(name="cover", label=_l("What covers it"), kind="choice", options=(("metal", _l("a metal louvre")), ("wood", _l("a wooden louvre")), ("open", _l("nothing")))),
        Ask(name="free", label=_l("The louvre's own free share"), hint=_l("Such as 60 %. May be left out.")), _give("5 in2"),
    )  # fmt: skip


def _air(seat: Seat, typed: Typed, how: How, _file: bytes) -> Proven:
    cover: Any = typed.get("cover") if typed.get("cover") in ("metal", "wood", "open") else "metal"
    free = fraction(typed["free"], where=str(_("The louvre's own free share"))) if typed.get("free") else None
    opening = Opening(
        face_m2=_amount(typed, "face", AREA, _("Area of the opening"), "400 in2"), cover=cover, free_frac=free,
        plus_minus_m2=_amount(typed, "give", AREA, _("Give or take of the instrument"), "5 in2"),
    )  # fmt: skip
    return desk.make_up_air(site.book(), seat.store, opening, how)


def _duct_asks(seat: Seat) -> tuple[Ask, ...]:
    bends = (("smooth 90", _l("Smooth bends of 90°")), ("smooth 45", _l("Smooth bends of 45°")), ("mitred 90", _l("Mitred bends of 90°")), ("mitred 45", _l("Mitred bends of 45°")))  # fmt: skip
    return (
        _pocket(seat), Ask(name="flow", label=_l("Exhaust flow"), hint=_l("Such as 450 cfm or 760 m3/h."), is_needed=True), _give("20 cfm"),
        Ask(name="width", label=_l("Diameter, or width of a rectangular duct"), hint=_l("Such as 8 in or 20 cm."), is_needed=True),
        Ask(name="height", label=_l("Height of a rectangular duct"), hint=OPTIONAL),
        Ask(name="length", label=_l("Straight length"), hint=_l("Such as 30 ft or 9 m."), is_needed=True),
        *(Ask(name=key, label=words, kind="number", value="0") for key, words in bends),
    )  # fmt: skip


def _duct(seat: Seat, typed: Typed, how: How, _file: bytes) -> Proven:
    elbows: list[Any] = []
    for bend in ("smooth 90", "smooth 45", "mitred 90", "mitred 45"):
        number = int(ask.number_of(typed.get(bend, ""), bend) or 0)
        if not 0 <= number <= 30:
            raise InputError(_("A duct has 0 to 30 bends of a kind."))
        elbows += [bend] * number
    duct = Duct(
        width_m=_amount(typed, "width", LENGTH, _("Diameter, or width of a rectangular duct"), "8 in"), elbows=tuple(elbows),
        height_m=_amount(typed, "height", LENGTH, _("Height of a rectangular duct"), "8 in") if typed.get("height") else 0.0,
        length_m=_amount(typed, "length", LENGTH, _("Straight length"), "30 ft"),
    )  # fmt: skip
    return desk.exhaust_duct(
        site.book(), seat.store, typed.get("pocket", ""), _measured(typed, "flow", FLOW, "m³/s"), duct, how
    )


def _measured(typed: Typed, name: str, table: dict[str, float], unit: str) -> Measured:
    label, usual = {"m³/s": (_("Exhaust flow"), "450 cfm"), "Pa": (_("Static pressure at the collar"), "0.3 inwc")}[
        unit
    ]
    return Measured(
        value=_amount(typed, name, table, label, usual), unit=unit, instrument="traverse" if unit == "m³/s" else "gauge",
        plus_minus=_amount(typed, "give", table, _("Give or take of the instrument"), usual),
    )  # fmt: skip


def _pressure_asks(seat: Seat) -> tuple[Ask, ...]:
    wanted = Ask(
        name="reading", label=_l("Static pressure at the collar"), hint=_l("Such as 0.3 inwc or 75 Pa."), is_needed=True
    )
    return (_pocket(seat), wanted, _give("5 Pa"))


def _pressure(seat: Seat, typed: Typed, how: How, _file: bytes) -> Proven:
    return desk.back_pressure(
        site.book(), seat.store, typed.get("pocket", ""), _measured(typed, "reading", PRESSURE, "Pa"), how
    )


def _flow_asks(seat: Seat) -> tuple[Ask, ...]:
    wanted = Ask(name="reading", label=_l("Exhaust flow"), hint=_l("Such as 450 cfm or 760 m3/h."), is_needed=True)
    return (_pocket(seat), wanted, _give("20 cfm"))


def _flow(seat: Seat, typed: Typed, how: How, _file: bytes) -> Proven:
    return desk.exhaust_flow(
        site.book(), seat.store, typed.get("pocket", ""), _measured(typed, "reading", FLOW, "m³/s"), how
    )


def _volts_asks(seat: Seat) -> tuple[Ask, ...]:
    wanted = Ask(
        name="volts", label=_l("Volts"), hint=_l("Once, or three times between phases, with spaces."), is_needed=True
    )
    return (_pocket(seat), wanted, Ask(name="give", label=_l("Give or take of the meter, V"), kind="number", value="1"))


def _volts(seat: Seat, typed: Typed, how: How, _file: bytes) -> Proven:
    give = _number(typed, "give", _("Give or take of the meter, V"))
    values = [ask.number_of(word, _("Volts")) or 0.0 for word in typed["volts"].split()[:3]]
    readings = [Measured(value=v, unit="V", plus_minus=give, instrument="voltmeter") for v in values]
    return desk.supply_voltage(site.book(), seat.store, typed.get("pocket", ""), readings, how)


def _amps_asks(seat: Seat) -> tuple[Ask, ...]:
    return (
        _pocket(seat), Ask(name="amps", label=_l("Amperes"), kind="number", is_needed=True),
        Ask(name="plate", label=_l("Amperes on the motor's plate"), kind="number", is_needed=True),
        Ask(name="give", label=_l("Give or take of the meter, A"), kind="number", value="0.1"),
        Ask(name="licensed", label=_l("A licensed person measured it"), kind="check"),
    )  # fmt: skip


def _amps(seat: Seat, typed: Typed, how: How, _file: bytes) -> Proven:
    reading = Measured(
        value=_number(typed, "amps", _("Amperes")), unit="A", plus_minus=_number(typed, "give", _("Give or take of the meter, A")),
        instrument="clamp meter",
    )  # fmt: skip
    plate = _number(typed, "plate", _("Amperes on the motor's plate"))
    return desk.motor_current(
        site.book(),
        seat.store,
        typed.get("pocket", ""),
        reading,
        how,
        plate_a=plate,
        is_licensed=typed.get("licensed") == "1",
    )


def _scale_asks(seat: Seat) -> tuple[Ask, ...]:
    from drybank.desk.pages_rounds import coins_taken

    coins = tuple((f"{w}", words) for w, words in coins_taken(site.book(), seat.store, site.now()))
    return (
        Ask(name="reference", label=_l("A known mass"), hint=_l("Such as 2 kg."), is_needed=True), _give("0.1 g"),
        Ask(name="shown", label=_l("The scale showed"), hint=_l("Such as 2001 g."), is_needed=True),
        Ask(name="step", label=_l("The scale's step"), value="1 g"),
        Ask(name="coin", label=_l("Reckon its error in which coin?"), kind="choice", options=coins),
    )  # fmt: skip


def _scale(seat: Seat, typed: Typed, how: How, _file: bytes) -> Proven:
    coin = typed.get("coin", "")
    given = desk.ScaleSaid(
        reference_g=_amount(typed, "reference", MASS_G, _("A known mass"), "2 kg"), shown_g=_amount(typed, "shown", MASS_G, _("The scale showed"), "2001 g"),
        reference_plus_minus_g=_amount(typed, "give", MASS_G, _("Give or take of the instrument"), "0.1 g"),
        step_g=_amount(typed, "step", MASS_G, _("The scale's step"), "1 g"), coin_minor=int(coin) if coin.isdigit() else 0,
    )  # fmt: skip
    return desk.scale_check(site.book(), seat.store, given, how)


def _sign_asks(seat: Seat) -> tuple[Ask, ...]:
    banks = tuple((b.key, b.name) for b in layout_at(site.book(), seat.store, site.now()).store.banks)
    return (
        Ask(name="bank", label=_l("Bank"), kind="choice", options=banks),
        Ask(name="start", label=_l("Lines of a start"), kind="long", hint=_l("One a line, such as 1.00=26 min")),
        Ask(name="more", label=_l("Lines of a top-up"), kind="long", hint=_l("One a line, such as 0.25=6 min 30 s")),
        Ask(name="coins", label=_l("Coins that the sign says start a dryer"), kind="number", value="0", hint=_l("0 if it does not say.")),
        Ask(name="refund_how", label=_l("How it says money is returned"), hint=OPTIONAL), Ask(name="refund_name", label=_l("By whom"), hint=OPTIONAL),
        Ask(name="refund_address", label=_l("Where"), hint=OPTIONAL), Ask(name="refund_phone", label=_l("By what telephone"), hint=OPTIONAL),
        Ask(name="attended", label=_l("Staff on site settle refunds"), kind="check"),
    )  # fmt: skip


def _sign(seat: Seat, typed: Typed, how: How, _file: bytes) -> Proven:
    currency = layout_at(site.book(), seat.store, how.when).store.currency
    lines = [desk.posted_line(t, currency, "start") for t in typed.get("start", "").splitlines() if t.strip()]
    lines += [desk.posted_line(t, currency, "top-up") for t in typed.get("more", "").splitlines() if t.strip()]
    if not lines:
        raise InputError(_("No line of the sign was given."))
    posted = PostedSign(
        lines=tuple(lines), starts_with=int(_number(typed, "coins", _("Coins that the sign says start a dryer"))),
        is_attended=typed.get("attended") == "1", **{k: typed.get(k, "") for k in ("refund_how", "refund_name", "refund_address", "refund_phone")},
    )  # fmt: skip
    return desk.price_sign(site.book(), seat.store, typed.get("bank", ""), posted, how)


KINDS: dict[str, Kind] = {
    "time": Kind(_l("Time sold, by the stop-watch"), "time", "s", _time_asks, _time),
    "heat": Kind(_l("Exhaust temperature"), "heat", "°C", _heat_asks, _heat),
    "gas": Kind(_l("Gas input, by the meter"), "gas", "W", _gas_asks, _gas),
    "make-up": Kind(_l("Make-up air"), "air", "m²", _air_asks, _air),
    "duct": Kind(_l("Exhaust duct"), "air", "", _duct_asks, _duct),
    "pressure": Kind(_l("Pressure at the exhaust collar"), "air", "", _pressure_asks, _pressure),
    "flow": Kind(_l("Exhaust flow"), "air", "m³/s", _flow_asks, _flow),
    "volts": Kind(_l("Supply voltage"), "power", "V", _volts_asks, _volts),
    "amps": Kind(_l("Motor current"), "power", "", _amps_asks, _amps),
    "scale": Kind(_l("A coin scale"), "coins", "g", _scale_asks, _scale),
    "sign": Kind(_l("The price sign on the wall"), "sign", "", _sign_asks, _sign),
}
