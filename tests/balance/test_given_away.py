"""Offers and house use: hours that nobody paid for and that the book explains are no question of the balance."""

from datetime import timedelta

from drybank.balance import balance
from drybank.records.entry import Entry, HouseUsed, OfferMade
from drybank.records.ids import uuid7
from drybank.records.store import Bank, Machine
from tests.balance.houses import BASE, START, fault, house, names, period, posted, story

WEEKS, SHARE = 8, 0.25


def written(at, body, when):
    return Entry(
        id=uuid7(int(when.timestamp() * 1000), bytes(10)),
        store=at.store.key,
        happened=when,
        by="desk",
        origin="test",
        body=body,
    )


def free_hours(history, pocket):
    """What the fault adds to one week of a pocket: a share of its usual hours."""
    return SHARE * float(history.hours[0, pocket - 1, :BASE].mean())


def week(number):
    return START + timedelta(days=7 * (BASE + number) + 3)


def test_drop_off_work_entered_as_house_use_is_not_running_free():
    """A pocket runs a quarter more than it sells. Told every week as house use, the balance asks nothing."""
    at = house()
    entries, history = story(at, fault("free", 2, SHARE), seed=2)
    assert ("running free", "Pocket 2") in names(balance(at, entries, period()))
    seconds = round(3600 * free_hours(history, 2))
    used = [written(at, HouseUsed(pocket="2", seconds=seconds, why="drop-off work"), week(n)) for n in range(WEEKS)]
    assert names(balance(at, [*entries, *used], period())) == set()


def test_minutes_that_an_offer_gives_away_at_a_bank_are_expected_of_its_pockets_and_no_others():
    """Pocket 2 is a bank of its own and runs a quarter more than it sells, while an offer there gives just that away."""
    machines = tuple(
        Machine(key=f"m{k}", bank="o" if k == 2 else "n", sheet="elm", pockets=(str(k),), place=k) for k in range(1, 13)
    )
    at = house(banks=(Bank(key="n", name="North"), Bank(key="o", name="Other")), machines=machines)
    entries, history = story(at, fault("free", 2, SHARE), seed=2, house={"n": posted()["n"], "o": posted()["n"]})
    ends = START + timedelta(days=7 * (BASE + WEEKS))
    minutes = 60 * WEEKS * free_hours(history, 2)

    def with_offer_at(bank):
        offer = OfferMade(bank=bank, starts=START + timedelta(days=7 * BASE), ends=ends, minutes_given=minutes)
        return names(balance(at, [*entries, written(at, offer, START + timedelta(days=7 * BASE))], period()))

    assert ("running free", "Pocket 2") in names(balance(at, entries, period()))
    assert ("running free", "Pocket 2") in with_offer_at("n")
    assert not any(name == "running free" for name, _ in with_offer_at("o"))
