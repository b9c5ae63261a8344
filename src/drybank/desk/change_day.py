"""Change day: a whole bank from old settings to new in one evening, resumable, or rolled back.

The day's state is read from the book alone: the adopted settings that began it, what each control was left at since, the
coin tests since, the signs taken down and put up. So it can stop at any moment and go on from another device.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import msgspec

from drybank.control import rate_statement
from drybank.desk.houses import adopt, propose
from drybank.desk.setting import ControlState, bank_progress
from drybank.desk.signs import time_words
from drybank.desk.stamp import Pen
from drybank.desk.standing import bank_key, layout_at
from drybank.proof import COIN_TEST, TimedSale, judge_coin_test
from drybank.records.control import RateStatement
from drybank.records.entry import PlanAdopted, Proved, SettingChanged
from drybank.records.errors import InputError, Missing
from drybank.records.layout import Layout

if TYPE_CHECKING:
    from drybank.book import Book


class CoinTest(msgspec.Struct, frozen=True, kw_only=True):
    """One input's coin test of this day: what came of it, or that it is still to do."""

    input: str
    verdict: str
    says: str = ""


class ChangeDay(msgspec.Struct, frozen=True, kw_only=True):
    """Where a change day stands. ``danger`` is said while the bank sells at two prices or under the wrong sign."""

    day: str
    store: str
    bank: str
    began: datetime
    is_rollback: bool
    controls: tuple[ControlState, ...]
    coin_tests: tuple[CoinTest, ...]
    is_old_sign_down: bool
    is_new_sign_up: bool
    is_ended: bool
    danger: tuple[str, ...]
    left_to_do: tuple[str, ...]


def begin(book: Book, store: str, bank: str, pen: Pen, *, texts: Sequence[str] = ()) -> ChangeDay:
    """Adopt new house settings from today and begin the bank's change day; refused while another is open."""
    key = bank_key(layout_at(book, store, pen.clock()), bank)
    open_day = _last_day(book, store, key)
    if open_day is not None and not status(book, store, key, pen.clock()).is_ended:
        raise InputError(
            f"Bank {key} has an open change day since {open_day[1]:%Y-%m-%d %H:%M} UTC.",
            mend="Finish it, or roll it back.",
        )
    adopt(book, propose(book, store, key, pen, texts=texts), pen, plan="change day")
    return status(book, store, key, pen.clock())


def roll_back(book: Book, store: str, bank: str, pen: Pen) -> ChangeDay:
    """Take the open change day back: the settings before it are the house's again, and every control is to do once more."""
    key = bank_key(layout_at(book, store, pen.clock()), bank)
    open_day = _last_day(book, store, key)
    if open_day is None or status(book, store, key, pen.clock()).is_ended:
        raise InputError(f"Bank {key} has no open change day.", mend="Begin one, or adopt settings.")
    day, _began, _ = open_day
    before = _adopted_before(book, store, key, day)
    if before is None:
        raise InputError(
            "There were no house settings before this change day.", mend="Adopt the ones you want instead."
        )
    proposal = propose(book, store, key, pen, house=before.values)
    adopt(book, proposal, pen, plan="change day", undoes=day)
    return status(book, store, key, pen.clock())


def sign_changed(book: Book, store: str, bank: str, which: str, pen: Pen) -> ChangeDay:
    """Enter that the old sign came down or the new one went up."""
    key = bank_key(layout_at(book, store, pen.clock()), bank)
    day = _last_day(book, store, key)
    if day is None:
        raise InputError(f"Bank {key} has no change day.", mend="Begin one first.")
    if which not in ("old down", "new up"):
        raise InputError(f"“{which}” is not a thing to do with a sign.", allowed="old down, new up")
    if which == "new up" and not status(book, store, key, pen.clock()).is_old_sign_down:
        raise InputError(
            "The old sign is still up by the book.", mend="Take it down and enter that first: --sign-down."
        )
    body = SettingChanged(bank=key, sign="old down" if which == "old down" else "new up", change_day=day[0])
    book.append([pen.entry(store, body)])
    return status(book, store, key, pen.clock())


def coin_test(book: Book, store: str, input_key: str, pieces: int, seconds: float, pen: Pen) -> ChangeDay:
    """Enter one input's coin test: so many pieces gave so many seconds; judged against what the settings sell."""
    laid = layout_at(book, store, pen.clock())
    if input_key not in laid.inputs:
        raise Missing(f"There is no input “{input_key}”. Inputs: {', '.join(laid.inputs)}.")
    bank = laid.controls[laid.inputs[input_key].control].bank
    day = _last_day(book, store, bank)
    if day is None:
        raise InputError(f"Bank {bank} has no change day.", mend="Begin one first, or use drybank prove.")
    body = coin_test_body(book, laid, input_key, pieces, seconds, day=day[0], when=pen.clock())
    book.append([pen.entry(store, body)])
    return status(book, store, bank, pen.clock())


def coin_test_body(
    book: Book, laid: Layout, input_key: str, pieces: int, seconds: float, *, day: str, when: datetime
) -> Proved:
    """What a coin test becomes in the book, judged by the settings that stood at ``when``."""
    if not 1 <= pieces <= 100 or not 0 < seconds <= 36_000:
        raise InputError("A coin test is 1 to 100 pieces and up to ten hours.", mend="Check pieces and seconds.")
    if input_key not in laid.inputs:
        raise Missing(f"There is no input “{input_key}”. Inputs: {', '.join(laid.inputs)}.")
    expected = _expected_s(book, laid, input_key, pieces, when)
    control = laid.inputs[input_key].control
    judged = judge_coin_test(TimedSale(pocket=control, kind="start", sold_s=expected, ran_s=seconds))
    tolerance = judged.tolerance or COIN_TEST
    return Proved(
        test="coin test", at=input_key, verdict=judged.verdict, unit="s", margin=judged.margin,
        measured={"pieces": float(pieces), "seconds": seconds, "expected_s": float(expected), "change day": day},
        tolerance=tolerance.shown(), instrument="stop-watch",
    )  # fmt: skip


