"""The round's cards: merged, in walking order, lock-out where a machine is opened and nowhere with power on."""

import re
from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from drybank.records.finding import Finding
from drybank.records.store import Machine
from drybank.records.upkeep import Outage
from drybank.upkeep import START_LIST, Place, in_steps, lock_out_steps, round_cards, schedule, stops

TODAY = date(2026, 5, 4)
MACHINES = (
    Machine(key="m2", bank="n", sheet="alder", pockets=("3", "4"), place=2),
    Machine(key="m1", bank="n", sheet="alder", pockets=("1", "2"), place=1),
)
WALK = stops(MACHINES, {"1": True, "2": True, "3": False, "4": False})


def _places(done=None, **more):
    done = {} if done is None else done
    pockets = [Place(key=k, scope="pocket", last_done=done, has_gas=k in "12", **more) for k in "1234"]
    machines = [Place(key=k, scope="machine", last_done=done, has_gas=k == "m1") for k in ("m1", "m2")]
    return [*pockets, *machines, Place(key="store", scope="store", last_done=done)]


def _cards(places=None, findings=()):
    due = schedule(places or _places(), START_LIST, today=TODAY, findings=findings)
    return round_cards(due, WALK, visit=TODAY, until=TODAY + timedelta(weeks=4), findings=findings)


def _words(sheet):
    texts = [
        *sheet.cautions,
        *sheet.before,
        *sheet.after,
        *(s for line in sheet.lines for s in (line.name, *line.steps)),
    ]
    return " ".join(texts).lower()


def test_room_first_then_machines_in_walking_order_one_card_each():
    assert [c.machine for c in _cards()] == ["", "m1", "m2"]


def test_the_same_task_at_two_pockets_is_one_line_with_both_minutes():
    card = _cards()[1]
    belt = next(line for s in card.sheets for line in s.lines if line.task == "belt")
    assert belt.pockets == ("1", "2")
    assert belt.minutes == 30
    assert belt.parts == ("2 × drive belt",)
    assert belt.source == "common practice, no source"
    assert card.minutes == sum(line.minutes for s in card.sheets for line in s.lines)


def test_a_sheet_that_opens_a_gas_dryer_isolates_both_sources_for_qualified_persons():
    off = next(s for s in _cards()[1].sheets if s.power == "off")
    words = _words(off)
    assert any("qualified person" in caution.lower() for caution in off.cautions)
    assert "gas cock" in words
    assert "disconnect" in words
    assert "lock" in words
    assert any("leak" in step for step in off.after)


def test_what_can_be_done_either_way_joins_the_work_with_the_power_off():
    first = _cards()[1].sheets
    assert [s.power for s in first] == ["off", "on"]
    assert any(line.task == "lint-screen" for line in first[0].lines)
    done = {t.key: TODAY for t in START_LIST if t.power == "off"}
    assert [s.power for s in _cards(_places(done))[1].sheets] == ["either", "on"]


def test_every_sheet_of_a_gas_dryer_says_first_what_to_do_at_a_smell_of_gas_or_scorching():
    for card in _cards()[1:]:
        for sheet in card.sheets:
            assert ("smell gas" in sheet.cautions[0].lower()) == (card.machine == "m1")
            assert any("scorched" in caution for caution in sheet.cautions[:2])


def test_pockets_are_named_as_people_count():
    assert sorted(["10", "2", "C10", "1", "C2"], key=in_steps) == ["1", "2", "10", "C2", "C10"]


def test_no_step_of_a_task_asks_for_a_program_on_paper():
    assert not any("drybank" in step for task in START_LIST for step in task.steps)


def test_an_electric_machine_has_no_gas_step():
    off = next(s for s in _cards()[2].sheets if s.power == "off")
    assert "gas" not in " ".join(off.before).lower()
    assert "disconnect" in " ".join(off.before).lower()


def test_buttons_are_said_not_to_isolate():
    """29 CFR 1910.147(b), read: push buttons and selectors are not energy isolating devices."""
    assert any("not isolating devices" in s for s in lock_out_steps(has_gas=True))


@settings(deadline=None, max_examples=40)
@given(st.dictionaries(st.sampled_from([t.key for t in START_LIST]), st.integers(0, 800), max_size=14))
def test_no_sheet_that_needs_power_ever_says_lock_out(days):
    done = {key: TODAY - timedelta(days=d) for key, d in days.items()}
    for card in _cards(_places(done)):
        for sheet in card.sheets:
            powers = {t.power for line in sheet.lines for t in START_LIST if t.key == line.task}
            assert powers <= {sheet.power, "either"} if sheet.power == "off" else powers == {sheet.power}
            opens = any(t.opens_machine for line in sheet.lines for t in START_LIST if t.key == line.task)
            assert bool(sheet.before) == opens
            if sheet.power == "on":
                assert not sheet.before
                assert not re.search(r"\block|\btag|isolat|disconnect|gas cock", _words(sheet))


def test_findings_stand_on_the_card_of_their_machine_and_strangers_on_the_rooms():
    here = Finding(key="upkeep/lint/3", room="upkeep", name="lint", where="3", says="", weight="danger")
    else_where = Finding(key="balance/cash/box", room="balance", name="cash", where="box 9", says="", weight="money")
    cards = _cards(findings=(here, else_where))
    assert cards[0].look_at == (else_where,)
    assert next(c for c in cards if c.machine == "m2").look_at == (here,)


def test_out_of_service_pockets_are_named_and_not_worked():
    places = _places(outages=(Outage(first=TODAY - timedelta(days=2)),))
    card = next(c for c in _cards(places) if c.machine == "m1")
    assert card.out_of_service == ("1", "2")
    assert all(line.task in ("lint-inside", "duct") for s in card.sheets for line in s.lines)


def test_nothing_due_is_no_card():
    done = {t.key: TODAY for t in START_LIST}
    due = [d for d in schedule(_places(done), START_LIST, today=TODAY) if d.task.key != "lint-screen"]
    cards = round_cards(due, WALK, visit=TODAY, until=TODAY + timedelta(days=7))
    assert cards == ()
