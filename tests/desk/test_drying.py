"""One load at the desk: the pocket as the book knows it, bands, changes, the chart; the trial kept as a proof."""

import json

import msgspec
import numpy as np
import pytest

from drybank.desk.drying import dry_alone, dry_in_store
from drybank.desk.drying_ask import as_said, ask_from, units_said
from drybank.desk.drying_changes import Ask
from drybank.desk.drying_chart import chart_of, energy_words, lines_of, picture
from drybank.desk.drying_drum import drum_of
from drybank.desk.drying_trial import (
    EvidenceTexts,
    TrialTexts,
    store_evidence,
    towel_trial,
    trial_card,
)
from drybank.desk.standing import layout_at
from drybank.drying.calibrate import predicted
from drybank.records.entry import Proved
from drybank.records.errors import InputError, Missing, NotIdentified
from drybank.records.store import Units
from drybank.records.units import CFM_M3_S, POUND_KG
from tests.desk.conftest import STORE

KEYS = (
    "minutes_to_dry", "gas_to_dry_j", "electricity_to_dry_j", "gas_sold_j", "load_temp_after_cool_down_k",
    "water_removed_kg", "energy_residual_frac", "water_residual_frac",
)  # fmt: skip
US = Units(temperature="F", mass="lb", gas="therm")
ASK = Ask(mass_kg=18 * POUND_KG, residual_frac=0.6, temp_exhaust_c=82.0, sold_s=2160.0)


@pytest.fixture
def pocket(book, pen):
    return next(iter(layout_at(book, STORE, pen.clock()).pockets))


@pytest.fixture(scope="module")
def told():
    return dry_alone(msgspec.structs.replace(ASK, gas_minor_kwh=3.8, power_minor_kwh=14.0, currency="USD"), US)


def test_machine_form_holds_every_figure_and_a_band_for_each_that_assumptions_move(told):
    data = msgspec.json.decode(msgspec.json.encode(told, enc_hook=lambda a: a.tolist()))
    assert set(KEYS) <= set(data)
    for key in KEYS[:6]:
        assert data["bands"][key]["low"] <= data[key] <= data["bands"][key]["high"]
        assert data["bands"][key]["kind"] == "assumption"
    assert data["is_calibrated"] is False


def test_the_first_words_are_cautions_and_none_promises_safety(told):
    text = " ".join(told.cautions).lower()
    assert "whole cool-down" in text
    assert "least certain" in text
    page = lines_of(told)
    shown = " ".join([page.answer, page.next_step, *page.notes, *(" ".join(f) for f in page.figures)]).lower()
    assert " safe" not in shown + text


def test_changes_tell_heat_extraction_load_and_airflow_and_never_sell_less_air(told):
    said = {c.what: c for c in told.changes}
    assert any("heat" in w for w in said)
    assert any("washer" in w for w in said)
    assert any("load" in w for w in said)
    choked = next(c for w, c in said.items() if "choking" in w)
    assert choked.fuel_frac is None
    assert choked.cost_minor is None
    assert "Never a saving" in choked.says
    assert next(c for w, c in said.items() if "washer" in w).minutes < 0


def test_cost_follows_from_the_prices(told):
    expected = (told.gas_to_dry_j * 3.8 + told.electricity_to_dry_j * 14.0) / 3.6e6
    assert told.cost_to_dry_minor == pytest.approx(expected)
    assert told.cost_to_dry_band_minor.low < expected < told.cost_to_dry_band_minor.high


def test_without_a_price_the_cost_is_not_known():
    assert dry_alone(ASK, US).cost_to_dry_minor is None


def test_cool_down_floor_leaves_a_minute_more_for_a_large_load():
    small = dry_alone(msgspec.structs.replace(ASK, mass_kg=3.0, temp_exhaust_c=60.0), US)
    large = dry_alone(msgspec.structs.replace(ASK, mass_kg=11.0, temp_exhaust_c=60.0), US)
    assert large.cool_down_at_least_s > small.cool_down_at_least_s + 30


