"""Money from the slot on, as it is entered: emptied, counted blind, handed over, paid in, paid out, given back.

Counting is blind: nothing that these functions return speaks of what was expected.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import msgspec

from drybank.book.files.settlement import SettlementRead, read_settlement, read_settlement_mapping
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at
from drybank.desk.wording import seconds_from
from drybank.records.entry import (
    AnyBody,
    BoxesEmptied,
    Claimed,
    Deposited,
    HandedOver,
    HouseUsed,
    OfferMade,
    PaidOut,
    Pieces,
    PiecesCounted,
    Refunded,
    Version,
)
from drybank.records.errors import InputError, InputErrors, Missing
from drybank.records.layout import Layout
from drybank.records.money import Money, parse_money
from drybank.takings import bag_has_left, rounds, settle

if TYPE_CHECKING:
    from drybank.book import Book


class Entered(msgspec.Struct, frozen=True, kw_only=True):
    """What was entered, and what to do next."""

    entry: str
    says: str


def pieces_from(texts: Sequence[str], *, means: str = "coin") -> tuple[Pieces, ...]:
    """Pieces from ``25x40`` texts: worth in minor units, number; every mistake at once."""
    out, mistakes = [], []
    for text in texts:
        worth, _, count = text.replace("×", "x").partition("x")
        if not (worth.strip().isdigit() and count.strip().isdigit() and len(count) < 9 and len(worth) < 7):
            mistakes.append(InputError(f"“{text}” is not pieces.", mend="Write worth x number, such as 25x40."))
        else:
            out.append(Pieces(piece_minor=int(worth), count=int(count), means="token" if means == "token" else "coin"))
    if mistakes:
        raise InputErrors(mistakes)
    return tuple(out)


def _boxes(laid: Layout, names: Sequence[str]) -> tuple[str, ...]:
    """Box keys from box keys, box numbers or pockets."""
    out, mistakes = [], []
    numbers = {b.number: b.key for b in laid.boxes.values() if b.number}
    for name in names:
        of_pocket = {
            laid.inputs[i].box
            for i in laid.inputs
            if name in laid.controls[laid.inputs[i].control].pockets and laid.inputs[i].box
        }
        if name in laid.boxes:
            out.append(name)
        elif name in numbers:
            out.append(numbers[name])
        elif of_pocket:
            out += sorted(of_pocket)
        else:
            mistakes.append(InputError(f"There is no box or pocket “{name}”.", allowed=", ".join(laid.boxes)))
    if mistakes:
        raise InputErrors(mistakes)
    return tuple(dict.fromkeys(out))


def _enter(book: Book, store: str, body: AnyBody, pen: Pen, happened: datetime | None, says: str) -> Entered:
    return Entered(entry=book.append([pen.entry(store, body, happened)])[0].entry.id, says=says)


def collect(
    book: Book, store: str, boxes: Sequence[str], pen: Pen, *, bag: str = "", second: str = "", after_reading: bool | None = None,
    happened: datetime | None = None,
) -> Entered:  # fmt: skip
    """Boxes emptied into one bag, box after box on one round; a bag that is on its way may not be begun again."""
    laid = layout_at(book, store, happened or pen.clock())
    keys = _boxes(laid, boxes)
    if not keys:
        raise InputError("No box was named.", mend="Name boxes or pockets.")
    if bag and _is_on_its_way(book, store, bag, happened or pen.clock()):
        raise InputError(f"Bag {bag} is still on its way.", mend="Take another bag, or enter its deposit first.")
    hint = (
        "" if after_reading else " Read the counters just before emptying: it makes small losses visible much sooner."
    )
    body = BoxesEmptied(boxes=keys, bag=bag, with_second=second, is_after_reading=after_reading)
    return _enter(
        book,
        store,
        body,
        pen,
        happened,
        f"{len(keys)} box{'es' * (len(keys) != 1)} emptied{f' into bag {bag}' if bag else ''}.{hint}",
    )


def _is_on_its_way(book: Book, store: str, bag: str, when: datetime) -> bool:
    return bag_has_left(book.story(store, kinds=("collection", "count", "hand-over", "deposit")), bag, when)


class CountSaid(msgspec.Struct, frozen=True, kw_only=True):
    """A count as somebody gives it: a bag or boxes (keys, numbers, pockets), pieces as ``25x640`` or a value as ``160.00``."""

    bag: str = ""
    boxes: tuple[str, ...] = ()
    pieces: tuple[str, ...] = ()
    value: str = ""
    method: str = "hand"
    weight_g: float | None = None
    foreign: int = 0
    second: str = ""


def count(book: Book, store: str, said: CountSaid, pen: Pen, *, happened: datetime | None = None) -> Entered:
    """A blind count of a bag or of boxes. Where the store asks for two, who collected may not count alone."""
    laid = layout_at(book, store, happened or pen.clock())
    if not (said.bag or said.boxes) or not (said.pieces or said.value):
        raise InputError(
            "A count needs a bag or boxes, and pieces or a value.", mend="Such as --bag A12 --pieces 25x640."
        )
    if said.method not in ("hand", "machine", "weight"):
        raise InputError(f"“{said.method}” is not a way to count.", allowed="hand, machine, weight")
    if said.foreign < 0 or (said.weight_g is not None and not 0 < said.weight_g < 1e7):
        raise InputError("Foreign pieces and grams cannot be less than nothing.", mend="Count or weigh again.")
    _check_two(book, laid, said.bag, _boxes(laid, said.boxes), (pen.by, said.second))
    counted = pieces_from(said.pieces)
    unknown = sorted(
        {p.piece_minor for p in counted} - set(laid.store.coins) - {i.piece_minor for i in laid.inputs.values()}
    )
    if unknown:
        raise InputError(
            f"This store takes no piece worth {unknown[0]}.",
            allowed=", ".join(map(str, laid.store.coins)),
            mend="Count it as foreign.",
        )
    body = PiecesCounted(
        boxes=_boxes(laid, said.boxes), bag=said.bag, pieces=counted,
        minor=parse_money(said.value, laid.store.currency).minor if said.value else None,
        method="machine" if said.method == "machine" else "weight" if said.method == "weight" else "hand",
        weight_g=said.weight_g, foreign=said.foreign, with_second=said.second,
    )  # fmt: skip
    return _enter(
        book, store, body, pen, happened, "Counted and entered. Next: seal it and hand it over, or enter its deposit."
    )


def _check_two(book: Book, laid: Layout, bag: str, boxes: Sequence[str], who: tuple[str, str]) -> None:
    """Where the store asks for two: who emptied these boxes last, or filled this bag, does not count alone."""
    by, second = who
    if second and second.casefold() == by.casefold():
        raise InputError("The second person is the first.", where="--with", mend="Name somebody else.")
    if not laid.store.counting.asks_two or second:
        return
    emptied = [
        t for t in book.story(laid.store.key, kinds=("collection",))
        if isinstance(t.body, BoxesEmptied) and (t.body.bag == bag if bag else set(boxes) & set(t.body.boxes))
    ]  # fmt: skip
    last = [t.by for t in emptied] if bag else [t.by for t in emptied[-1:]]
    if by in last:
        raise InputError(
            "Who collected may not count it alone here.", mend="Count it with a second person: --with NAME."
        )


def hand_over(
    book: Book, store: str, bag: str, to: str, pen: Pen, *, seal: str = "", happened: datetime | None = None
) -> Entered:
    """A sealed bag, or a key, from one holder to the next. A key is told from a bag by its name: ``key 3``."""
    if not to.strip():
        raise InputError("Nobody was named.", mend="Say who has it now.")
    is_key = bag.casefold().startswith("key ")
    followed = bag if is_key else _known_bag(book, store, bag)
    name = bag[:1].upper() + bag[1:] if is_key else f"Bag {bag}" if followed == bag else f"What was in {bag}"
    body = HandedOver(bag=followed, to=to, seal_number=seal)
    return _enter(book, store, body, pen, happened, f"{name} is with {to} now.")


def _known_bag(book: Book, store: str, bag: str) -> str:
    """The name under which a bag is followed; boxes emptied without a bag go by a box, its number or a pocket."""
    told = book.story(store, kinds=("collection", "count"))
    if any(isinstance(t.body, BoxesEmptied | PiecesCounted) and bag and t.body.bag == bag for t in told):
        return bag
    if bag in rounds(told):
        return bag
    laid = layout_at(book, store, book.clock())
    try:
        boxes = set(_boxes(laid, [bag]))
    except InputErrors:
        boxes = set()
    last = [t.id for t in told if isinstance(t.body, BoxesEmptied) and not t.body.bag and boxes & set(t.body.boxes)]
    if not last:
        raise Missing(f"No collection or count names bag “{bag}”. Check its number; `drybank cash where` lists them.")
    return f"collection {last[-1]}"


def deposit(
    book: Book,
    store: str,
    bags: Sequence[str],
    value: str,
    pen: Pen,
    *,
    to: str = "bank",
    slip: str = "",
    happened: datetime | None = None,
) -> Entered:
    """Bags paid in at the bank, or put into the change machine's float."""
    laid = layout_at(book, store, happened or pen.clock())
    if to not in ("bank", "float"):
        raise InputError(f"“{to}” is not where money goes.", allowed="bank, float")
    bags = tuple(dict.fromkeys(_known_bag(book, store, bag) for bag in bags))
    minor = parse_money(value, laid.store.currency).minor
    if not 0 <= minor <= 10**10 or not bags:
        raise InputError("A deposit needs bags and an amount that a bank would take.", allowed="0 to 100,000,000.00")
    body = Deposited(bags=tuple(bags), minor=minor, to="bank" if to == "bank" else "float", slip=slip)
    return _enter(book, store, body, pen, happened, f"Deposit of {len(bags)} bag{'s' * (len(bags) != 1)} entered.")


