"""What a setting can hold, what is next to it, and a person's words for it."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import line, seconds

from drybank.control import from_base, grid_of, held, holds, nearest, parse, settable, show, to_base
from drybank.records.errors import InputError
from drybank.records.sheet import TICKS, Grid

MONEY = line("price", "start price", Grid(unit="25 minor", lowest=0, highest=8, zero_means="free"))
TENTHS = line("clock", "first time", seconds("0.1 min", 10, 600, 5))
QUARTERS = line("dial", "time per piece", Grid(unit="quarter min", values=(12, 16, 24)), input="slot")
SECONDS = line("coin", "time per piece", seconds("s", 0, 900, 20), input="slot")
CELSIUS = line("warm", "temperature", Grid(unit="°C", lowest=45, highest=75, increment=3), heat=1)
BOTH = line(
    "hot",
    "temperature",
    Grid(unit="°F", lowest=120, highest=170, increment=5),
    Grid(unit="°C", lowest=45, highest=75),
    heat=1,
)
WORD = line("door", "door rule", Grid(unit="choice", lowest=0, highest=1), choices=("clock runs", "clock stops"))
HOUR = line("from", "free from hour", Grid(unit="h", lowest=0, highest=23))
PIECES = line("need", "start pieces", Grid(unit="pieces", lowest=1, highest=8))

GRIDS = st.one_of(
    st.builds(
        lambda unit, low, many, step, zero: Grid(
            unit=unit, lowest=low, highest=low + many * step, increment=step, zero_means="off" if zero else ""
        ),
        st.sampled_from(sorted(TICKS)), st.integers(0, 200), st.integers(0, 60), st.integers(1, 12), st.booleans(),
    ),
    st.builds(
        lambda unit, values: Grid(unit=unit, values=tuple(values)),
        st.sampled_from(sorted(TICKS)), st.lists(st.integers(0, 300), min_size=1, max_size=9, unique=True),
    ),
)  # fmt: skip


@settings(max_examples=120, deadline=None)
@given(GRIDS, st.integers(-50, 60_000))
def test_nearest_are_the_nearest_of_all_settable_ones(grid, wanted):
    """Against a plain walk over every settable value."""
    all_of = settable(grid)
    below = max((v for v in all_of if v <= wanted), default=None)
    above = min((v for v in all_of if v >= wanted), default=None)
    assert nearest(grid, wanted) == (below, above)


@settings(max_examples=120, deadline=None)
@given(GRIDS, st.integers(-5, 1000))
def test_held_and_holds_say_one_thing_and_base_values_come_back(grid, value):
    assert holds(grid, value) == (value in held(grid))
    if holds(grid, value):
        assert from_base(grid, to_base(grid, value)) == value
    assert from_base(grid, to_base(grid, value)) in (value, None)


@pytest.mark.parametrize(
    ("of", "value", "says"),
    [
        (TENTHS, 65, "6.5 min"), (TENTHS, 60, "6 min"), (SECONDS, 200, "3 min 20 s"), (QUARTERS, 13, "3 min 15 s"),
        (CELSIUS, 75, "75 °C"), (MONEY, 0, "free"), (MONEY, 3, "0.75 CAD"), (WORD, 1, "clock stops"), (HOUR, 7, "07:00"),
        (PIECES, 1, "1 piece"), (PIECES, 3, "3 pieces"),
    ],
)  # fmt: skip
def test_shows_in_words_with_its_unit(of, value, says):
    assert show(of, value, currency="CAD") == says


@pytest.mark.parametrize(
    ("of", "text", "value"),
    [
        (TENTHS, "6.5 min", 65), (TENTHS, "6,5 min", 65), (TENTHS, "6:30", 65), (TENTHS, "390 s", 65), (TENTHS, " 6 min 30 s ", 65),
        (TENTHS, "6.5", 65), (TENTHS, "0.5 h", 300), (SECONDS, "3 min 20 s", 200), (SECONDS, "200", 200), (CELSIUS, "75 C", 75),
        (CELSIUS, "75°C", 75), (CELSIUS, "75", 75), (MONEY, "1.00", 4), (MONEY, "$1", 4), (MONEY, "75 c", 3), (MONEY, "1.25 CAD", 5),
        (MONEY, "free", 0), (WORD, "Clock Stops", 1), (HOUR, "07:00", 7), (HOUR, "7", 7), (PIECES, "3 coins", 3), (PIECES, "3", 3),
    ],
)  # fmt: skip
def test_reads_what_a_person_writes(of, text, value):
    assert parse(of, text, currency="CAD") == value


@pytest.mark.parametrize(
    ("of", "text", "says"),
    [
        (TENTHS, "6.2 min", "Nearest: 6 min or 6.5 min"),
        (TENTHS, "2 h", "Nearest: 60 min"),
        (TENTHS, "75 C", "not a length of time"),
        (QUARTERS, "5 min", "Nearest: 4 min or 6 min"),
        (CELSIUS, "74", "Nearest: 72 °C or 75 °C"),
        (CELSIUS, "6 min", "not a temperature"),
        (MONEY, "1.10", "Nearest: 1.00 CAD or 1.25 CAD"),
        (MONEY, "1.00 USD", "not in CAD"),
        (MONEY, "six", "not an amount"),
        (WORD, "ajar", "clock runs, clock stops"),
        (PIECES, "9", "Nearest: 8 pieces"),
        (PIECES, "1.5", "not a whole number of pieces"),
        (HOUR, "07:30", "Nearest: 07:00 or 08:00"),
        (TENTHS, "", "not a length of time"),
        (TENTHS, "9" * 400, "not a length of time"),
    ],
)
def test_refuses_with_the_nearest_or_with_how_to_write_it(of, text, says):
    with pytest.raises(InputError) as caught:
        parse(of, text, currency="CAD")
    assert says in caught.value.sentence()


class TestScales:
    @pytest.mark.facts
    @pytest.mark.parametrize(("f", "c"), [((120, 170), (45, 75)), ((110, 150), (39, 63))])
    def test_two_stated_ranges_of_one_heat_are_no_conversion(self, f, c):
        """120-170 °F beside 45-75 °C, 110-150 °F beside 39-63 °C: each as stated (common practice, no source)."""
        both = line(
            "hot", "temperature", Grid(unit="°F", lowest=f[0], highest=f[1]), Grid(unit="°C", lowest=c[0], highest=c[1]), heat=1
        )  # fmt: skip
        for scale, ends in (("°F", f), ("°C", c)):
            assert settable(grid_of(both, scale))[:: len(settable(grid_of(both, scale))) - 1] == ends
        equal = Fraction(f[1] - 32) * Fraction(5, 9)
        assert abs(equal - c[1]) > 1  # the top of one is not the top of the other

    def test_the_wrong_scale_is_refused_with_the_nearest_settable_in_the_right_one(self):
        """165 °F is 73.9 °C: 72 and 75 can be set."""
        with pytest.raises(InputError) as caught:
            parse(CELSIUS, "165 F")
        assert "Nearest in °C: 72 °C or 75 °C" in caught.value.sentence()

    def test_a_line_with_two_scales_wants_to_know_which(self):
        with pytest.raises(InputError, match="Say which scale"):
            parse(BOTH, "150")
        assert parse(BOTH, "150", "F") == 150
        assert parse(BOTH, "66 C", "°C") == 66

    def test_a_scale_that_is_not_stated_is_refused(self):
        with pytest.raises(InputError, match="cannot be set in °F"):
            grid_of(CELSIUS, "F")


@settings(max_examples=120, deadline=None)
@given(st.sampled_from([MONEY, TENTHS, QUARTERS, SECONDS, CELSIUS, WORD, HOUR, PIECES]), st.text(max_size=30))
def test_any_text_gives_a_settable_value_or_a_plain_refusal(of, text):
    try:
        value = parse(of, text, currency="CAD")
    except InputError:
        return
    assert holds(of.grids[0], value)


@settings(max_examples=120, deadline=None)
@given(st.sampled_from([MONEY, TENTHS, QUARTERS, SECONDS, CELSIUS, WORD, HOUR, PIECES]), st.data())
def test_what_is_shown_can_be_read_back(of, data):
    value = data.draw(st.sampled_from(held(of.grids[0])))
    assert parse(of, show(of, value, currency="CAD"), currency="CAD") == value
