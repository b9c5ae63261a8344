"""A plain journal for the accountant: double entry as lines of text that a person can read.

The form is the plain-text ledger that several free accounting programs read; `docs/reference/journal.md` states all of it
that is used here. Every transaction adds to nothing, to the minor unit.
"""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from drybank.records.entry import Deposited, PaidOut, PiecesCounted, Refunded
from drybank.records.layout import Layout
from drybank.records.money import Money
from drybank.records.takings import Line
from drybank.takings.custody import count_value

ON_THE_WAY, BANK, FLOAT = "Assets:Coins-on-the-way", "Assets:Bank", "Assets:Change-float"
INCOME, CARD_INCOME, FEES, REFUNDS, CHANNEL = (
    "Income:Coins",
    "Income:Cards",
    "Expenses:Card-fees",
    "Expenses:Refunds",
    "Assets:Card-channel",
)
ACCOUNTS = (ON_THE_WAY, BANK, FLOAT, CHANNEL, INCOME, CARD_INCOME, FEES, REFUNDS)

Posting = tuple[str, Money]


def postings(line: Line, currency: str) -> tuple[str, tuple[Posting, ...]] | None:
    """What one effective entry means in double entry, or None where it moves no money."""
    body = line.body

    def money(minor: int) -> Money:
        return Money(minor, currency)

    if isinstance(body, PiecesCounted):
        value = count_value(body)
        return (
            f"Counted {body.bag or ', '.join(body.boxes)}".strip(),
            ((ON_THE_WAY, money(value)), (INCOME, money(-value))),
        )
    if isinstance(body, Deposited):
        to = BANK if body.to == "bank" else FLOAT
        return (f"Deposit of {', '.join(body.bags)}", ((to, money(body.minor)), (ON_THE_WAY, money(-body.minor))))
    if isinstance(body, PaidOut):
        rest = body.gross_minor - body.fee_minor - body.paid_minor
        lines = [(BANK, money(body.paid_minor)), (FEES, money(body.fee_minor)), (CARD_INCOME, money(-body.gross_minor))]
        return (f"Payout of {body.account}", (*lines, *([(CHANNEL, money(rest))] if rest else [])))
    if isinstance(body, Refunded):
        source = ON_THE_WAY if body.paid_by == "cash" else BANK
        return (f"Refund at pocket {body.pocket}", ((REFUNDS, money(body.minor)), (source, money(-body.minor))))
    return None


def journal(layout: Layout, lines: Sequence[Line]) -> str:
    """The journal of a store's effective entries, oldest first, accounts opened on the first day."""
    zone, currency = ZoneInfo(layout.store.time_zone), layout.store.currency
    dated = [(x.happened.astimezone(zone).date(), x, p) for x in lines if (p := postings(x, currency)) is not None]
    if not dated:
        return ""
    first = min(day for day, _, _ in dated)
    out = [f"; {_plain(layout.store.name)}: journal of money, amounts in {currency}", ""]
    out += [f"{first} open {account}" for account in ACCOUNTS]
    for day, line, (says, parts) in sorted(dated, key=lambda d: d[0]):
        out += ["", f'{day} * "{_plain(layout.store.name)}" "{_plain(says)}"', f'  entry: "{line.id}"']
        out += [f"  {account}  {amount.decimal()} {currency}" for account, amount in parts]
    return "\n".join(out) + "\n"


def _plain(text: str) -> str:
    """Text that cannot end its own quotes or line."""
    return " ".join(text.replace('"', "'").replace("\\", "/").split())