class PayoutSaid(msgspec.Struct, frozen=True, kw_only=True):
    """A payout as its statement has it, amounts as text in major units."""

    account: str
    period_from: str
    period_to: str
    gross: str
    fee: str = "0"
    paid: str = "0"
    inputs: tuple[tuple[str, int, str], ...] = ()


def payout_body(laid: Layout, said: PayoutSaid) -> PaidOut:
    """The entry's body, checked against the store's own accounts and inputs."""
    accounts = {i.account for i in laid.inputs.values() if i.account}
    if said.account not in accounts:
        raise InputError(
            f"No input of {laid.store.name} pays into “{said.account}”.",
            allowed=", ".join(sorted(accounts)) or "none yet",
        )
    strange = [key for key, _, _ in said.inputs if key not in laid.inputs]
    if strange:
        raise InputError(
            f"There is no input “{strange[0]}”.",
            allowed=", ".join(i.key for i in laid.inputs.values() if i.account == said.account),
        )
    money = [parse_money(text, laid.store.currency).minor for text in (said.gross, said.fee, said.paid)]
    return PaidOut(
        account=said.account, period_from=said.period_from, period_to=said.period_to, gross_minor=money[0], fee_minor=money[1],
        paid_minor=money[2], inputs=tuple((k, n, parse_money(v, laid.store.currency).minor) for k, n, v in said.inputs),
    )  # fmt: skip


