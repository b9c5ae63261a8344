"""What goes to the phone: enough for the round, nothing that was expected; the look-alike guard asks and does not tell."""

import hashlib
import json
from datetime import timedelta

import msgspec
import pytest

from drybank.desk.demo import last_day, make_demo
from drybank.desk.phone_guard import LENGTH, SPICES, STRETCH, digest, guard_of
from drybank.desk.phone_round import phone_round
from drybank.desk.second_look import doubts, plausible
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at
from drybank.records.entry import DeviceValue

STORE = "saddle"
FLOOR = {"reading", "setting change", "service", "proof", "note", "claim", "refund", "watch"}
COLLECTOR = {"reading", "collection", "count", "hand-over", "note"}


@pytest.fixture(scope="module")
def town(tmp_path_factory):
    from datetime import UTC, datetime, time

    from drybank.book import open_book

    path = tmp_path_factory.mktemp("round") / "town.book"
    make_demo(path)
    moment = datetime.combine(last_day() + timedelta(days=3), time(20), UTC)
    with open_book(path) as book:
        yield book, Pen(by="tess", clock=lambda: moment)


def passes(guard, value):
    """What the phone asks, written here apart from its own code."""
    salt = bytes.fromhex(guard.salt)
    return any(
        hashlib.pbkdf2_hmac("sha256", f"{value // guard.width}:{s}".encode(), salt, guard.stretch, 6).hex() in guard.digests
        for s in range(guard.spices)
    )  # fmt: skip


def numbers_in(made):
    """Every whole number in a JSON text, whatever its name."""
    out, todo = set(), [made]
    while todo:
        one = todo.pop()
        if isinstance(one, dict):
            todo += one.values()
        elif isinstance(one, list):
            todo += one
        elif isinstance(one, int) and not isinstance(one, bool):
            out.add(one)
    return out


class TestTheGuard:
    def test_lets_every_plausible_reading_pass_and_asks_about_one_far_off(self):
        guard = guard_of(48_213, 48_650, 100_000)
        assert all(passes(guard, v) for v in (48_213, 48_400, 48_650))
        assert not any(passes(guard, v) for v in (84_213, 48_913, 42_813, 0))

    def test_goes_on_past_the_roll_over(self):
        guard = guard_of(99_950, 100_060, 100_000)
        assert all(passes(guard, v) for v in (99_960, 5, 55))
        assert not passes(guard, 5_000)

    def test_has_one_length_and_a_width_of_the_device_not_of_the_range(self):
        narrow, wide = guard_of(48_213, 48_250, 100_000), guard_of(48_213, 48_490, 100_000)
        assert len(narrow.digests) == len(wide.digests) == LENGTH
        assert narrow.width == wide.width

    def test_is_salted_anew_each_time(self):
        first, second = guard_of(500, 600, 100_000), guard_of(500, 600, 100_000)
        assert first.salt != second.salt
        assert not set(first.digests) & set(second.digests)

    def test_says_nothing_of_a_device_whose_range_is_nearly_everything(self):
        assert guard_of(10, 60_000, 100_000) is None

    def test_asking_is_dearer_than_making_by_the_number_of_spices(self):
        """The cost of a wrong guess: every spice tried, each `STRETCH` rounds."""
        assert SPICES * STRETCH >= 250_000
        salt = b"salt"
        assert digest(7, 1, salt) != digest(7, 2, salt)

    def test_a_wider_range_takes_wider_buckets_and_no_longer_list(self):
        guard = guard_of(40_000, 44_000, 100_000)
        assert guard.width > 100_000 // 10_000
        assert len(guard.digests) == LENGTH
        assert all(passes(guard, v) for v in (40_000, 42_000, 44_000))


