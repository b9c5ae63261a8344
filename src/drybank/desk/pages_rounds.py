"""What a collector is told: the boxes in walking order, their numbers, and nothing of what is in them."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

import msgspec

from drybank.desk.standing import layout_at
from drybank.records.entry import BoxesEmptied, Deposited, HandedOver, PiecesCounted

if TYPE_CHECKING:
    from drybank.book import Book


class BoxToEmpty(msgspec.Struct, frozen=True, kw_only=True):
    """A box, the pockets it stands at, and when it was emptied last."""

    box: str
    number: str
    pockets: tuple[str, ...]
    bank: str
    emptied: datetime | None


class BagOut(msgspec.Struct, frozen=True, kw_only=True):
    """A bag on its way: where it came from and how far it is. Its money is not told."""

    bag: str
    boxes: tuple[str, ...]
    state: str
    since: datetime
    holder: str


def boxes_to_empty(book: Book, store: str, when: datetime) -> tuple[BoxToEmpty, ...]:
    """Every box of a store in walking order."""
    laid = layout_at(book, store, when)
    last: dict[str, datetime] = {}
    for told in book.story(store, kinds=("collection",)):
        if isinstance(told.body, BoxesEmptied) and told.happened <= when:
            last |= dict.fromkeys(told.body.boxes, told.happened)
    order = {m.key: m.place for m in laid.machines.values()}
    out = []
    for box in laid.boxes.values():
        controls = [laid.controls[laid.inputs[i].control] for i in box.inputs]
        pockets = tuple(dict.fromkeys(p for c in controls for p in c.pockets))
        place = min((order[c.machine] for c in controls), default=0)
        bank = controls[0].bank if controls else ""
        out.append(
            (place, BoxToEmpty(box=box.key, number=box.number, pockets=pockets, bank=bank, emptied=last.get(box.key)))
        )
    return tuple(b for _, b in sorted(out, key=lambda pair: pair[0]))


def bags_out(book: Book, store: str, when: datetime) -> tuple[BagOut, ...]:
    """Bags collected and not yet paid in, oldest first."""
    bags: dict[str, BagOut] = {}
    for told in book.story(store, kinds=("collection", "count", "hand-over", "deposit")):
        body = told.body
        if told.happened > when:
            break
        if isinstance(body, BoxesEmptied) and body.bag:
            bags[body.bag] = BagOut(
                bag=body.bag, boxes=body.boxes, state="collected", since=told.happened, holder=told.by
            )
        elif isinstance(body, PiecesCounted) and body.bag in bags:
            bags[body.bag] = msgspec.structs.replace(bags[body.bag], state="counted", holder=told.by)
        elif isinstance(body, HandedOver) and body.bag in bags:
            bags[body.bag] = msgspec.structs.replace(bags[body.bag], state="handed over", holder=body.to)
        elif isinstance(body, Deposited):
            for bag in body.bags:
                bags.pop(bag, None)
    return tuple(sorted(bags.values(), key=lambda b: b.since))


def coins_taken(book: Book, store: str, when: datetime) -> tuple[tuple[int, str], ...]:
    """Every piece that this store's boxes may hold: minor units, and what it is called."""
    from drybank.desk.wording import coin_words

    laid = layout_at(book, store, when)
    worths = {i.piece_minor for i in laid.inputs.values() if i.box and i.piece_minor} | set(laid.store.coins)
    return tuple((w, coin_words(w, laid.store.currency)) for w in sorted(worths))