def payout(book: Book, store: str, said: PayoutSaid, pen: Pen, *, happened: datetime | None = None) -> Entered:
    """A settlement of cards, apps or tokens for a period."""
    laid = layout_at(book, store, happened or pen.clock())
    body = payout_body(laid, said)
    entry = pen.entry(store, body, happened)
    settle(
        [_Line(entry.id, body, entry.happened, entry.happened, entry.by)], laid.store.currency
    )  # refuses impossible days
    return Entered(entry=book.append([entry])[0].entry.id, says=f"Payout of {said.account} entered.")


def settle_file(
    book: Book,
    store: str,
    account: str,
    file: tuple[str, bytes],
    pen: Pen,
    *,
    mapping: tuple[str, bytes] | None = None,
    is_real: bool = True,
) -> tuple[SettlementRead, Entered | None]:
    """A payout from a settlement file (name, bytes); without ``is_real`` only what it would enter."""
    laid = layout_at(book, store, pen.clock())
    accounts = {i.account for i in laid.inputs.values() if i.account}
    if account not in accounts:
        raise InputError(
            f"No input of {laid.store.name} pays into “{account}”.", allowed=", ".join(sorted(accounts)) or "none yet"
        )
    said = read_settlement_mapping(mapping[1], mapping[0]) if mapping else None
    read = read_settlement(file[1], file[0], laid, account, said)
    overlapping = [
        t.body for t in book.story(store, kinds=("payout",))
        if isinstance(t.body, PaidOut) and t.body.account == account and t.body.period_to >= f"{read.first}" and t.body.period_from <= f"{read.last}"
    ]  # fmt: skip
    if overlapping and is_real:
        raise InputError(
            f"A payout of {account} for {overlapping[0].period_from} to {overlapping[0].period_to} is in the book already.",
            mend="Correct that entry, or take the days out of this file.",
        )
    body = PaidOut(
        account=account, period_from=f"{read.first}", period_to=f"{read.last}", gross_minor=read.gross_minor, fee_minor=read.fee_minor,
        paid_minor=read.paid_minor, inputs=read.inputs,
    )  # fmt: skip
    done = (
        _enter(book, store, body, pen, None, f"Payout of {account}, {read.first} to {read.last}, entered.")
        if is_real
        else None
    )
    return read, done


class _Line(msgspec.Struct, frozen=True):
    """A line that is not in the book yet."""

    id: str
    body: AnyBody
    happened: datetime
    booked: datetime
    by: str
    versions: tuple[Version, ...] = ()
    is_taken_back: bool = False


