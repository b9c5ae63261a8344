"""Field tests at the desk, on the demo town's own stores: settings from the book, verdict, entry, findings."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from drybank.book import open_book
from drybank.book.files import read_settings
from drybank.desk import proof as desk
from drybank.desk.demo_town import files
from drybank.desk.files import load
from drybank.desk.houses import adopt, propose
from drybank.desk.stamp import Pen
from drybank.proof import Clocking, Duct, HeatLog, Opening, PostedLine, PostedSign
from drybank.records.entry import Proved
from drybank.records.errors import InputError, Missing
from drybank.records.money import Money
from drybank.records.proof import Measured
from drybank.records.units import BTU_J, CUBIC_FOOT_M3, INCH_M, c_from_f

NOW = datetime(2026, 5, 4, 18, 0, tzinfo=UTC)
BEGIN = datetime(2023, 1, 1, 12, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def town(tmp_path_factory):
    """A book with the three stores and their house settings, nothing else."""
    path = tmp_path_factory.mktemp("town") / "town.book"
    pen = Pen(by="tess", clock=lambda: NOW)
    texts = files()
    with open_book(str(path), create=True, clock=lambda: NOW) as book:
        named = [
            (n, t.encode()) for n, t in texts.items() if t.split('drybank = "', 1)[-1].startswith(("store", "sheet"))
        ]
        load(book, named, pen, from_date=date(2023, 1, 1))
        for name, text in texts.items():
            if 'drybank = "settings' in text:
                read = read_settings(text.encode(), name)
                for house in read.banks:
                    adopt(
                        book,
                        propose(book, read.store, house.bank, pen, house=house.values, from_date=date(2023, 1, 2)),
                        pen,
                    )
        yield book


@pytest.fixture
def how():
    return desk.How(pen=Pen(by="tess", clock=lambda: NOW), happened=NOW, minutes=6, shop_open=True)


def test_a_timed_start_is_held_against_what_the_settings_sell_and_kept(town, how):
    """Gallery of High Saddle: 1.00 gives 26 min by its house settings."""
    pocket = town.store_at("saddle", NOW).machines[0].pockets[0]
    timing = desk.Timing(pocket=pocket, ran_s=26 * 60 + 2, pieces=4, input="near")
    done = desk.time_sold(town, "saddle", [timing], how)
    assert done.result.verdict == "pass"
    assert done.result.judgements[0].nominal == 26 * 60
    assert any(a.taken == "the house settings" for a in done.result.assumed)
    kept = town.find(done.entry).entry.body
    assert isinstance(kept, Proved)
    assert (kept.verdict, kept.minutes_taken, kept.is_shop_open) == ("pass", 6, True)
    assert "from memory" in kept.tolerance


def test_short_minutes_are_a_finding_and_nothing_is_kept_when_asked(town, how):
    import msgspec

    pocket = town.store_at("saddle", NOW).machines[0].pockets[0]
    timing = desk.Timing(pocket=pocket, ran_s=25 * 60, pieces=4, input="near")
    before = town.tip("saddle")
    done = desk.time_sold(town, "saddle", [timing], msgspec.structs.replace(how, is_kept=False))
    assert done.entry == ""
    assert town.tip("saddle") == before
    assert [f.weight for f in done.findings] == ["money"]


def test_a_us_rule_does_not_judge_a_canadian_store_but_the_owners_does(town, how):
    import msgspec

    timing = desk.Timing(pocket="1", ran_s=19 * 60, pieces=1, input="far")
    assert desk.time_sold(town, "lantern", [timing], how).result.verdict == "no tolerance"
    own = desk.own_tolerance("below=5, above=10%, source=our own rule", "s")
    judged = desk.time_sold(town, "lantern", [timing], msgspec.structs.replace(how, tolerance=own))
    assert judged.result.verdict == "fail"
    assert judged.result.judgements[0].tolerance.known == "entered by the owner"


def test_heat_is_read_in_the_controls_own_scale_and_held_against_its_symbol(town, how):
    pocket = town.store_at("saddle", NOW).machines[0].pockets[0]
    log = HeatLog(seconds=tuple(range(0, 600, 15)), temps_c=(c_from_f(169),) * 40, plus_minus_c=0.5)
    done = desk.heat_run(town, "saddle", pocket, 1, log, how)
    assert done.result.judgements[0].tolerance.name.startswith("tumble dry, two dots")
    assert done.result.figure("offset from the setting").value == pytest.approx(1 / 1.8, abs=0.01)
    body = town.find(done.entry).entry.body
    assert body.measured["set"] == pytest.approx(c_from_f(168))


def test_gas_at_height_on_propane_takes_the_stores_own_air_and_rule(town, how):
    store = town.store_at("saddle", NOW)
    pocket = next(p for p in store.pockets if p.plate.fuel == "propane" and p.plate.input_w)
    plan = desk.gas_plan(town, "saddle", pocket.key, CUBIC_FOOT_M3, how)
    assert plan.seconds > 30
    clocking = Clocking(dial_m3=CUBIC_FOOT_M3, turns=plan.turns, seconds=plan.seconds, others_off=True)
    done = desk.gas_input(town, "saddle", pocket.key, clocking, how)
    assert done.result.judgements[0].nominal == pytest.approx(
        pocket.plate.input_w * (1 if pocket.plate.is_derated else 1 - 0.04 * store.altitude_m / 304.8)
    )


def test_make_up_air_counts_every_gas_dryer_of_the_room(town, how):
    store = town.store_at("saddle", NOW)
    total = sum(p.plate.input_w for p in store.pockets if p.plate.fuel != "electric")
    done = desk.make_up_air(town, "saddle", Opening(face_m2=10 * INCH_M**2), how)
    assert done.result.verdict == "fail"
    assert done.result.figure("free opening needed").value / INCH_M**2 == pytest.approx(total / (BTU_J / 3600) / 1000)


def test_duct_and_pressure_take_the_plates_limit(town, how):
    flow = Measured(value=0.22, unit="m³/s", plus_minus=0.01, instrument="pitot tube")
    done = desk.exhaust_duct(town, "lantern", "1", flow, Duct(width_m=0.2, length_m=6), how)
    assert done.result.judgements[0].high == 150
    gauge = Measured(value=180, unit="Pa", plus_minus=5, instrument="gauge")
    assert desk.back_pressure(town, "lantern", "1", gauge, how).findings[0].weight == "danger"
    kept = town.find(desk.back_pressure(town, "lantern", "1", gauge, how).entry).entry.body.measured
    assert kept["static pressure at the collar"] == 180  # upkeep follows lint by this name
    assert kept["static pressure at the collar, give or take"] == 5
    assert desk.exhaust_flow(town, "lantern", "1", flow, how).result.verdict == "no tolerance"


def test_voltage_by_the_plate_and_refusals_name_what_is_missing(town, how):
    volt = Measured(value=12, unit="V", plus_minus=1, instrument="voltmeter")
    with pytest.raises(InputError, match="12 V is not the supply"):
        desk.supply_voltage(town, "lantern", "1", [volt], how)
    with pytest.raises(Missing, match="Pockets:"):
        desk.back_pressure(town, "lantern", "99", volt, how)
    amp = Measured(value=4, unit="A", plus_minus=0.1)
    with pytest.raises(InputError, match="licensed"):
        desk.motor_current(town, "lantern", "1", amp, how, plate_a=5, is_licensed=False)


class TestSign:
    def _sign(self, seconds, **more):
        return PostedSign(lines=(PostedLine(money=Money(100, "USD"), seconds=seconds),), refund_how="call", refund_name="T",
                          refund_address="1 Saddle Road", refund_phone="555-0163", **more)  # fmt: skip

    def test_a_true_sign_holds_and_a_wrong_minute_does_not(self, town, how):
        assert desk.price_sign(town, "saddle", "gallery", self._sign(26 * 60), how).result.verdict == "pass"
        wrong = desk.price_sign(town, "saddle", "gallery", self._sign(28 * 60), how)
        assert wrong.result.verdict == "fail"
        assert "customer is short" in wrong.result.judgements[0].because

    def test_top_up_lines_are_held_too(self, town, how):
        lines = (PostedLine(money=Money(25, "USD"), seconds=390, kind="top-up"),)
        sign = PostedSign(lines=lines, is_attended=True)
        assert desk.price_sign(town, "saddle", "gallery", sign, how).result.verdict == "pass"


class TestGasOfTheStore:
    def test_the_store_files_heat_content_is_used_and_air_presses_by_height(self):
        """Said: 39.2 MJ/m3; at 1,960 m the standard atmosphere has 79.9 kPa (US Standard Atmosphere 1976; recomputed)."""
        import msgspec

        from drybank.control import layout
        from drybank.energy import NaturalGas

        store, sheets = _lantern()
        gas = NaturalGas(heat_content_mj_m3=Decimal("39.2"), source="the bill")
        high = msgspec.structs.replace(store, natural_gas=gas, altitude_m=1960.0)
        got = desk.gas_of(layout(high, sheets), "1")
        assert (got.heat_j_m3, got.heat_source) == (39.2e6, "the bill")
        assert got.barometer_pa == pytest.approx(79_900, abs=200)


def _lantern():
    from importlib import resources

    from drybank.book.files import read_sheet, read_store

    town = resources.files("drybank.desk") / "demo_town"
    sheets = {
        s.key: s for s in (read_sheet((town / f"{n}.toml").read_text("utf-8"), n) for n in ("alder", "birch", "cedar"))
    }
    return read_store((town / "lantern_row.toml").read_text("utf-8")), sheets


class TestTolerance:
    def test_limits_in_units_and_percent(self):
        rule = desk.own_tolerance("below=5, above=10%, source=manual p. 3, where=Ohio", "s")
        assert rule.limits(600) == (595, pytest.approx(660))
        assert rule.jurisdiction == "Ohio"

    @pytest.mark.parametrize(
        ("text", "slip"),
        [("below=5", "source"), ("source=x", "at least one limit"), ("below", "no value"), ("low=5, source=x", "not part"),
         ("below=five, source=x", "not a limit")],
    )  # fmt: skip
    def test_refuses_half_a_tolerance(self, text, slip):
        with pytest.raises(InputError, match=slip):
            desk.own_tolerance(text, "s")
