"""The sheets laid over a store: every control, input, counter, meter and box by key, and the units of the balance.

Keys: a control is called after its pocket, or after its machine where it sells the time of all its pockets; an input or
counter is ``<control>.<sheet's key>``, a meter ``<pocket>.<sheet's key>``, the box of one control ``<control>.box``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TypeVar

from drybank.records.errors import InputError, InputErrors
from drybank.records.layout import CoinBox, Control, Counter, Input, Layout, Meter, Unit
from drybank.records.sheet import ControlSheet, SheetInput
from drybank.records.store import CounterSaid, InputSaid, Machine, Store

T = TypeVar("T")
Said = TypeVar("Said", InputSaid, CounterSaid)


def natural(key: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key in which pocket 9 stands before pocket 10."""
    return tuple((0, int(p), "") if p.isdecimal() else (1, 0, p) for p in re.findall(r"\d+|\D+", key))


def as_sheets(sheets: Mapping[str, ControlSheet] | Iterable[ControlSheet]) -> dict[str, ControlSheet]:
    """Sheets by key, from a mapping or a row of them."""
    return dict(sheets) if isinstance(sheets, Mapping) else {sheet.key: sheet for sheet in sheets}


class _Builder:
    """Lays one store out; gathers every mistake before it gives up."""

    def __init__(self, store: Store, sheets: dict[str, ControlSheet]) -> None:
        self.store, self.sheets, self.errors = store, sheets, list[InputError]()
        self.pockets = self._by_key("pockets", store.pockets, lambda p: p.key)
        self.machines = self._by_key("machines", store.machines, lambda m: m.key)
        self.banks = self._by_key("banks", store.banks, lambda b: b.key)
        self.controls = self._controls()
        self.inputs = self._inputs()
        self.counters, self.meters = self._devices()
        self.boxes = self._boxes()

    def wrong(self, where: str, what: str, mend: str = "", allowed: str = "") -> None:
        self.errors.append(InputError(what, where=where, mend=mend, allowed=allowed))

    def _by_key(self, field: str, items: Sequence[T], key_of: Callable[[T], str]) -> dict[str, T]:
        out: dict[str, T] = {}
        for place, item in enumerate(items):
            key, where = key_of(item), f"{field}[{place}].key"
            if not key.strip() or "." in key or "*" in key:
                self.wrong(where, f"“{key}” cannot be a key.", "Give it letters or digits, without a dot or a star.")
            elif key in out:
                self.wrong(where, f"“{key}” stands there twice.", "Give each a key of its own.")
            else:
                out[key] = item
        return out

    # -- controls --------------------------------------------------------------------------------------------------

    def _controls(self) -> dict[str, Control]:
        out: dict[str, Control] = {}
        owner: dict[str, str] = {}
        for place, machine in enumerate(self.store.machines):
            where = f"machines[{place}]"
            self._check_machine(where, machine, owner)
            for control in self._controls_of(machine):
                if control.key in out:
                    self.wrong(
                        f"{where}.key",
                        f"Two controls would be called “{control.key}”.",
                        "Rename the machine or pocket.",
                    )
                out[control.key] = control
        for place, pocket in enumerate(self.store.pockets):
            if pocket.key not in owner:
                self.wrong(
                    f"pockets[{place}]",
                    f"Pocket {pocket.key} is in no machine.",
                    "Name it under its machine, or leave it out.",
                )
        return out

    def _check_machine(self, where: str, machine: Machine, owner: dict[str, str]) -> None:
        if machine.bank not in self.banks:
            self.wrong(f"{where}.bank", f"There is no bank “{machine.bank}”.", allowed=", ".join(self.banks))
        if machine.sheet not in self.sheets:
            self.wrong(
                f"{where}.sheet", f"There is no control sheet “{machine.sheet}”.", allowed=", ".join(self.sheets)
            )
        if not machine.pockets:
            self.wrong(f"{where}.pockets", f"Machine {machine.key} has no pocket.", "Name its drums.")
        for key in machine.pockets:
            if key not in self.pockets:
                self.wrong(f"{where}.pockets", f"There is no pocket “{key}”.", allowed=", ".join(self.pockets))
            elif key in owner:
                self.wrong(
                    f"{where}.pockets", f"Pocket {key} is also in machine {owner[key]}.", "A pocket is in one machine."
                )
            owner.setdefault(key, machine.key)

    def _controls_of(self, machine: Machine) -> list[Control]:
        sheet = self.sheets.get(machine.sheet)
        if sheet is None:
            return []
        groups = [(machine.key, machine.pockets)] if sheet.serves == "machine" else [(k, (k,)) for k in machine.pockets]
        return [
            Control(key=key, machine=machine.key, bank=machine.bank, sheet=sheet.key, pockets=tuple(pockets))
            for key, pockets in groups
        ]

    def sheet_of(self, control: Control) -> ControlSheet:
        return self.sheets[control.sheet]

    # -- what the store adds -----------------------------------------------------------------------------------------

    def _said(
        self, field: str, items: Sequence[Said], key_of: Callable[[Said], str], known: set[str]
    ) -> dict[str, Said]:
        """What is said of each key: its own line first, else the ``*`` line of its last part."""
        out: dict[str, Said] = {}
        for place, item in enumerate(items):
            key = key_of(item)
            matched = {k for k in known if k == key or (key.startswith("*.") and k.split(".", 1)[1] == key[2:])}
            if not matched:
                near = ", ".join(sorted(known, key=natural)[:12])
                self.wrong(
                    f"{field}[{place}]",
                    f"Nothing here is called “{key}”.",
                    allowed=near + (" ..." if len(known) > 12 else ""),
                )
            if key in out:
                self.wrong(f"{field}[{place}]", f"“{key}” is said twice.", "Keep one of them.")
            out[key] = item
        stars = {key[2:]: item for key, item in out.items() if key.startswith("*.")}
        return {k: found for k in known if (found := out.get(k) or stars.get(k.split(".", 1)[1])) is not None}

    def _inputs(self) -> dict[str, Input]:
        slots = {f"{c.key}.{i.key}": (c, i) for c in self.controls.values() for i in self.sheet_of(c).inputs}
        said = self._said("inputs", self.store.inputs, lambda s: s.input, set(slots))
        return {key: self._input(key, control, slot, said.get(key)) for key, (control, slot) in slots.items()}

    def _input(self, key: str, control: Control, slot: SheetInput, said: InputSaid | None) -> Input:
        means = said.means if said else slot.means[0] if slot.means else "coin"
        if means not in slot.means:
            self.wrong(f"inputs “{key}”", f"{slot.name} does not take a {means}.", allowed=", ".join(slot.means))
        piece = said.piece_minor if said else 0
        if piece < 0:
            self.wrong(
                f"inputs “{key}”", "A piece cannot be worth less than nothing.", "Give its value in minor units."
            )
        if not piece and means == "coin" and len(self.store.coins) == 1:
            piece = self.store.coins[0]
        takings = (
            said.takings
            if said
            else "nowhere"
            if means == "staff key"
            else "box"
            if means in ("coin", "token")
            else "statement"
        )
        return Input(
            key=key, control=control.key, sheet_input=slot.key, means=means, piece_minor=piece,
            box=f"{control.key}.box" if takings == "box" else "", account=said.account if said else "",
        )  # fmt: skip

    # -- counters and meters -----------------------------------------------------------------------------------------

    def _devices(self) -> tuple[dict[str, Counter], dict[str, Meter]]:
        counters = {f"{c.key}.{k.key}": (c, k) for c in self.controls.values() for k in self.sheet_of(c).counters}
        meters = {
            f"{p}.{m.key}": (p, m) for c in self.controls.values() for p in c.pockets for m in self.sheet_of(c).meters
        }
        for key in sorted(set(counters) & set(meters), key=natural):
            self.wrong(
                f"sheets “{counters[key][0].sheet}”",
                f"A counter and a meter are both called “{key}”.",
                "Rename one on the sheet.",
            )
        said = self._said("counters", self.store.counters, lambda s: s.key, set(counters) | set(meters))
        for key, line in said.items():
            if line.rolls_over_at is not None and line.rolls_over_at < 10:
                self.wrong(
                    f"counters “{key}”",
                    "It would start again from nothing at once.",
                    "Give the number after the highest it can show.",
                )
        gone = {key for key, line in said.items() if line.is_missing}
        over = {key: line.rolls_over_at for key, line in said.items() if line.rolls_over_at is not None}
        return (
            {
                key: Counter(
                    key=key, control=c.key, inputs=tuple(f"{c.key}.{i}" for i in k.inputs),
                    rolls_over_at=over.get(key, k.rolls_over_at), counts_value=k.counts == "value",
                )
                for key, (c, k) in counters.items() if key not in gone
            },
            {
                key: Meter(key=key, pocket=p, counts=m.counts, per_hour=m.per_hour, rolls_over_at=over.get(key, m.rolls_over_at))
                for key, (p, m) in meters.items() if key not in gone
            },
        )  # fmt: skip

    # -- boxes -------------------------------------------------------------------------------------------------------

    def _boxes(self) -> dict[str, CoinBox]:
        """The boxes said, and one per control for the inputs that none of them names."""
        feeds: dict[str, str] = {}
        out: dict[str, CoinBox] = {}
        for place, box in enumerate(self.store.boxes):
            where, own = f"boxes[{place}]", list[str]()
            if box.key in out or not box.key.strip():
                self.wrong(
                    f"{where}.key", f"“{box.key}” stands there twice, or is empty.", "Give each box a key of its own."
                )
            if box.capacity_pieces is not None and box.capacity_pieces < 1:
                self.wrong(
                    f"{where}.capacity_pieces",
                    "A box holds at least one piece.",
                    "Give the pieces it holds, or leave it out.",
                )
            for key in self._named_inputs(where, box.inputs):
                if key in feeds:
                    self.wrong(
                        f"{where}.inputs",
                        f"“{key}” already drops into box {feeds[key]}.",
                        "An input drops into one box.",
                    )
                elif not self.inputs[key].box:
                    self.wrong(
                        f"{where}.inputs", f"The takings of “{key}” do not go to a box.", 'Say takings = "box" for it.'
                    )
                else:
                    own.append(key)
                feeds.setdefault(key, box.key)
            out[box.key] = CoinBox(
                key=box.key, inputs=tuple(own), capacity_pieces=box.capacity_pieces, number=box.number
            )
        return self._default_boxes(out, feeds)

    def _named_inputs(self, where: str, names: Iterable[str]) -> list[str]:
        """Input keys that a box names: one, all of a control, or ``*.<input>`` of every control."""
        out: list[str] = []
        for name in names:
            found = [k for k in self.inputs if k == name or (name.startswith("*.") and k.split(".", 1)[1] == name[2:])]
            if not found and name in self.controls:
                found = [k for k, i in self.inputs.items() if i.control == name and i.box]
            if not found:
                self.wrong(
                    f"{where}.inputs",
                    f"There is no input “{name}”.",
                    allowed=", ".join(sorted(self.inputs, key=natural)[:12]),
                )
            out += found
        return out

    def _default_boxes(self, out: dict[str, CoinBox], feeds: Mapping[str, str]) -> dict[str, CoinBox]:
        own: dict[str, list[str]] = {}
        for key, entry in self.inputs.items():
            if entry.box and key not in feeds:
                own.setdefault(entry.box, []).append(key)
        for key, inputs in own.items():
            if key in out:
                self.wrong(
                    f"boxes “{key}”", "This is the key of a control's own box.", "Call the shared box something else."
                )
            out[key] = CoinBox(key=key, inputs=tuple(inputs))
        for box in out.values():
            for key in box.inputs:
                i = self.inputs[key]
                self.inputs[key] = Input(
                    key=i.key, control=i.control, sheet_input=i.sheet_input, means=i.means, piece_minor=i.piece_minor,
                    box=box.key, account=i.account,
                )  # fmt: skip
        return out


