"""What is judged together: units, joined where boxes were counted together; which counters tell what they took."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from drybank.balance.audit.story import Counted
from drybank.records.layout import Counter, Layout, Unit


@dataclass(frozen=True)
class Group:
    """One or several units whose boxes were counted together in the period."""

    key: str
    units: tuple[str, ...]
    banks: tuple[str, ...]
    controls: tuple[str, ...]
    pockets: tuple[str, ...]
    boxes: frozenset[str]
    box_inputs: tuple[str, ...]
    other_inputs: tuple[str, ...]  # inputs that sell time and whose takings go elsewhere
    cash_counters: tuple[str, ...]  # together they count every piece that drops into the boxes, once
    all_counters: tuple[str, ...]  # the same for every piece that buys time
    why_no_counter: str = ""

    @property
    def bank(self) -> str:
        """Its bank, or "" where it spans several."""
        return self.banks[0] if len(self.banks) == 1 else ""


def _joined(layout: Layout, counted: Iterable[Counted]) -> list[tuple[Unit, ...]]:
    of_box = {b: u.key for u in layout.units for b in u.boxes}
    root = {u.key: u.key for u in layout.units}

    def find(key: str) -> str:
        while root[key] != key:
            key = root[key]
        return key

    for count in counted:
        keys = sorted({of_box[b] for b in count.boxes if b in of_box})
        for other in keys[1:]:
            a, b = sorted((find(keys[0]), find(other)))
            root[b] = a
    out: dict[str, list[Unit]] = {}
    for unit in layout.units:
        out.setdefault(find(unit.key), []).append(unit)
    return [tuple(units) for units in out.values()]


def covering(layout: Layout, inputs: tuple[str, ...], counters: Iterable[str]) -> tuple[tuple[str, ...], str]:
    """Counters that together count the pieces of ``inputs`` exactly once; or none and why not.

    The narrowest counter of each input is taken. A counter that also counts an input outside, or two
    inputs of different pieces, does not do.
    """
    mine = [layout.counters[c] for c in counters]
    chosen: dict[str, Counter] = {}
    for i in inputs:
        options = sorted((c for c in mine if i in c.inputs), key=lambda c: (len(c.inputs), c.key))
        good = [c for c in options if _does(layout, c, inputs)]
        if not good:
            why = "no counter counts it" if not options else "its counter also counts pieces that go elsewhere"
            return (), f"input {i}: {why}"
        chosen.setdefault(good[0].key, good[0])
    seen: set[str] = set()
    for c in chosen.values():
        if seen & set(c.inputs):
            return (), f"counter {c.key} counts pieces that another counter counts too"
        seen |= set(c.inputs)
    return tuple(sorted(chosen)), ""


def _does(layout: Layout, counter: Counter, inputs: tuple[str, ...]) -> bool:
    if not set(counter.inputs) <= set(inputs):
        return False
    worths = {layout.inputs[i].piece_minor for i in counter.inputs}
    return counter.counts_value or (len(worths) == 1 and 0 not in worths)


def groups(layout: Layout, counted: Iterable[Counted]) -> list[Group]:
    """The groups that are judged together, in the order of the store's units."""
    out = []
    for units in _joined(layout, counted):
        boxes = frozenset(b for u in units for b in u.boxes)
        controls = tuple(c for u in units for c in u.controls)
        inputs = tuple(i for u in units for i in u.inputs)
        counters = tuple(c for u in units for c in u.counters)
        box_inputs = tuple(i for i in inputs if layout.inputs[i].box)
        paying = tuple(i for i in inputs if layout.inputs[i].means != "staff key")
        cash, why = covering(layout, box_inputs, counters)
        everything, _ = covering(layout, paying, counters)
        out.append(
            Group(
                key="+".join(u.key for u in units),
                units=tuple(u.key for u in units),
                banks=tuple(dict.fromkeys(layout.controls[c].bank for c in controls)),
                controls=controls,
                pockets=tuple(p for u in units for p in u.pockets),
                boxes=boxes,
                box_inputs=box_inputs,
                other_inputs=tuple(i for i in paying if i not in box_inputs),
                cash_counters=cash,
                all_counters=everything,
                why_no_counter=why,
            )
        )
    return out
