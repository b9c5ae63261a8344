"""What the model takes for granted when the store's records do not say otherwise."""

from __future__ import annotations

from drybank.records.traffic import Store
from drybank.records.working import Assumption

OWN = "Drybank's assumption; watch customers for an hour to replace it"


def _pair(name: str, taken: str, matters: str = "") -> Assumption:
    return Assumption(name=name, taken=taken, source=OWN, matters=matters)


ALWAYS = (
    _pair("moving to the pockets", "when all of a customer's washes are done"),
    _pair("sharing the pile", "evenly over the fewest pockets that hold it, or one pocket a wash load"),
    _pair("choosing pockets", "side by side in one row where free, else the next free ones"),
    _pair("lines", "first come, first served; a load takes the smallest free washer that fits"),
    _pair("time left on a clock", "runs on with the door open and serves the next customer"),
    _pair("a load moved from a broken pocket", "goes to the next free pocket, before the line"),
    _pair("closing", "who is inside finishes"),
)


def assumptions(store: Store) -> tuple[Assumption, ...]:
    """Everything assumed: the store's own list, the rules above, and what its records leave at rest."""
    out = [*store.assumptions, *ALWAYS]
    if store.breakdowns is None:
        out.append(_pair("breakdowns", "none", "a broken pocket on the busiest day makes waits longer"))
    if not any(store.staff.attended):
        out.append(_pair("staff", "none: nobody empties stopped pockets but other customers, if they do"))
    if store.arrivals.season in ((1.0,), ()):
        out.append(_pair("season", "every week alike"))
    return tuple(out)