def _units(built: _Builder) -> tuple[Unit, ...]:
    """Groups of controls that no box and no counter ties to another group.

    A control ties its own inputs together, because its hours come from all of them.
    """
    root = {key: key for key in built.controls}

    def find(key: str) -> str:
        while root[key] != key:
            root[key] = root[root[key]]
            key = root[key]
        return key

    for tied in [box.inputs for box in built.boxes.values()] + [counter.inputs for counter in built.counters.values()]:
        controls = [built.inputs[key].control for key in tied if key in built.inputs]
        for other in controls[1:]:
            root[find(other)] = find(controls[0])
    groups: dict[str, list[str]] = {}
    for key in built.controls:
        groups.setdefault(find(key), []).append(key)
    return tuple(
        _unit(built, sorted(g, key=natural)) for g in sorted(groups.values(), key=lambda g: min(map(natural, g)))
    )


def _unit(built: _Builder, controls: list[str]) -> Unit:
    mine = set(controls)
    return Unit(
        key=controls[0],
        controls=tuple(controls),
        pockets=tuple(p for c in controls for p in built.controls[c].pockets),
        inputs=tuple(key for key, i in built.inputs.items() if i.control in mine),
        counters=tuple(key for key, c in built.counters.items() if c.control in mine),
        boxes=tuple(key for key, b in built.boxes.items() if any(built.inputs[i].control in mine for i in b.inputs)),
    )


