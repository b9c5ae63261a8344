"""Field tests sent from a phone: judged when they arrive, by the settings that stood, and known again when sent twice."""

from datetime import UTC, datetime, time, timedelta

import pytest

from drybank.desk import change_day, proof
from drybank.desk.demo import last_day, make_demo
from drybank.desk.intake import receive
from drybank.desk.phone_proof import is_bare, judged
from drybank.desk.stamp import Pen, new_id
from drybank.desk.standing import layout_at
from drybank.proof import as_entry
from drybank.records.entry import BoxesEmptied, HandedOver, Pieces, PiecesCounted, Proved, SettingChanged, SettingValue

STORE = "saddle"
MOMENT = datetime.combine(last_day() + timedelta(days=3), time(20), UTC)
KINDS = frozenset({"proof", "setting change", "reading"})


@pytest.fixture(scope="module")
def town(tmp_path_factory):
    from drybank.book import open_book

    path = tmp_path_factory.mktemp("proofs") / "town.book"
    make_demo(path)
    with open_book(path) as book:
        yield book, Pen(by="tess", origin="phone", clock=lambda: MOMENT)


def bare(test, at, measured, **more):
    return Proved(test=test, at=at, measured=measured, verdict="cannot tell", instrument="stop-watch", **more)


def sent(body, happened=MOMENT):
    import msgspec

    made = {"id": new_id(), "happened": happened.isoformat(), "body": msgspec.to_builtins(body)}
    return made | {"body": {"kind": body.__struct_config__.tag, **made["body"]}}


class TestJudging:
    def test_a_timed_start_is_judged_as_the_terminal_judges_it(self, town):
        book, pen = town
        body = bare("time sold", "1", {"pieces": 4.0, "ran s": 1500.0, "input": "1.near", "timed": "start"}, unit="s")
        made, says = judged(book, pen.entry(STORE, body))
        timing = proof.Timing(pocket="1", ran_s=1500.0, pieces=4, input="1.near")
        there = proof.time_sold(book, STORE, [timing], proof.How(pen=pen, is_kept=False, happened=MOMENT))
        assert made.body.verdict == there.result.verdict
        assert made.body.tolerance == as_entry(there.result, at="1").tolerance
        assert made.body.measured["ran s"] == 1500.0
        assert says == there.result.says

    def test_a_logged_heat_in_fahrenheit_is_judged_in_the_desks_degrees(self, town):
        """212 °F is 100 °C by definition of the scales: the highest reading must come out as that."""
        book, pen = town
        readings = [
            70,
            110,
            150,
            180,
            200,
            212,
            205,
            196,
            204,
            210,
            203,
            197,
            205,
            211,
            204,
            196,
            205,
            210,
            203,
            197,
        ] * 2
        measured = {f"at {15 * i} s": float(v) for i, v in enumerate(readings)} | {"heat": 1.0, "give or take": 1.8}
        made, _says = judged(book, pen.entry(STORE, bare("exhaust temperature", "1", measured, unit="°F")))
        assert made.body.verdict in ("pass", "fail", "no tolerance", "cannot tell")
        assert any(
            abs(v - 100.0) < 0.05
            for k, v in made.body.measured.items()
            if isinstance(v, float) and not k.startswith("at ")
        )
        assert made.body.measured["at 75 s"] == 212.0

    def test_what_cannot_be_judged_is_kept_as_measured(self, town):
        book, pen = town
        entry = pen.entry(
            STORE, bare("exhaust temperature", "1", {"at 0 s": 60.0, "heat": 1.0, "give or take": 1.0}, unit="°C")
        )
        made, says = judged(book, entry)
        assert made == entry
        assert "kept as measured" in says

    def test_a_test_with_a_verdict_of_its_own_is_left_alone(self):
        assert not is_bare(bare("lint", "1", {"seen": "none"}))
        assert not is_bare(Proved(test="time sold", at="1", measured={"ran s": 1.0}, verdict="fail", tolerance="own"))


