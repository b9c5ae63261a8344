"""`drybank set`, `drybank replace`, `drybank change-day`: what was done at the machines."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By, StoreKey

if TYPE_CHECKING:
    from drybank.desk.change_day import ChangeDay
    from drybank.desk.setting import ControlState, Visit


@app.command(
    "set",
    epilog="Example: drybank set millrace 14 --as-house --read 14.hours=1234.5 --read 14.coins=8821 --test-coins 25x4",
)
def set_pocket(
    store: StoreKey,
    pocket: Annotated[
        str, typer.Argument(help="The pocket or control; leave it out to see what is done and what is left.")
    ] = "",
    left: Annotated[
        list[str] | None, typer.Option("--left", "-l", help="name=value as left, by the control's own names.")
    ] = None,
    found: Annotated[list[str] | None, typer.Option("--found", "-f", help="name=value as found.")] = None,
    as_house: Annotated[bool, typer.Option("--as-house", help="Left exactly as the house settings say.")] = False,
    read: Annotated[list[str] | None, typer.Option("--read", "-r", help="meter=value or counter=value.")] = None,
    unread: Annotated[list[str] | None, typer.Option("--unread", help="meter=why it could not be read.")] = None,
    sure: Annotated[
        list[str] | None, typer.Option("--sure", help="This meter or counter was read twice with the same result.")
    ] = None,
    test_coins: Annotated[
        list[str] | None, typer.Option("--test-coins", help="Coins put in to test, as 25x4; 0 for none.")
    ] = None,
    read_back: Annotated[bool, typer.Option("--read-back", help="Every value was read back from the control.")] = False,
    card: Annotated[str, typer.Option("--card", help="The id on the work card.")] = "",
    bank: Annotated[str, typer.Option("--bank", help="With no pocket: this bank, pocket by pocket.")] = "",
    when: Annotated[str, typer.Option("--at", help="When it was done, as 2026-05-03T21:40; now if not said.")] = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Enter one pocket as found and as left, with its meters and test coins; or go through a bank."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.setting import Visit, bank_progress, record_visit

    with opened(book) as it:
        writer = pen(by)
        if not pocket:
            states = bank_progress(it, store, bank, writer.clock())
            if as_json or not _is_asking():
                say.as_json(states) if as_json else show_progress(states)
                return
            _whole_bank(it, store, states, writer)
            return
        visit = Visit(
            control=pocket, left=tuple(left or ()), found=tuple(found or ()), as_house=as_house, devices=tuple(read or ()),
            unread=tuple(unread or ()), sure=tuple(sure or ()), test_pieces=_pieces(test_coins or ()), is_read_back=read_back, card=card, happened=moment(when, it, store),
        )  # fmt: skip
        if _is_asking() and not (read or unread):
            visit = _ask(it, store, visit, writer)
        result = record_visit(it, store, visit, writer)
    if as_json:
        say.as_json(result)
        return
    say.line(f"Entered for {result.control}.")
    for one in result.differs:
        say.heed(f"  {one.name} is {one.is_now}; the house says {one.should_be}.")
    if not result.differs:
        say.line("  It is as the house says.")
    for sentence in result.says:
        say.heed(f"  {sentence}")


def _is_asking() -> bool:
    import sys

    return sys.stdin.isatty() and sys.stdout.isatty()


def _pieces(texts: list[str] | tuple[str, ...]):  # type: ignore[no-untyped-def]
    from drybank.records.entry import Pieces
    from drybank.records.errors import InputError

    out = []
    for text in texts:
        worth, _, count = text.partition("x")
        if text == "0":
            continue
        if not worth.isdigit() or not count.isdigit():
            raise InputError(
                f"“{text}” is not coins.",
                where="--test-coins",
                mend="Write worth x number, such as 25x4, or 0 for none.",
            )
        out.append(Pieces(piece_minor=int(worth), count=int(count)))
    return tuple(out)


def moment(text: str, book, store: str):  # type: ignore[no-untyped-def]
    """A moment in the store's own time from 2026-05-03T21:40; nothing for an empty text."""
    if not text:
        return None
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from drybank.desk.stamp import now
    from drybank.records.errors import InputError

    try:
        local = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f"“{text}” is not a moment.", where="--at", mend="Write it like 2026-05-03T21:40.") from None
    return local if local.tzinfo else local.replace(tzinfo=ZoneInfo(book.store_at(store, now()).time_zone))


