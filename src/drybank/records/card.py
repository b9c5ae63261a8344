"""What stands on paper: the work card for one visit to one machine, and the sign for the wall. Content only."""

from __future__ import annotations

from typing import Literal

import msgspec

Language = Literal["en", "es", "fr"]
Paper = Literal["a5", "half-letter"]


class CardStep(msgspec.Struct, frozen=True, kw_only=True):
    """One setting to change: what it is called on this control, where, how, from what to what."""

    name: str
    found_at: str
    how: str
    as_found: str
    to_set: str
    reached: str
    power: str


class CardControl(msgspec.Struct, frozen=True, kw_only=True):
    """One control on the card: its pockets, the steps in the control's own order, what is already right."""

    control: str
    pockets: tuple[str, ...]
    sheet: str
    revision: str
    steps: tuple[CardStep, ...]
    unchanged: tuple[tuple[str, str], ...] = ()
    read_first: tuple[str, ...] = ()


class CardTask(msgspec.Struct, frozen=True, kw_only=True):
    """Something else to do at this stop: a service task, a field test, a check."""

    what: str
    why: str = ""
    minutes: int = 0


class WorkCard(msgspec.Struct, frozen=True, kw_only=True):
    """One visit to one machine. Cautions come first; ``id`` is in the QR and comes back with what was done."""

    id: str
    store: str
    bank: str
    machine: str
    made: str
    cautions: tuple[str, ...]
    notices: tuple[str, ...] = ()
    controls: tuple[CardControl, ...]
    devices: tuple[tuple[str, str], ...] = ()
    test_inputs: tuple[str, ...] = ()
    tasks: tuple[CardTask, ...] = ()
    sign_reminder: str = ""
    language: Language = "en"


class SignRate(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the price: so much money gives so much time."""

    money: str
    time: str


class SignText(msgspec.Struct, frozen=True, kw_only=True):
    """The wall sign in one language: what starts a dryer, what more money adds, what is accepted, who gives money back."""

    language: Language
    title: str
    start: SignRate
    start_says: str
    more: tuple[SignRate, ...]
    more_head: str
    accepted: str
    ending: str
    refund_head: str
    refund: tuple[str, ...]
    notes: tuple[str, ...] = ()


class Sign(msgspec.Struct, frozen=True, kw_only=True):
    """The sign of one bank, in each language the store posts."""

    store: str
    bank: str
    from_date: str
    texts: tuple[SignText, ...]
