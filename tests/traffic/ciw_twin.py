"""The reduced store as Ciw would have it: single loads, washers then pockets, first come first served."""

from __future__ import annotations

import ciw
from tests.traffic.simpy_twin import SimpyWeek, arrivals

from drybank.traffic import chance
from drybank.traffic import places as pl
from drybank.traffic.reference_parts import Draws, Person

LONG = 1e18


class ByCustomer(ciw.dists.Distribution):
    """The service time that belongs to the customer, whatever the order of service."""

    def __init__(self, times):
        self.times = times

    def sample(self, t=None, ind=None):
        return self.times[ind.id_number - 1]


def reduced(store, settings, *, weeks, keys):
    """Gaps, wash times and drying times of every customer, in ticks."""
    horizon = weeks * pl.WEEK
    came = arrivals(store, settings, tuple(keys), pl.STREAM_WALK, horizon)
    week, draws = SimpyWeek(store, settings, weeks=weeks, keys=keys), Draws(store)
    coin = settings.banks[0].coin
    washes, dries = [], []
    for tick, key, number in came:
        person = Person(key, pl.STREAM_WALK, number)
        draws.loads(person)
        washes.append(draws.ticks(store.washers[0].cycle_s, chance.field(person.bits(pl.PLACE_WASH), 40, 24)))
        u = chance.field(person.bits(pl.PLACE_DRY), 0, 16)
        need = week.need(settings.banks[0], person.pile, u, tick)
        place = (key + pl.PLACE_DRY * chance.GOLDEN) & chance.MASK
        n = week.pieces(place, 0, need, 0)
        sold_s = coin.first_time_s + (n - coin.start_pieces) * coin.piece_time_s
        dries.append(sold_s * pl.SECOND)
    ticks = [tick for tick, _, _ in came]
    gaps = [b - a for a, b in zip([0, *ticks], ticks, strict=False)]
    return gaps, washes, dries


def simulate(store, gaps, washes, dries, horizon):
    """Ciw's records of every service."""
    servers = [sum(k.count for k in store.washers), len(store.pockets)]
    network = ciw.create_network(
        arrival_distributions=[ciw.dists.Sequential([*map(float, gaps), LONG]), None],
        service_distributions=[ByCustomer([float(w) for w in washes]), ByCustomer([float(d) for d in dries])],
        routing=[[0.0, 1.0], [0.0, 0.0]],
        number_of_servers=servers,
    )
    run = ciw.Simulation(network)
    run.simulate_until_max_time(float(horizon))
    return run.get_all_records()
