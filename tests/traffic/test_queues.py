"""The general kernel, fed plain queues, against queueing theory.

Formulas: Erlang B by its recursion and Erlang C from it; Pollaczek and Khinchine for one server with any
service time (all from memory, checked here against printed values). Simulated means must lie within three of
their own standard errors over independent replications; nothing is pinned.
"""

from __future__ import annotations

import numpy as np
import pytest
from tests.facts.report import note
from tests.traffic.cases import plain_setting, pocket_queue, washer_queue

from drybank.traffic import Settings, Spread, Work, simulate_counts
from drybank.traffic.places import SECOND

HALF_HOUR_S = 1800.0


def erlang_b(servers: int, load_erl: float) -> float:
    """Chance that all servers are busy and a caller is lost."""
    blocked = 1.0
    for n in range(1, servers + 1):
        blocked = load_erl * blocked / (n + load_erl * blocked)
    return blocked


def erlang_c(servers: int, load_erl: float) -> float:
    """Chance that a caller has to wait."""
    blocked, idle = erlang_b(servers, load_erl), 1 - load_erl / servers
    return blocked / (idle + (1 - idle) * blocked)


def wait_one_server_s(load: float, mean_s: float, second_moment_s2: float) -> float:
    """Mean wait before one server, any service time (Pollaczek, Khinchine)."""
    return load / mean_s * second_moment_s2 / (2 * (1 - load))


def mean_and_error(each):
    return each.mean(), each.std(ddof=1) / np.sqrt(len(each))


def washer_waits(store, *, weeks=30, replications=24, seed=11):
    """Mean wait [s] and share that waited, one a replication, after two weeks to settle."""
    counts = simulate_counts(
        store, Settings(banks=(plain_setting(),)), Work(weeks=weeks, replications=replications, seed=seed, warm_weeks=2)
    )
    waits = counts.column("washer_waits")
    return counts, counts.column("washer_wait_ticks") / waits / SECOND


def within_three_errors(each, theory, topic, source, how):
    mean, error = mean_and_error(each)
    note(topic, source, how, f"{theory:.5g}", f"{mean:.5g}", f"{(mean - theory) / error:+.2f} standard errors")
    assert abs(mean - theory) < 3 * error


@pytest.mark.facts
class TestFormulasThemselves:
    """Printed values, so that the yardstick is not ours alone."""

    @pytest.mark.parametrize(("servers", "load", "chance"), [(25, 20, 0.20910), (5, 3, 0.23615), (10, 7, 0.22173)])
    def test_erlang_c_gives_the_tabled_chances(self, servers, load, chance):
        """Tabled from the formula by an independent computation (C); agrees to the digits given."""
        assert erlang_c(servers, load) == pytest.approx(chance, abs=5e-6)

    def test_two_figures_in_circulation_are_wrong(self):
        """A public test file asserts C(25, 20) = 0.261 and B(200, 180) = 0.012 (read there): both off."""
        assert abs(erlang_c(25, 20) - 0.261) > 0.05
        assert abs(erlang_b(200, 180) - 0.012) > 0.001

    @pytest.mark.parametrize(
        ("servers", "load", "lost"),
        [(196, 180, 0.016), (200, 180, 0.01032), (201, 180, 0.00916), (30, 25, 0.0526)],
    )
    def test_erlang_b_gives_the_worked_figures(self, servers, load, lost):
        """A solved exercise and a demo text (R2), agreement to half of the last digit."""
        assert erlang_b(servers, load) == pytest.approx(lost, abs=5e-4 if lost in (0.016, 0.0526) else 5e-6)

    @pytest.mark.parametrize(
        ("servers", "load", "half_digit"),
        [(1, 0.0101, 5e-5), (2, 0.153, 5e-4), (3, 0.455, 5e-4), (4, 0.869, 5e-4), (5, 1.36, 5e-3),
         (10, 4.46, 5e-3), (15, 8.11, 5e-3), (20, 12.0, 5e-2)],
    )  # fmt: skip
    def test_erlang_b_gives_one_percent_at_the_tabled_loads(self, servers, load, half_digit):
        """Standard one-percent tables (M): the load at 1 % rounds to the printed one."""
        assert erlang_b(servers, load - half_digit) <= 0.01 <= erlang_b(servers, load + half_digit)