def test_a_pocket_of_a_store_is_its_plate_its_tariffs_and_a_list_of_what_was_assumed(book, pen, pocket):
    told = dry_in_store(book, STORE, pocket, Ask(sold_s=1800.0), pen.clock())
    laid = layout_at(book, STORE, pen.clock())
    names = {a.name for a in told.assumptions}
    assert "fabric contact" in names
    assert told.temp_exhaust_c == pytest.approx(74.0)  # heat 1 of its house settings
    assert told.cool_down_s == 180.0
    assert told.cost_to_dry_minor is not None
    assert told.currency == laid.store.currency
    assert told.units == laid.store.units


def test_unknown_pocket_is_refused_with_the_pockets_there_are(book, pen):
    with pytest.raises(Missing, match="Pockets:"):
        dry_in_store(book, STORE, "no such", Ask(), pen.clock())


class TestChart:
    def test_spec_is_pure_and_says_its_message_in_title_and_description(self, told):
        spec = chart_of(told)
        assert json.loads(json.dumps(spec)) == spec
        assert spec["title"]["text"].startswith("Dry after about")
        assert spec["title"]["text"] in spec["description"]
        assert chart_of(told) == spec

    def test_lines_end_labelled_and_labels_do_not_meet(self, told):
        for panel in chart_of(told)["vconcat"]:
            ends = panel["layer"][1]["data"]["values"]
            heights = sorted(e["at"] for e in ends)
            values = [r["value"] for r in panel["layer"][0]["data"]["values"]]
            gap = (max(values) - min(values)) * 16 / panel["height"]
            assert all(d >= 0.99 * gap for d in np.diff(heights))

    def test_temperatures_are_in_the_persons_scale(self, told):
        in_c = chart_of(msgspec.structs.replace(told, units=Units()))
        f = [r["value"] for r in chart_of(told)["vconcat"][0]["layer"][0]["data"]["values"]]
        c = [r["value"] for r in in_c["vconcat"][0]["layer"][0]["data"]["values"]]
        assert f[0] == pytest.approx(c[0] * 1.8 + 32, abs=0.05)

    def test_svg_and_png_are_drawn(self, told):
        svg, png = picture(told, "svg"), picture(told, "png")
        assert svg.startswith(b"<svg")
        assert b"Dry after about" in svg
        assert png.startswith(b"\x89PNG")


class TestWords:
    def test_units_are_read_and_shown_as_written(self):
        ask = ask_from(
            {"--load": "18 lb", "--left": "60 %", "--at": "180 F", "--sold": "36 min", "--gas-price": "1.12/therm"}
        )
        assert ask.mass_kg == pytest.approx(8.1647, abs=1e-3)
        assert ask.temp_exhaust_c == pytest.approx(82.222, abs=1e-3)
        assert ask.sold_s == 2160.0
        assert ask.gas_minor_kwh == pytest.approx(112 / 29.3071, rel=1e-5)
        assert ask.currency == "USD"
        assert units_said({"--load": "18 lb", "--at": "180 F"}) == US
        assert units_said({"--load": "8 kg"}).temperature == "C"

    @pytest.mark.parametrize(
        "words",
        [
            {"--load": "8"},
            {"--at": "82"},
            {"--gas-price": "1.12"},
            {"--fuel": "coal"},
            {"--fire": "big"},
            {"--kind": "x"},
        ],
    )
    def test_what_cannot_be_read_is_refused_with_its_option(self, words):
        with pytest.raises(InputError) as wrong:
            ask_from(words)
        assert wrong.value.where == next(iter(words))

    def test_a_figure_beyond_the_model_is_something_that_was_given(self):
        with pytest.raises(InputError, match="Heat setting"), as_said():
            dry_alone(msgspec.structs.replace(ASK, temp_exhaust_c=150.0), US)

    def test_unknown_energy_is_not_known(self):
        assert energy_words(None, "therm") == "not known"
        assert energy_words(105505585.262, "therm") == "1 therm"


