"""Tax on vended drying and a landlord's or partner's share, to the minor unit; sums always add."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from fractions import Fraction

from drybank.records.errors import InputError
from drybank.records.money import Money, exact, round_minor
from drybank.records.store import SalesTax, Share
from drybank.records.takings import ShareLine, ShareOut, TaxSplit


def percent_frac(text: str, what: str) -> Fraction:
    """An exact fraction from percent text; 0 to 100."""
    value = exact(text) / 100
    if not 0 <= value <= 1:
        raise InputError(f"{what} is {text} %.", allowed="0 to 100 %")
    return value


def tax_in_force(taxes: Sequence[SalesTax], day: date) -> SalesTax | None:
    """The latest rate whose first day is not after ``day``."""
    begun = [t for t in taxes if date.fromisoformat(t.valid_from) <= day]
    return max(begun, key=lambda t: t.valid_from) if begun else None


def split_tax(takings: Money, rule: SalesTax | None) -> TaxSplit:
    """Split takings by a tax rule. Included: the tax is within the takings; otherwise it is owed on top of them.

    The tax is worked out exactly and rounded once, half up: the third decimal decides, as the Streamlined Sales and Use
    Tax Agreement, section 324, asks (read in Rhode Island General Laws 44-18.1-25).
    """
    if rule is None:
        zero = Money(0, takings.currency)
        return TaxSplit(base=takings, tax=zero, total=takings)
    rate = percent_frac(rule.percent, "The tax rate")
    share = rate / (1 + rate) if rule.is_included else rate
    tax = Money(round_minor(takings.minor * share), takings.currency)
    base, total = (takings - tax, takings) if rule.is_included else (takings, takings + tax)
    return TaxSplit(
        base=base, tax=tax, total=total, percent=rule.percent, jurisdiction=rule.jurisdiction, source=rule.source
    )


def _bands(share: Share) -> list[tuple[int, int | None, str]]:
    """Bands of the base as (from, to, percent), lowest first."""
    cuts = [(0, share.percent), *((t.above_minor, t.percent) for t in sorted(share.tiers, key=lambda t: t.above_minor))]
    ends: list[int | None] = [cut for cut, _ in cuts[1:]]
    ends.append(None)
    return [(low, high, percent) for (low, percent), high in zip(cuts, ends, strict=True)]


def share_out(base: Money, share: Share, costs: Money) -> ShareOut:
    """What the partner is due of a period's takings after tax.

    A base below nothing (costs taken first) shares nothing, but a guaranteed minimum is due all the same; ``kept`` may
    then be negative.
    """
    shared = base - costs if share.costs_first else base
    if share.guaranteed_minor < 0:
        raise InputError(f"The guaranteed minimum of {share.name} is negative.", mend="Give it as 0 or more.")
    lines, amount = [], Fraction(0)
    for low, high, percent in _bands(share):
        within = max(0, (min(shared.minor, high) if high is not None else shared.minor) - low)
        part = within * percent_frac(percent, f"The share of {share.name}")
        amount += part
        if within:
            lines.append(ShareLine(says=f"{percent} % of {Money(within, base.currency)}", exact_minor=str(part)))
    by_percent = round_minor(amount, share.rounding)
    due = Money(max(by_percent, share.guaranteed_minor), base.currency)
    return ShareOut(
        name=share.name,
        base=shared,
        due=due,
        kept=shared - due,
        lines=tuple(lines),
        is_guaranteed=due.minor > by_percent,
        rounding=share.rounding,
    )