def layout(store: Store, sheets: Mapping[str, ControlSheet] | Iterable[ControlSheet]) -> Layout:
    """Lay the control sheets over a store.

    A unit is the smallest group of controls with all the boxes and counters that their inputs touch; it is called after
    its first control. An input of which the store says nothing takes the sheet's first means, the store's only coin if
    there is but one, and drops into its control's own box (card and app: a statement; staff key: nowhere).

    Raises
    ------
    InputErrors
        Every mistake at once, each with the path of its field.
    """
    built = _Builder(store, as_sheets(sheets))
    if built.errors:
        raise InputErrors(built.errors)
    return Layout(
        store=store,
        sheets={m.sheet: built.sheets[m.sheet] for m in store.machines},
        pockets=built.pockets,
        machines=built.machines,
        controls=built.controls,
        inputs=built.inputs,
        counters=built.counters,
        meters=built.meters,
        boxes=built.boxes,
        units=_units(built),
    )


def control_of(layout: Layout, control: str) -> Control:
    """A control by key; InputError names those there are."""
    found = layout.controls.get(control)
    if found is None:
        raise InputError(f"There is no control “{control}”.", allowed=", ".join(sorted(layout.controls, key=natural)))
    return found


def sheet_of(layout: Layout, control: str) -> ControlSheet:
    """The sheet of a control."""
    return layout.sheets[control_of(layout, control).sheet]


def worth(layout: Layout, control: str) -> dict[str, int]:
    """Minor units of one piece by the sheet's input key, for one control."""
    return {
        i.sheet_input: i.piece_minor for i in layout.inputs.values() if i.control == control_of(layout, control).key
    }


def controls_of(layout: Layout, bank: str) -> tuple[Control, ...]:
    """The controls of a bank in walking order; InputError for an unknown bank."""
    if bank not in {b.key for b in layout.store.banks}:
        raise InputError(f"There is no bank “{bank}”.", allowed=", ".join(b.key for b in layout.store.banks))
    found = [c for c in layout.controls.values() if c.bank == bank]
    return tuple(sorted(found, key=lambda c: (layout.machines[c.machine].place, natural(c.key))))