class TestTrial:
    """A trial told in words: the readings are those of an invented true pocket, so that the fit must find it."""

    def _texts(self, book, pen, pocket):
        """Words of a trial at a pocket that truly has 20 % less contact and 10 % less air than its plate and defaults say."""
        from drybank.desk.proof import gas_of
        from drybank.drying import Air, Heat
        from drybank.records.drying import NearEmptyRun, TowelRun, TowelTrial

        laid = layout_at(book, STORE, pen.clock())
        drum, _ = drum_of(book, laid, pocket, pen.clock())
        truth = msgspec.structs.replace(
            drum, contact_w_k=0.8 * drum.contact_w_k, flow_exhaust_m3_s=0.9 * drum.flow_exhaust_m3_s
        )
        runs = tuple(
            TowelRun(dry_kg=m, wet_kg=1.6 * m, run_s=s, after_kg=1.3 * m, exhaust_3_min_c=40.0, exhaust_end_c=40.0)
            for m, s in ((4.0, 360.0), (8.0, 660.0))
        )
        near = NearEmptyRun(towel_kg=0.5, exhaust_mean_c=70.0, fuel_w=8000.0)
        air = Air(temp_c=21.0, humidity_frac=0.45, altitude_m=laid.store.altitude_m)
        trial = TowelTrial(air=air, heat=Heat(temp_exhaust_c=74.0, cool_down_s=0.0), clocked_w=truth.heat_input_w, near_empty=near, towels=runs)  # fmt: skip
        got = list(predicted(truth, trial))
        supply = gas_of(laid, pocket)
        per_m3 = supply.correction * supply.heat_j_m3
        seconds = 0.5 * per_m3 / got.pop(0)
        mean, watts = got.pop(0), got.pop(0)
        towels = []
        for run in runs:
            left, at3, end = got.pop(0), got.pop(0), got.pop(0)
            towels.append(
                f"dry={run.dry_kg} kg, wet={run.wet_kg} kg, ran={run.run_s:.0f} s, after={run.dry_kg + left:.4f} kg, "
                f"at3={at3:.2f} C, end={end:.2f} C"
            )
        texts = TrialTexts(
            clock=f"dial=0.5 m3, ran={seconds:.2f} s", towels=tuple(towels), heat="74 C", air="21 C", humidity="45 %",
            near_empty=f"towel=0.5 kg, exhaust={mean:.3f} C, fuel={watts * 400 / per_m3:.6f} m3, span=400 s",
        )  # fmt: skip
        return truth, texts

    def test_trial_in_words_finds_the_pocket_is_kept_and_used_from_then_on(self, book, pen, pocket):
        truth, texts = self._texts(book, pen, pocket)
        before = dry_in_store(book, STORE, pocket, Ask(), pen.clock())
        done = towel_trial(book, STORE, pocket, texts, pen)
        found = {f.name: f.value for f in done.trial.figures}
        assert found["contact_w_k"] == pytest.approx(truth.contact_w_k, rel=0.01)
        assert found["flow_exhaust_m3_s"] == pytest.approx(truth.flow_exhaust_m3_s, rel=0.01)
        kept = book.find(done.entry).entry.body
        assert isinstance(kept, Proved)
        assert kept.test == "towel trial"
        assert kept.verdict == "no tolerance"
        after = dry_in_store(book, STORE, pocket, Ask(), pen.clock())
        assert after.is_calibrated
        assert after.minutes_to_dry > before.minutes_to_dry
        assert after.sampling["minutes_to_dry"].kind == "sampling"
        assert {name for name, _, _ in after.shares} == {"spread of items", "cotton share"}
        assert "fabric contact" not in {a.name for a in after.assumptions}
        assert (
            drum_of(book, layout_at(book, STORE, pen.clock()), pocket, pen.clock())[0].contact_w_k
            == found["contact_w_k"]
        )

    def test_nothing_is_kept_when_not_wanted_or_refused(self, book, pen, pocket):
        _, texts = self._texts(book, pen, pocket)
        assert towel_trial(book, STORE, pocket, texts, pen, is_kept=False).entry == ""
        with pytest.raises(NotIdentified):
            towel_trial(book, STORE, pocket, TrialTexts(clock=texts.clock, heat="74 C"), pen)
        assert not book.story(STORE, kinds=("proof",))

    @pytest.mark.parametrize(
        ("field", "text", "says"),
        [
            ("clock", "dial=10 ft3", "ran is missing"),
            ("clock", "dial=10 ft3, ran=8:02, colour=red", "not part of it"),
            ("near_empty", "towel=1 lb, exhaust=170 F, fuel=2 lb, span=6:00", "not a unit"),
            ("near_empty", "towel", "no value"),
        ],
    )
    def test_mistakes_in_the_words_name_their_option(self, book, pen, pocket, field, text, says):
        with pytest.raises(InputError, match=says):
            towel_trial(book, STORE, pocket, TrialTexts(heat="74 C", **{field: text}), pen)

    def test_card_opens_with_cautions_and_leaves_blanks_to_write(self, book, pen, pocket):
        card = trial_card(book, STORE, pocket, pen.clock())
        assert "customers" in card.cautions[0] or "Shop closed" in card.cautions[0]
        assert any("maker's manual" in c for c in card.cautions)
        assert all(s.writes for s in card.steps)
        assert any("1 m³ dial" in s.says for s in card.steps)  # the store reads its gas in m³
        assert any("still wet" in s.says for s in card.steps)


