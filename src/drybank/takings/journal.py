"""A plain journal for the accountant: double entry as lines of text that a person can read.

The form is the plain-text ledger that several free accounting programs read; `docs/reference/journal.md` states all of it
that is used here. Every transaction adds to nothing, to the minor unit, and what the coins on the way hold in the end is what
`takings.follow` says is on the way.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date

from drybank.records.entry import AnyBody, Deposited, PaidOut, PiecesCounted, Refunded
from drybank.records.layout import Layout
from drybank.records.money import Money
from drybank.records.takings import Custody, DepositMatch, Line
from drybank.takings.moves import Move, What, moves

ON_THE_WAY, BANK, FLOAT, DRAWER = "Assets:Coins-on-the-way", "Assets:Bank", "Assets:Change-float", "Assets:Drawer"
INCOME, CARD_INCOME, FEES, REFUNDS, CHANNEL, SHORT = (
    "Income:Coins",
    "Income:Cards",
    "Expenses:Card-fees",
    "Expenses:Refunds",
    "Assets:Card-channel",
    "Expenses:Short-and-over",
)
ACCOUNTS = (ON_THE_WAY, BANK, FLOAT, DRAWER, CHANNEL, INCOME, CARD_INCOME, FEES, REFUNDS, SHORT)
# kind of move: (into, out of)
POSTED: dict[What, tuple[str, str]] = {
    "coins": (ON_THE_WAY, INCOME), "cards": (CHANNEL, CARD_INCOME), "fees": (FEES, CHANNEL), "paid": (BANK, CHANNEL),
    "refunds": (REFUNDS, BANK), "bank": (BANK, ON_THE_WAY), "float": (FLOAT, ON_THE_WAY),
}  # fmt: skip

_Key = tuple[date, str, str]


def _says(body: AnyBody) -> str:
    if isinstance(body, PiecesCounted):
        return f"Counted {body.bag or ', '.join(body.boxes)}".strip()
    if isinstance(body, Deposited):
        return f"Deposit of {', '.join(body.bags)}"
    if isinstance(body, PaidOut):
        return f"Payout of {body.account}"
    return f"Refund at pocket {body.pocket}" if isinstance(body, Refunded) else ""


def _post(move: Move) -> tuple[str, str]:
    if isinstance(move.body, Refunded) and move.body.paid_by == "cash":
        return REFUNDS, DRAWER
    return POSTED[move.what]


def _matched(match: DepositMatch) -> dict[str, int]:
    """What a deposit lacked or had too much, and the cash given back that made up for some of it."""
    apart = match.short.minor - match.over.minor
    return {DRAWER: match.refunded.minor, SHORT: apart, ON_THE_WAY: -match.refunded.minor - apart}


def journal(
    layout: Layout, lines: Sequence[Line], *, custody: Custody | None = None, starts: date | None = None,
    ends: date | None = None,
) -> str:  # fmt: skip
    """The journal of a store's story (what was taken back included), oldest first, of the days from ``starts`` to ``ends``.

    ``custody`` of the same entries adds what deposits were short or over.
    """
    currency = layout.store.currency
    booked: dict[_Key, tuple[AnyBody, dict[str, int]]] = {}
    for move in moves(lines, layout.store.time_zone):
        body, sums = booked.setdefault((move.day, move.entry, move.of_week), (move.body, defaultdict(int)))
        into, out_of = _post(move)
        sums[into] += move.minor
        sums[out_of] -= move.minor
    last = {key[1]: key for key in sorted(booked, key=lambda k: k[0])}
    for match in custody.deposits if custody else ():
        for account, minor in _matched(match).items():
            booked[last[match.deposit]][1][account] += minor
    rows = [
        (key, *booked[key])
        for key in sorted(booked, key=lambda k: k[0])
        if (key == last[key[1]] or any(booked[key][1].values()))
        if (starts is None or key[0] >= starts) and (ends is None or key[0] <= ends)
    ]
    if not rows:
        return ""
    out = [f"; {_plain(layout.store.name)}: journal of money, amounts in {currency}", ""]
    out += [f"{rows[0][0][0]} open {account}" for account in ACCOUNTS]
    for (day, entry, week), body, sums in rows:
        says = f"Adjustment of {week}: {_says(body)}" if week else _says(body)
        out += ["", f'{day} * "{_plain(layout.store.name)}" "{_plain(says)}"', f'  entry: "{entry}"']
        is_nothing = not any(sums.values())
        out += [
            f"  {account}  {Money(minor, currency).decimal()} {currency}"
            for account, minor in sums.items()
            if minor or is_nothing
        ]
    return "\n".join(out) + "\n"


def _plain(text: str) -> str:
    """Text that cannot end its own quotes or line."""
    return " ".join(text.replace('"', "'").replace("\\", "/").split())