def claim(book: Book, store: str, pocket: str, what: str, pen: Pen, *, value: str = "0", words: str = "") -> Entered:
    """A complaint about one pocket. The customer's words lie beside the chain and can be erased."""
    laid = layout_at(book, store, pen.clock())
    _known_pocket(laid, pocket)
    kinds = ("no time", "short time", "not hot", "too hot", "coin jam", "other")
    if what not in kinds:
        raise InputError(f"“{what}” is not a kind of complaint.", allowed=", ".join(kinds))
    kept = (book.keep("words", words),) if words else ()
    body = msgspec.convert(
        {
            "kind": "claim",
            "pocket": pocket,
            "what": what,
            "minor": parse_money(value, laid.store.currency).minor,
            "kept": msgspec.to_builtins(kept),
        },
        Claimed,
    )
    next_step = {
        "too hot": " Take the pocket out of service and have its exhaust temperature measured before anyone uses it."
    }.get(what, "")
    return _enter(book, store, body, pen, None, f"Complaint entered.{next_step}")


MOST_REFUND = 200
"""Pieces of the store's largest coin that one refund may be worth; beyond that it is a slip."""


def refund(
    book: Book,
    store: str,
    pocket: str,
    value: str,
    pen: Pen,
    *,
    why: str = "",
    paid_by: str = "cash",
    claim_id: str = "",
) -> Entered:
    """Money given back."""
    laid = layout_at(book, store, pen.clock())
    _known_pocket(laid, pocket)
    minor = parse_money(value, laid.store.currency).minor
    if minor <= 0:
        raise InputError("A refund is more than nothing.", mend="Write it like 1.50.")
    if minor > MOST_REFUND * max(laid.store.coins):
        raise InputError(f"A refund of {value} is more than anybody puts into one dryer.", mend="Check the amount.")
    if paid_by not in ("cash", "card", "credit", "post"):
        raise InputError(f"“{paid_by}” is not a way to pay back.", allowed="cash, card, credit, post")
    if claim_id:
        book.find(claim_id)
    body = msgspec.convert(
        {"kind": "refund", "pocket": pocket, "minor": minor, "why": why, "paid_by": paid_by, "claim": claim_id},
        Refunded,
    )
    return _enter(book, store, body, pen, None, f"Refund of {Money(minor, laid.store.currency)} entered.")


def _known_pocket(laid: Layout, pocket: str) -> None:
    if pocket not in laid.pockets:
        raise Missing(f"There is no pocket “{pocket}” in {laid.store.name}. Pockets: {', '.join(laid.pockets)}.")


def house_use(
    book: Book, store: str, pocket: str, pen: Pen, *, time: str = "", pieces: Sequence[str] = (), why: str = ""
) -> Entered:
    """Time or pieces used by the house: drop-off work, service runs."""
    laid = layout_at(book, store, pen.clock())
    _known_pocket(laid, pocket)
    if not time and not pieces:
        raise InputError("House use needs a time or pieces.", mend='Such as --time "30 min" or --pieces 25x4.')
    body = HouseUsed(pocket=pocket, seconds=seconds_from(time) if time else 0, pieces=pieces_from(pieces), why=why)
    return _enter(book, store, body, pen, None, "House use entered: the balance expects it.")


MOST_GIVEN_MIN = 100_000
"""Minutes that one offer may give away in all: seventy days of one pocket."""


def offer(
    book: Book,
    store: str,
    bank: str,
    starts: datetime,
    ends: datetime,
    pen: Pen,
    *,
    minutes: float | None = None,
    says: str = "",
) -> Entered:
    """Dated free time for a bank: ``minutes`` given away in all, over the whole of it."""
    if minutes is None and not says:
        raise InputError(
            "An offer gives minutes, or has settings of its own.",
            mend='Such as --minutes 120, or --set "time per piece=8 min".',
        )
    if minutes is not None and not 0 <= minutes <= MOST_GIVEN_MIN:
        raise InputError("An offer gives minutes in all.", allowed=f"0 to {MOST_GIVEN_MIN:,}")
    return _offer(book, store, OfferMade(bank=bank, starts=starts, ends=ends, minutes_given=minutes, says=says), pen)


def offer_settings(
    book: Book,
    store: str,
    bank: str,
    span: tuple[datetime, datetime],
    texts: Sequence[str],
    pen: Pen,
    *,
    says: str = "",
) -> Entered:
    """Dated cheaper or longer time: name=value lines over the house settings, which the balance expects in between."""
    from drybank.desk.houses import propose

    values = propose(book, store, bank, pen, texts=texts).values
    return _offer(book, store, OfferMade(bank=bank, starts=span[0], ends=span[1], values=values, says=says), pen)


def _offer(book: Book, store: str, body: OfferMade, pen: Pen) -> Entered:
    from drybank.desk.standing import bank_key

    if body.ends <= body.starts:
        raise InputError("The offer ends before it starts.", mend="Turn the moments round.")
    key = bank_key(layout_at(book, store, pen.clock()), body.bank)
    body = msgspec.structs.replace(body, bank=key)
    return _enter(book, store, body, pen, None, "Offer entered: the balance expects it.")