def test_store_figures_narrow_the_band_and_are_kept(book, pen, pocket):
    usual = dry_in_store(book, STORE, pocket, Ask(), pen.clock())
    texts = EvidenceTexts(
        watched=tuple(
            f"load={m} kg, left=60 %, dry={60 * s:.0f} s"
            for m, s in ((3.0, 18.0), (4.0, 21.0), (5.0, 24.5), (6.0, 27.0), (7.0, 30.0))
        )
    )
    done = store_evidence(book, STORE, pocket, texts, pen)
    assert done.evidence.narrowed_frac > 0.0
    assert done.evidence.minutes[0] < done.evidence.minutes[1] < done.evidence.minutes[2]
    assert book.find(done.entry).entry.body.test == "store evidence"
    assert dry_in_store(book, STORE, pocket, Ask(), pen.clock()).is_calibrated
    assert usual.is_calibrated is False
    assert CFM_M3_S > 0


def test_need_table_is_built_once_and_a_damaged_file_is_built_over(tmp_path, monkeypatch):
    from drybank.desk import drying_needs
    from drybank.drying import NeedAxes, Pocket

    axes = NeedAxes(air_c=(22.0, 22.0), humidity_frac=(0.5, 0.5), points=(6, 4, 1, 1))
    first = drying_needs.kept_needs(Pocket(), [75.0], axes, tmp_path)
    built = []
    monkeypatch.setattr(drying_needs, "build_needs", lambda *a, **k: built.append(a) or first)
    again = drying_needs.kept_needs(Pocket(), [75.0], axes, tmp_path)
    assert np.array_equal(again.values, first.values)
    assert not built
    path = next(tmp_path.glob("needs-*.bin"))
    path.write_bytes(path.read_bytes()[:-3])
    drying_needs.kept_needs(Pocket(), [75.0], axes, tmp_path)
    assert built
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


def test_working_says_what_went_in_and_how_it_is_known(told):
    known = {i.name: i.how for i in told.working.inputs}
    assert known["load"] == "given"
    assert known["airflow"] == "assumed"
    assert known["fabric contact"] == "assumed"


def test_cool_down_lies_inside_or_after_the_sold_time_as_the_sheet_says(book, pen, pocket):
    """The control of this pocket keeps its cool-down inside the sold time."""
    told = dry_in_store(book, STORE, pocket, Ask(sold_s=1500.0), pen.clock())
    assert told.trace.time_s[-1] == pytest.approx(1500.0)
