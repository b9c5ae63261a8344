"""Plan a bank from the book: inputs gathered, the search run, what-ifs priced, the answer adopted."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from datetime import timedelta
from typing import TYPE_CHECKING

import msgspec

from drybank.desk.houses import Adopted, adopt, propose
from drybank.desk.plan_given import given_of
from drybank.desk.stamp import Pen
from drybank.desk.standing import bank_key, layout_at
from drybank.desk.weather import RoomAsk, room_of
from drybank.records.errors import InputError
from drybank.records.plan import Plan, PlanInputs, PlanSetting, SettingPriced

if TYPE_CHECKING:
    from drybank.book import Book


def inputs_of(book: Book, store: str, bank: str, pen: Pen, ask: RoomAsk | None = None) -> PlanInputs:
    """All that a plan of a bank is made from, as the book stands now; what is not given is listed as assumed."""
    from drybank.plan import plan_inputs

    when = pen.clock()
    laid = layout_at(book, store, when)
    key = bank_key(laid, bank)
    used = {m.sheet for m in laid.machines.values() if m.bank == key}
    unread = [laid.sheets[s].name for s in sorted(used) if not book.sheet_state(store, s).is_read_back]
    has_learned = any(True for _ in book.story(store, kinds=("learned value",), until=when + timedelta(microseconds=1)))
    if has_learned:  # learning is a large room: it is entered only where something was kept
        from drybank.desk.learning import learned_for, store_with_learned, with_learned

        learned = learned_for(book, store, when)
        told = msgspec.structs.replace(laid, store=store_with_learned(laid.store, learned))
    else:
        told = laid
    room, notes = room_of(laid, ask) if ask is not None else (None, ())
    given = msgspec.structs.replace(given_of(book, told, key, when), room=room)
    made = plan_inputs(told.store, laid.sheets, key, book.house_at(store, key, when), given)
    made = with_learned(made, learned, laid.store) if has_learned else made
    made = msgspec.structs.replace(made, notes=(*made.notes, *notes))
    if not unread:
        return made
    note = f"Nobody has read back at a machine what sheet {', '.join(unread)} says: check one control before you set the bank."
    return msgspec.structs.replace(made, sheet_is_read_back=False, notes=(*made.notes, note))


def plan_bank(
    book: Book,
    store: str,
    bank: str,
    pen: Pen,
    ask: RoomAsk | None = None,
    *,
    tell: Callable[[str], None] | None = None,
) -> Plan:
    """What to set on a bank, what it should bring, what could make it wrong; ``ask`` says whether room air is counted.

    ``tell`` hears what is being worked out; with it, machine code that is not there yet is built in two processes.
    """
    from drybank.desk.machine_code import built_beside, is_built, mark_built
    from drybank.plan import make_plan

    if tell is None or is_built():
        return make_plan(inputs_of(book, store, bank, pen, ask or RoomAsk()))
    from drybank.plan.search.problem import problem
    from drybank.plan.search.running import search

    tell("The first run builds its machine code, once: drying")
    with built_beside() as wait:
        inputs = inputs_of(book, store, bank, pen, ask or RoomAsk())
        tell("The first run builds its machine code, once: the search")
        search(problem(inputs), 1)
        tell("The first run builds its machine code, once: the store's week")
        wait()
    tell("Searching every setting")
    made = make_plan(inputs)
    mark_built()
    return made


def what_if(book: Book, store: str, bank: str, pen: Pen, texts: Sequence[str]) -> SettingPriced:
    """Price settable changes, ``name=value`` each, against what stands today."""
    from drybank.plan import price_setting

    inputs = inputs_of(book, store, bank, pen)
    if inputs.today is None:
        raise InputError(
            f"Bank {inputs.bank} has no settings today to compare with.", mend="Adopt the ones it holds first."
        )
    changed = _setting(book, store, pen, inputs, "; ".join(texts))
    return price_setting(inputs, changed, against=inputs.today, name="; ".join(texts))


def compare(book: Book, store: str, bank: str, pen: Pen, two: tuple[str, str]) -> SettingPriced:
    """Price one set of settings against another, the same loads met; each is ``today``, ``plan`` or ``name=value;...``."""
    from drybank.plan import price_setting

    inputs = inputs_of(book, store, bank, pen)
    one, other = (_setting(book, store, pen, inputs, text) for text in two)
    return price_setting(inputs, other, against=one, name=f"{two[1]} against {two[0]}")


def _setting(book: Book, store: str, pen: Pen, inputs: PlanInputs, text: str) -> PlanSetting:
    """A setting in a person's words: today's, the plan's answer, or changes to today's."""
    from drybank.desk.plan_asked import house_asked
    from drybank.plan import make_plan, setting_of

    words = text.strip().lower()
    if words == "plan":
        return make_plan(inputs).setting
    if inputs.today is None:
        raise InputError(
            f"Bank {inputs.bank} has no settings today to start from.", mend="Adopt the ones it holds first."
        )
    if words == "today":
        return inputs.today
    laid = layout_at(book, store, pen.clock())
    today = book.house_at(store, inputs.bank, pen.clock())
    texts = [part.strip() for part in text.split(";") if part.strip()]
    return setting_of(inputs, house_asked(laid, inputs, texts, today))


def digest(plan: Plan) -> str:
    """A plan's own digest: the same inputs and answer give the same one."""
    parts = (plan.store, plan.bank, plan.house, plan.inputs)
    return hashlib.sha256(msgspec.json.encode(parts, order="sorted")).hexdigest()[:16]


def adopt_plan(book: Book, plan: Plan, pen: Pen, *, from_day: str = "") -> Adopted:
    """Make a plan's settings the house's, with what it should bring kept beside them."""
    from drybank.desk.standing import parse_day

    proposal = propose(book, plan.store, plan.bank, pen, house=plan.house, from_date=parse_day(from_day))
    expected = {f.key: f.proposed.value for f in plan.figures}
    return adopt(book, proposal, pen, plan=digest(plan), expected=expected)