@pytest.mark.facts
class TestManyMachinesOneLine:
    @pytest.mark.parametrize(("servers", "load"), [(5, 3.0), (10, 7.0), (25, 20.0)])
    def test_washer_line_waits_as_erlang_c_says(self, servers, load):
        """Exponential washes of 30 min, mean wait and share that waits."""
        store = washer_queue(rate_hour=2 * load, servers=servers, service=Spread("exponential", (HALF_HOUR_S,)))
        counts, mean_s = washer_waits(store)
        chance = erlang_c(servers, load)
        theory_s = chance * HALF_HOUR_S / (servers - load)
        within_three_errors(mean_s, theory_s, f"wait, {servers} washers, {load:g} erl [s]", "Erlang C", "C")
        had_to = 1 - counts.waits[0, :, 0].sum() / counts.waits[0].sum()
        assert had_to == pytest.approx(chance, abs=3 * chance * (mean_and_error(mean_s)[1] / theory_s))

    @pytest.mark.parametrize(("servers", "load"), [(5, 3.0), (10, 7.0), (25, 20.0)])
    def test_pocket_line_waits_as_erlang_c_says(self, servers, load):
        """Bought times are exponential with a mean of 20,000 s, rounded up to 1 s (half a second in 20,000)."""
        need_s = 20_000.0
        store = pocket_queue(rate_hour=load * 3600 / need_s, servers=servers, belief=Spread("exponential", (1.0,)))
        counts = simulate_counts(
            store, Settings(banks=(plain_setting(need_s),)), Work(weeks=200, replications=24, seed=5, warm_weeks=20)
        )
        each = counts.column("pocket_wait_ticks") / counts.column("pocket_waits") / SECOND
        theory_s = erlang_c(servers, load) * need_s / (servers - load)
        within_three_errors(each, theory_s, f"wait, {servers} pockets, {load:g} erl [s]", "Erlang C", "C")

    def test_two_servers_hold_three_quarters_of_a_customer(self):
        """Two servers, 20 an hour, 30 an hour each: L = 3/4 (a textbook example, R2). L by Little's law."""
        store = washer_queue(rate_hour=20.0, servers=2, service=Spread("exponential", (120.0,)))
        _, mean_s = washer_waits(store)
        within_three_errors(20.0 * (mean_s + 120.0) / 3600, 0.75, "customers at two servers", "textbook", "R2")


@pytest.mark.facts
class TestLostWhenAllAreBusy:
    @pytest.mark.parametrize(("servers", "load"), [(5, 1.36), (30, 25.0)])
    @pytest.mark.parametrize("service", [Spread("exponential", (1800.0,)), Spread("constant", (1800.0,))])
    def test_share_lost_is_erlang_b_for_any_service_time(self, servers, load, service):
        """Nobody waits; the share turned away depends on the mean service alone."""
        store = washer_queue(rate_hour=2 * load, servers=servers, service=service, line_max=0.0)
        counts, _ = washer_waits(store)
        each = counts.column("lost_washer_line") / counts.column("customers")
        topic = f"lost, {servers} machines, {load:g} erl, {service.kind}"
        within_three_errors(each, erlang_b(servers, load), topic, "Erlang B", "C")


@pytest.mark.facts
class TestOneMachine:
    def test_exponential_service_holds_four_customers(self):
        """24 an hour at 30 an hour: L = 4, W = 1/6 h (a problem book, 23.3, R2)."""
        _, mean_s = washer_waits(washer_queue(rate_hour=24.0, servers=1, service=Spread("exponential", (120.0,))))
        within_three_errors(24.0 * (mean_s + 120.0) / 3600, 4.0, "customers at one server", "problem book", "R2")

    def test_constant_service_halves_the_wait(self):
        """30 an hour, 1.5 min each (load 0.75): random service waits 4.5 min (R2), constant half of it (M)."""
        _, random_s = washer_waits(washer_queue(rate_hour=30.0, servers=1, service=Spread("exponential", (90.0,))))
        within_three_errors(random_s / 60, 4.5, "wait, random service [min]", "problem book", "R2")
        _, constant_s = washer_waits(washer_queue(rate_hour=30.0, servers=1, service=Spread("constant", (90.0,))))
        within_three_errors(constant_s / 60, 2.25, "wait, constant service [min]", "Pollaczek, Khinchine", "M")

    def test_scattered_service_waits_as_its_second_moment_says(self):
        """Uniform between 30 s and 150 s, 32 an hour."""
        low, high, load = 30.0, 150.0, 32 * 90 / 3600
        second = (high**3 - low**3) / (3 * (high - low))
        _, mean_s = washer_waits(washer_queue(rate_hour=32.0, servers=1, service=Spread("uniform", (low, high))))
        theory_s = wait_one_server_s(load, 90.0, second)
        within_three_errors(mean_s, theory_s, "wait, uniform service [s]", "Pollaczek, Khinchine", "M")

    def test_thirty_six_loads_an_hour_never_settle_in_twenty_four_pockets(self):
        """24 pockets of 60 min for 36 loads an hour (a laundry-room note of 2013, R): the line only grows."""
        store = pocket_queue(rate_hour=36.0, servers=24)
        counts = simulate_counts(store, Settings(banks=(plain_setting(3600.0),)), Work(weeks=1, replications=4, seed=3))
        assert (counts.column("inside") > 0.9 * (36 - 24) * 168).all()