class TestArriving:
    def test_sent_twice_it_is_booked_once_and_judged_once(self, town):
        book, pen = town
        raw = sent(bare("time sold", "2", {"pieces": 4, "ran s": 1499.5, "input": "2.near", "timed": "start"}))
        before = book.head(STORE)[0]
        first, second = receive(book, STORE, [raw], pen, kinds=KINDS), receive(book, STORE, [raw], pen, kinds=KINDS)
        assert [a.said for a in (*first, *second)] == ["stored", "already"]
        assert first[0].note
        assert book.head(STORE)[0] == before + 1

    def test_the_same_id_with_another_figure_is_refused(self, town):
        book, pen = town
        raw = sent(bare("time sold", "2", {"pieces": 4, "ran s": 1400.0, "input": "2.near", "timed": "start"}))
        receive(book, STORE, [raw], pen, kinds=KINDS)
        raw["body"]["measured"]["ran s"] = 1600.0
        assert receive(book, STORE, [raw], pen, kinds=KINDS)[0].said == "refused"

    def test_a_coin_test_sent_with_the_setting_before_it_is_judged_by_that_setting(self, town):
        """A change day without signal: setting and coin test arrive together. The expected time is the new one."""
        book, pen = town
        change_day.begin(book, STORE, "stable", pen, texts=["cool-down time=4 min"])
        day = change_day.status(book, STORE, "stable", MOMENT).day
        control = layout_at(book, STORE, MOMENT).controls["5"]
        sheet = layout_at(book, STORE, MOMENT).sheets[control.sheet]
        held = book.settings_at(STORE, MOMENT)["5"]
        per = next(s for s in sheet.settings if s.purpose == "time per piece" and s.key in held)
        from drybank.control.grid import held as values_of

        settable = values_of(per.grids[0])
        old = change_day._expected_s(book, layout_at(book, STORE, MOMENT), "5.mouth", 8, MOMENT)
        change = SettingChanged(
            control="5",
            bank="stable",
            left=(SettingValue(setting=per.key, value=settable[settable.index(held[per.key]) + 1]),),
        )
        test = bare("coin test", "5.mouth", {"pieces": 8, "seconds": float(old), "change day": day}, unit="s")
        answers = receive(book, STORE, [sent(change), sent(test)], pen, kinds=KINDS)
        assert [a.said for a in answers] == ["stored", "stored"]
        booked = book.find(answers[1].id).entry.body
        assert booked.measured["expected_s"] > old
        assert booked.verdict == "fail"


class TestWeighing:
    KINDS = frozenset({"count"})

    def test_a_bag_of_quarters_is_counted_by_its_weight_on_arrival(self, town):
        """A quarter dollar weighs 5.67 g (US Mint, coin specifications, known from memory): 1000 new ones weigh 5670 g.

        The desk's own weighing takes wear off, so the number lies a little above; within 1 % of 1000.
        """
        book, pen = town
        body = PiecesCounted(bag="W1", pieces=(Pieces(piece_minor=25, count=0),), method="weight", weight_g=5670.0)
        raw = sent(body)
        first = receive(book, STORE, [raw], pen, kinds=self.KINDS)
        again = receive(book, STORE, [raw], pen, kinds=self.KINDS)
        assert [first[0].said, again[0].said] == ["stored", "already"]
        (pieces,) = book.find(raw["id"]).entry.body.pieces
        assert 1000 <= pieces.count <= 1010
        assert "give or take" in first[0].note

    def test_the_same_id_with_another_weight_is_refused(self, town):
        book, pen = town
        raw = sent(PiecesCounted(bag="W2", pieces=(Pieces(piece_minor=25, count=0),), method="weight", weight_g=567.0))
        receive(book, STORE, [raw], pen, kinds=self.KINDS)
        raw["body"]["weight_g"] = 600.0
        assert receive(book, STORE, [raw], pen, kinds=self.KINDS)[0].said == "refused"


class TestOneBagForARound:
    def test_box_after_box_goes_into_one_bag_until_it_is_handed_over(self, town):
        book, pen = town
        kinds = frozenset({"collection", "hand-over"})

        def emptied(box, minutes):
            return sent(BoxesEmptied(boxes=(box,), bag="Q1"), MOMENT + timedelta(minutes=minutes))

        first = receive(book, STORE, [emptied("box 1", -30), emptied("box 2", -20)], pen, kinds=kinds)
        assert [a.said for a in first] == ["stored", "stored"]
        over = sent(HandedOver(bag="Q1", to="Tobin", seal_number="7"), MOMENT - timedelta(minutes=10))
        after = receive(book, STORE, [over, emptied("box 3", -5)], pen, kinds=kinds)
        assert [a.said for a in after] == ["stored", "refused"]
        assert "still on its way" in after[1].why

    def test_a_bag_begun_three_days_ago_is_another_round(self, town):
        book, pen = town
        kinds = frozenset({"collection"})
        old = sent(BoxesEmptied(boxes=("box 1",), bag="Q2"), MOMENT - timedelta(days=3))
        new = sent(BoxesEmptied(boxes=("box 2",), bag="Q2"), MOMENT)
        assert [a.said for a in receive(book, STORE, [old, new], pen, kinds=kinds)] == ["stored", "refused"]
