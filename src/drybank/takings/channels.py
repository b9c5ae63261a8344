"""Cards, apps and tokens: what their statements say was sold, charged and paid out, and what does not fit."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from datetime import date, timedelta

from drybank.records.entry import PaidOut
from drybank.records.errors import InputError
from drybank.records.finding import Finding
from drybank.records.money import Money
from drybank.records.takings import Channels, Line, Settlement
from drybank.records.working import Estimate


def settle(lines: Sequence[Line], currency: str) -> Channels:
    """Every payout of these effective entries, and findings: sums that do not add, periods that overlap or leave a gap."""
    made = [_settlement(line.id, line.body, currency) for line in lines if isinstance(line.body, PaidOut)]
    made.sort(key=lambda s: (s.account, s.period_from, s.period_to))
    findings = [f for s in made for f in _sums(s)]
    findings += [f for a, b in itertools.pairwise(made) if a.account == b.account for f in _periods(a, b)]
    return Channels(settlements=tuple(made), findings=tuple(findings))


def _settlement(entry: str, body: PaidOut, currency: str) -> Settlement:
    start, end = _day(body.period_from), _day(body.period_to)
    if end < start:
        raise InputError(
            f"the period ends {end} before it begins {start}.", where=f"payout {entry}", mend="Correct the entry."
        )
    gross, fee, paid = (Money(m, currency) for m in (body.gross_minor, body.fee_minor, body.paid_minor))
    by_input = tuple((key, count, Money(minor, currency)) for key, count, minor in body.inputs)
    return Settlement(
        entry=entry, account=body.account, period_from=start, period_to=end, gross=gross, fee=fee, paid=paid,
        difference=gross - fee - paid, by_input=by_input,
    )  # fmt: skip


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"“{text}” is not a day.", where="payout", mend="Write it like 2026-05-03.") from None


def _sums(s: Settlement) -> list[Finding]:
    out = []
    when = f"{s.period_from} to {s.period_to}"
    if s.difference.minor:
        out.append(
            _finding(
                s,
                "payout does not add",
                f"{s.account}, {when}: {s.gross} sold less {s.fee} in fees is not the {s.paid} paid.",
                s.difference,
            )
        )
    if s.by_input:
        apart = s.gross - Money(sum(m.minor for _, _, m in s.by_input), s.gross.currency)
        if apart.minor:
            says = f"{s.account}, {when}: the machines' own lines miss the total by {apart}."
            out.append(_finding(s, "statement does not add", says, apart))
    return out


def _periods(a: Settlement, b: Settlement) -> list[Finding]:
    if b.period_from <= a.period_to:
        says = f"{a.account}: the payouts to {a.period_to} and from {b.period_from} cover the same days."
        return [_finding(b, "payout periods overlap", says, None)]
    missing = b.period_from - a.period_to - timedelta(days=1)
    if missing.days:
        says = f"{a.account}: no payout covers the {missing.days} days between {a.period_to} and {b.period_from}."
        return [_finding(b, "payout missing", says, None)]
    return []


def _finding(s: Settlement, name: str, says: str, size: Money | None) -> Finding:
    return Finding(
        key=f"takings:{name.replace(' ', '-')}:{s.entry}", room="takings", name=name, where=s.account, says=says, weight="money",
        size=Estimate(value=float(size.minor), unit=f"minor {size.currency}", how="measured") if size else None,
        certainty="exact: as the statements say", next_check="Ask the provider for the period's own list of sales.",
    )  # fmt: skip