class TestTheRound:
    def test_goes_through_the_store_in_walking_order(self, town):
        book, pen = town
        made = phone_round(book, STORE, pen, kinds=COLLECTOR)
        laid = layout_at(book, STORE, pen.clock())
        assert [s.machine for s in made.stops] == [m.key for m in sorted(laid.machines.values(), key=lambda m: m.place)]
        assert {d.key for s in made.stops for d in s.devices} == {*laid.meters, *laid.counters}
        assert {b.key for s in made.stops for b in s.boxes} == set(laid.boxes)

    def test_what_a_reading_may_be_is_nowhere_in_what_a_collector_gets(self, town):
        book, pen = town
        made = phone_round(book, STORE, pen, kinds=COLLECTOR)
        laid = layout_at(book, STORE, pen.clock())
        spans = plausible(book, laid, [*laid.meters, *laid.counters], (pen.clock(), pen.clock() + timedelta(hours=36)))
        last = {
            v.shown
            for t in book.story(STORE, kinds=("reading",)) for v in t.body.values if v.shown is not None and v.shown > 200
        }  # fmt: skip
        assert len(spans) > 10
        there = numbers_in(json.loads(msgspec.json.encode(made)))
        assert not there & {end for span in spans.values() for end in span}
        assert not there & last

    def test_a_collector_gets_no_settings_no_jobs_and_no_findings(self, town):
        book, pen = town
        made = phone_round(book, STORE, pen, kinds=COLLECTOR)
        assert all(not s.sheets and not s.look_at and not s.controls for s in made.stops)
        assert made.days == ()

    def test_the_guard_on_the_phone_agrees_with_the_second_look_at_the_desk(self, town):
        """What nobody would ask about at the desk passes on the phone; what the phone asks about, the desk asks too."""
        book, pen = town
        made = phone_round(book, STORE, pen, kinds=COLLECTOR)
        laid, when = layout_at(book, STORE, pen.clock()), pen.clock()
        spans = plausible(book, laid, [*laid.meters, *laid.counters], (when, when + timedelta(hours=36)))
        for device in [d for s in made.stops for d in s.devices if d.guard][:6]:
            low, high = spans[device.key]
            size = device.rolls_over_at
            for shown in (low % size, (low + high) // 2 % size, (high + 2 * (high - low) + device.guard.width) % size):
                asked = bool(doubts(book, laid, [DeviceValue(device=device.key, shown=shown)], when))
                if not asked:
                    assert passes(device.guard, shown)
                if not passes(device.guard, shown):
                    assert asked

    def test_a_technician_gets_settings_with_what_to_set_and_cautions_first(self, town):
        book, pen = town
        made = phone_round(book, STORE, pen, kinds=FLOOR)
        stop = made.stops[0]
        assert stop.cautions_on
        assert stop.cautions_off
        assert {c.en for c in stop.cautions_on} != {c.es for c in stop.cautions_on}
        laid = layout_at(book, STORE, pen.clock())
        assert [len(c.lines) for c in stop.controls] == [
            len(laid.sheets[laid.controls[c.key].sheet].settings) for c in stop.controls
        ]
        assert any(s.sheets for s in made.stops)

    def test_a_typed_figure_becomes_the_sheets_own_number(self, town):
        """Held against the desk's own reading of the same words."""
        from drybank.control import parse
        from drybank.control.grid import held

        book, pen = town
        for store in book.stores():
            laid = layout_at(book, store, pen.clock())
            made = phone_round(book, store, pen, kinds={"setting change"})
            for control in (c for s in made.stops for c in s.controls):
                lines = {line.key: line for line in laid.sheets[control.sheet].settings}
                for line in control.lines:
                    one = lines[line.key]
                    if line.choices or "hour" in one.purpose:
                        continue
                    grid = next(g for g in one.grids if (g.lowest, g.highest) == (line.lowest, line.highest))
                    for value in held(grid)[1::7]:
                        typed = value * line.den / line.num
                        words = f"{typed:g} {line.unit}".strip()
                        scale = grid.unit if grid.unit in ("°C", "°F") else ""
                        assert parse(one, words, scale=scale, currency=laid.store.currency) == value, (
                            control.sheet,
                            line.key,
                        )