def _expected_s(book: Book, laid: Layout, input_key: str, pieces: int, when: datetime) -> int:
    """Sold seconds that the sale rule gives for these pieces at this control as it was left."""
    from drybank.control import sell, worth
    from drybank.records.control import Paid

    one = laid.inputs[input_key]
    held = book.settings_at(laid.store.key, when).get(one.control, {})
    if not held:
        raise InputError(f"What control {one.control} was left at is not known.", mend="Enter it first: drybank set.")
    sheet = laid.sheets[laid.controls[one.control].sheet]
    return sell(sheet, held, (Paid(0, one.sheet_input, pieces),), worth=worth(laid, one.control)).sold_s


def _days(book: Book, store: str, bank: str) -> list[tuple[str, datetime, PlanAdopted]]:
    return [
        (t.id, t.happened, t.body)
        for t in book.story(store, kinds=("adopted plan",))
        if isinstance(t.body, PlanAdopted) and t.body.bank == bank
    ]


def _last_day(book: Book, store: str, bank: str) -> tuple[str, datetime, PlanAdopted] | None:
    days = [d for d in _days(book, store, bank) if d[2].plan == "change day"]
    return days[-1] if days else None


def _adopted_before(book: Book, store: str, bank: str, day: str) -> PlanAdopted | None:
    before = None
    for key, _, body in _days(book, store, bank):
        if key == day:
            return before
        before = body
    return before


def status(book: Book, store: str, bank: str, when: datetime) -> ChangeDay:
    """Where the bank's last change day stands, from the book alone."""
    laid = layout_at(book, store, when)
    key = bank_key(laid, bank)
    last = _last_day(book, store, key)
    if last is None:
        raise Missing(f"Bank {key} has had no change day.")
    day, began, body = last
    states = bank_progress(book, store, key, when)
    since = list(book.story(store, kinds=("setting change", "proof"), since=began))
    signs = [
        t.body.sign for t in since if isinstance(t.body, SettingChanged) and t.body.change_day == day and t.body.sign
    ]
    tests = _coin_tests(
        laid, key, [t.body for t in since if isinstance(t.body, Proved) and t.body.measured.get("change day") == day]
    )
    down, up = "old down" in signs, "new up" in signs
    left = _left_to_do(states, tests, down=down, up=up)
    return ChangeDay(
        day=day, store=store, bank=key, began=began, is_rollback=bool(body.undoes), controls=states, coin_tests=tests,
        is_old_sign_down=down, is_new_sign_up=up, is_ended=not left, left_to_do=left,
        danger=_danger(states, rate_statement(laid, key, body.values), down=down, up=up),
    )  # fmt: skip


def _coin_tests(laid: Layout, bank: str, done: Sequence[Proved]) -> tuple[CoinTest, ...]:
    last = {p.at: p for p in done}
    out = []
    for one in laid.inputs.values():
        if laid.controls[one.control].bank != bank or one.means != "coin":
            continue
        proof = last.get(one.key)
        says = (
            f"{proof.measured['seconds']:g} s for {proof.measured['pieces']:g} pieces, {proof.measured['expected_s']:g} s expected"
            if proof
            else ""
        )
        out.append(CoinTest(input=one.key, verdict=proof.verdict if proof else "to do", says=says))
    return tuple(out)


def _left_to_do(states: Sequence[ControlState], tests: Sequence[CoinTest], *, down: bool, up: bool) -> tuple[str, ...]:
    left = [] if down else ["Take the old sign down."]
    to_set = [s.control for s in states if s.state != "done"]
    to_test = [t.input for t in tests if t.verdict == "to do"]
    left += [f"Set {', '.join(to_set)}."] if to_set else []
    left += [f"Coin test at {', '.join(to_test)}."] if to_test else []
    left += [
        f"Coin test at {t.input} is too close to call ({t.says}): test again."
        for t in tests
        if t.verdict == "cannot tell"
    ]
    left += [f"Coin test at {t.input} failed ({t.says}): mend and test again." for t in tests if t.verdict == "fail"]
    return (*left, *([] if up else ["Put the new sign up."]))


def _danger(states: Sequence[ControlState], stated: RateStatement, *, down: bool, up: bool) -> tuple[str, ...]:
    done = [s for s in states if s.state == "done"]
    unknown = [s for s in states if s.state == "not known"]
    out = []
    if unknown:
        out.append(
            f"What {len(unknown)} of {len(states)} controls sell is not known: {', '.join(s.control for s in unknown[:6])}."
        )
    if done and len(done) + len(unknown) < len(states):
        new = f" ({time_words(stated.rates[0].first_time_s, 'en')} for the first start)" if stated.rates else ""
        out.append(
            f"Danger: this bank sells at two prices. {len(done)} of {len(states)} controls have the new one{new}. Finish, or roll back."
        )
    if done and not down:
        out.append("Danger: the old sign is still up and no longer true.")
    if up and len(done) < len(states):
        out.append("Danger: the new sign is up before every control is set. Take it down, or set the rest now.")
    if len(done) == len(states) and down and not up:
        out.append("The bank has no sign. Put the new one up before you leave.")
    return tuple(out)