def _ask(book, store: str, visit: Visit, writer) -> Visit:  # type: ignore[no-untyped-def]
    """Ask for the hour meter, every counter and the test coins; an empty answer leaves one out."""
    import msgspec

    from drybank.cli import say
    from drybank.desk.cards import devices_of
    from drybank.desk.second_look import doubts
    from drybank.desk.setting import shown_value
    from drybank.desk.standing import controls_of, layout_at

    laid = layout_at(book, store, writer.clock())
    control = controls_of(laid, pocket=visit.control)[0]
    say.head(f"{control}: read first, all digits. Return alone leaves one out.")
    read, sure = {}, []
    for key, words in devices_of(laid, [control]):
        answer = typer.prompt(f"  {words}", default="", show_default=False).strip()
        if answer:
            read[key] = answer
    for doubt in doubts(book, laid, [shown_value(laid, k, v) for k, v in read.items()], writer.clock()):
        again = typer.prompt(f"  {doubt.device}: {doubt.says}").strip()
        if again == read[doubt.device]:
            sure.append(doubt.device)
        read[doubt.device] = again
    coins = typer.prompt("  Test coins used, as 25x4 (0 for none)", default="0").strip()
    as_house = visit.as_house or (not visit.left and typer.confirm("  Left as the house settings say?", default=True))
    return msgspec.structs.replace(
        visit,
        devices=tuple(f"{k}={v}" for k, v in read.items()),
        sure=tuple(sure),
        test_pieces=_pieces((coins,)),
        as_house=as_house,
    )


def _whole_bank(book, store: str, states: tuple[ControlState, ...], writer) -> None:  # type: ignore[no-untyped-def]
    """Pocket by pocket through what is left; stop at any prompt, what was entered stays."""
    from drybank.cli import say
    from drybank.desk.setting import Visit, record_visit

    show_progress(states)
    for state in states:
        if state.state == "done" or not typer.confirm(f"{state.control} next?", default=True):
            continue
        result = record_visit(book, store, _ask(book, store, Visit(control=state.control), writer), writer)
        for one in result.differs:
            say.heed(f"  {one.name} is {one.is_now}; the house says {one.should_be}.")


def show_progress(states: tuple[ControlState, ...]) -> None:
    """What is done, what is left."""
    from drybank.cli import say

    done = sum(s.state == "done" for s in states)
    say.head(f"{done} of {len(states)} done")
    rows = [
        (
            s.control,
            s.machine,
            s.state,
            "; ".join(f"{d.name}: {d.is_now}, should be {d.should_be}" for d in s.differs[:3]),
        )
        for s in states
    ]
    say.table(("control", "machine", "state", "what differs"), rows, wraps=(3,))


