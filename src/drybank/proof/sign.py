"""The price sign against what the control sells: exact, line by line, and the refund notice."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import Literal

import msgspec

from drybank.proof.judge import judge, looked, overall
from drybank.proof.standing import CAUTIONS, REFUND_NOTICE, STATEMENT_OF_RATES
from drybank.records.errors import InputError
from drybank.records.money import Money
from drybank.records.proof import Conduct, Figure, Judgement, Measured, ProofResult, Tolerance, Verdict
from drybank.records.units import minutes
from drybank.records.working import Estimate, Input, Working


class PostedLine(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the sign as it hangs: so much money, so many seconds, for a start or a top-up."""

    money: Money
    seconds: int
    kind: Literal["start", "top-up"] = "start"

    def __post_init__(self) -> None:
        if self.money.minor <= 0 or self.seconds <= 0:
            raise InputError(
                f"The sign cannot sell {self.seconds} s for {self.money}.",
                mend="Enter the line as it hangs on the wall.",
            )


class PostedSign(msgspec.Struct, frozen=True, kw_only=True):
    """What hangs on the wall, as somebody read it off.

    ``starts_with`` is the number of coins that the sign says start a dryer (0: it does not
    say). The refund notice counts as shown when it says how, by whom, where and by what
    telephone, or when staff on site settle it.
    """

    lines: tuple[PostedLine, ...]
    starts_with: int = 0
    refund_how: str = ""
    refund_name: str = ""
    refund_address: str = ""
    refund_phone: str = ""
    is_attended: bool = False


Sells = Callable[[Literal["start", "top-up"], int], float]
"""Seconds that the settings sell for a start or a top-up of so many minor units."""


def _line(posted: PostedLine, sells: Sells, rule: Tolerance | None) -> Judgement:
    """Equal or not: arithmetic decides, with or without a local rule on it."""
    sold = float(sells(posted.kind, posted.money.minor))
    reading = Measured(value=sold, unit="s", plus_minus=0.0, uncertainty_from="settings are exact")
    gap = sold - posted.seconds
    saw = f"sign {minutes(posted.seconds)}, settings {minutes(sold)}"
    judged = judge(f"{posted.kind} for {posted.money}", reading, rule, nominal=float(posted.seconds))
    if rule is None:
        judged = msgspec.structs.replace(judged, verdict="fail" if gap else "pass", margin=-abs(gap))
    side = "the customer is short" if gap < 0 else "the customer gets extra"
    because = f"The sign and the settings differ by {abs(gap):g} s: {side}." if gap else ""
    return msgspec.structs.replace(judged, saw=saw, because=because)


def _notice(sign: PostedSign, rule: Tolerance | None) -> Judgement:
    missing = [
        name
        for name, text in (
            ("how money is returned", sign.refund_how),
            ("a name", sign.refund_name),
            ("an address", sign.refund_address),
            ("a telephone number", sign.refund_phone),
        )
        if not text.strip()
    ]
    holds = sign.is_attended or not missing
    saw = (
        "staff on site settle it"
        if sign.is_attended
        else ("complete" if not missing else "lacks " + ", ".join(missing))
    )
    return looked("refund notice", holds=holds, saw=saw, tolerance=rule)


def _coins(sign: PostedSign, starts_with: int, rule: Tolerance | None) -> Judgement:
    saw = f"sign says {sign.starts_with or 'nothing'}, settings need {starts_with}"
    return looked("number of coins that start a dryer", holds=sign.starts_with == starts_with, saw=saw,
                  tolerance=rule)  # fmt: skip


def price_spread_pct(lines: Sequence[PostedLine]) -> Fraction | None:
    """By how much the dearest line costs more a minute than the cheapest, exact; None for one line."""
    prices = [Fraction(p.money.minor, p.seconds) for p in lines]
    return None if len(prices) < 2 else 100 * (max(prices) / min(prices) - 1)


class SignRules(msgspec.Struct, frozen=True, kw_only=True):
    """The local rules on the sign; None where none is on file. A false line is false without one."""

    rates: Tolerance | None = STATEMENT_OF_RATES
    notice: Tolerance | None = REFUND_NOTICE


def prove_sign(
    sign: PostedSign,
    sells: Sells,
    *,
    subject: str,
    starts_with: int | None = None,
    rules: SignRules | None = None,
    conduct: Conduct | None = None,
) -> ProofResult:
    """Judge the sign of a bank against its settings: each line exact, coins to start, refund notice.

    ``sells`` is the bank's sale rule under the settings in force; ``starts_with`` the coins
    that a start takes by those settings (None leaves that line out).
    """
    if not sign.lines:
        raise InputError("The sign states no price.", mend="Enter each line that hangs on the wall, or hang one.")
    rules = rules or SignRules()
    judged = tuple(_line(p, sells, rules.rates) for p in sign.lines)
    if starts_with is not None:
        judged = (*judged, _coins(sign, starts_with, rules.rates))
    if rules.notice is not None:
        judged = (*judged, _notice(sign, rules.notice))
    verdict = overall(judged)
    wrong = [j for j in judged if j.verdict == "fail"]
    spread = price_spread_pct(sign.lines)
    figures = () if spread is None else (
        Figure(name="spread of the price a minute over the lines", estimate=Estimate(value=float(spread), unit="%")),
    )  # fmt: skip
    return ProofResult(
        kind="price sign",
        subject=subject,
        verdict=verdict,
        says="The sign says what the control sells."
        if not wrong
        else "The sign does not hold: " + "; ".join(f"{j.name}: {j.saw}" for j in wrong) + ".",
        next_step=_next_step(verdict, wrong),
        cautions=CAUTIONS["sign"],
        judgements=judged,
        figures=figures,
        workings=(
            Working(
                figure="time for money",
                formula="the sale rule of the control sheet under the settings in force",
                inputs=tuple(Input(name=j.name, value=j.saw) for j in judged),
                source=rules.rates.shown() if rules.rates else "no local rule on file",
            ),
        ),
        conduct=conduct or Conduct(),
    )


def _next_step(verdict: Verdict, wrong: Sequence[Judgement]) -> str:
    if verdict == "pass":
        return "Nothing to do; check again on the next change day."
    if any(j.name == "refund notice" for j in wrong) and len(wrong) == 1:
        return "Hang a notice that says how money is returned, by whom, where and by what telephone."
    return "Read the settings back, then hang a sign that states them, or set the control to the sign."