@app.command(epilog="Example: drybank replace millrace board 14 --last 14.hours=1234.5 --first 14.hours=0.0")
def replace(
    store: StoreKey,
    part: Annotated[str, typer.Argument(help="board, acceptor, counter, meter, motor, drum or coin box.")],
    at: Annotated[str, typer.Argument(help="The control, pocket, meter, counter or box.")],
    last: Annotated[
        list[str] | None, typer.Option("--last", help="device=value of the old part; device= where unreadable.")
    ] = None,
    first: Annotated[list[str] | None, typer.Option("--first", help="device=value of the new part.")] = None,
    sheet: Annotated[str, typer.Option("--sheet", help="The new part's control sheet, where it is another kind.")] = "",
    number: Annotated[str, typer.Option("--number", help="The new part's own number.")] = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Enter a part exchanged, so that meters and counters carry on; a new board comes up with the card that sets it again."""
    from drybank.cli import say
    from drybank.cli.card import one_of
    from drybank.cli.opened import opened, pen
    from drybank.desk.setting import Exchange, replace_part

    one_of("part", part, ("board", "acceptor", "counter", "meter", "motor", "drum", "coin box"))
    with opened(book) as it:
        said = Exchange(part=part, at=at, last=tuple(last or ()), first=tuple(first or ()), sheet=sheet, number=number)  # type: ignore[arg-type]
        entry = replace_part(it, store, said, pen(by))
    if as_json:
        say.as_json({"entry": entry})
        return
    say.line(f"Entered: {part} at {at} replaced.")
    if part == "board":
        say.line(f"Its settings are not known any more. Bring them back with: drybank card {store}")


@app.command(
    "change-day", epilog='Example: drybank change-day millrace north --begin "time per piece=7 min" "first time=28 min"'
)
def change_day(
    store: StoreKey,
    bank: Annotated[str, typer.Argument(help="The bank's key.")] = "",
    settings: Annotated[
        list[str] | None, typer.Argument(help="More name=value lines of --begin.", show_default=False)
    ] = None,
    begin: Annotated[
        list[str] | None,
        typer.Option("--begin", help="name=value: adopt this, and what more is named, from today and begin."),
    ] = None,
    sign_down: Annotated[bool, typer.Option("--sign-down", help="The old sign is down.")] = False,
    sign_up: Annotated[bool, typer.Option("--sign-up", help="The new sign is up.")] = False,
    coin_test: Annotated[str, typer.Option("--coin-test", help="INPUT:PIECESxSECONDS, as 14.slot:4x720.")] = "",
    undo: Annotated[bool, typer.Option("--undo", help="Roll the bank back to what it was.")] = False,
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """A whole bank tonight: begin, see what is left, test each input, change the sign; or roll it back."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk import change_day as day

    with opened(book) as it:
        writer = pen(by)
        if begin or settings:
            day.begin(it, store, bank, writer, texts=_begun_with(begin or [], settings or []))
        if undo:
            day.roll_back(it, store, bank, writer)
        if coin_test:
            key, pieces, seconds = _coin_test(coin_test)
            day.coin_test(it, store, key, pieces, seconds, writer)
        for which, done in (("old down", sign_down), ("new up", sign_up)):
            if done:
                day.sign_changed(it, store, bank, which, writer)
        state = day.status(it, store, bank, writer.clock())
    if as_json:
        say.as_json(state)
    else:
        show_day(state)


def _begun_with(begin: list[str], more: list[str]) -> list[str]:
    """The lines that a change day begins with; lines without --begin begin nothing."""
    from drybank.records.errors import InputError

    if not begin:
        raise InputError(
            f"“{more[0]}” stands alone.", where="change-day", mend='To begin with it: --begin "name=value" ...'
        )
    return [*begin, *more]


def _coin_test(text: str) -> tuple[str, int, float]:
    from drybank.records.errors import InputError

    key, _, rest = text.rpartition(":")
    pieces, _, seconds = rest.partition("x")
    try:
        return key, int(pieces), float(seconds)
    except ValueError:
        raise InputError(
            f"“{text}” is not a coin test.", where="--coin-test", mend="Write INPUT:PIECESxSECONDS, as 14.slot:4x720."
        ) from None


def show_day(state: ChangeDay) -> None:
    """Danger first, then what is left."""
    from drybank.cli import say

    for sentence in state.danger:
        say.danger(sentence)
    show_progress(state.controls)
    if state.is_ended:
        say.line("Done: every control is set, every input tested, the new sign is up.")
    else:
        say.head("Left to do")
        for sentence in state.left_to_do:
            say.line(f"  {sentence}")
