"""`drybank cash ...`: money from the slot on, one word a step. Counting is blind: nothing expected is shown here."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By, StoreKey

if TYPE_CHECKING:
    from drybank.desk.cash import Entered

cash = typer.Typer(
    no_args_is_help=True, help="Money from the slot on: collect, count, hand over, pay in, pay out, give back."
)
app.add_typer(cash, name="cash")

At = Annotated[str, typer.Option("--at", help="When, as 2026-05-03T21:40; now if not said.")]
Second = Annotated[str, typer.Option("--with", help="The second person.")]
Bag = Annotated[str, typer.Option("--bag", help="The bag's own number.")]
Pocket = Annotated[str, typer.Argument(help="The pocket.", show_default=False)]


def _said(done: Entered, as_json: bool) -> None:
    from drybank.cli import say

    if as_json:
        say.as_json(done)
    else:
        say.line(done.says)


@cash.command(epilog="Example: drybank cash collect lantern 1 3 5 --bag A12 --after-reading")
def collect(
    store: StoreKey,
    boxes: Annotated[
        list[str], typer.Argument(help="Boxes, their numbers, or the pockets that feed them.", show_default=False)
    ],
    bag: Bag = "",
    second: Second = "",
    after_reading: Annotated[bool, typer.Option("--after-reading", help="The counters were read just before.")] = False,
    at: At = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Boxes emptied into one bag."""
    from drybank.cli.opened import opened, pen
    from drybank.cli.setting import moment
    from drybank.desk import cash as desk

    with opened(book) as it:
        happened = moment(at, it, store)
        done = desk.collect(
            it, store, boxes, pen(by), bag=bag, second=second, after_reading=after_reading or None, happened=happened
        )
    _said(done, as_json)


@cash.command(
    epilog="Example: drybank cash count lantern --bag A12 --pieces 25x640 --pieces 100x31 --method machine --with kim"
)
def count(
    store: StoreKey,
    bag: Bag = "",
    box: Annotated[list[str] | None, typer.Option("--box", help="A box or pocket, where there is no bag.")] = None,
    pieces: Annotated[list[str] | None, typer.Option("--pieces", help="worth x number, as 25x640.")] = None,
    value: Annotated[str, typer.Option("--value", help="The value, where pieces are not told apart.")] = "",
    method: Annotated[str, typer.Option("--method", help="hand, machine or weight.")] = "hand",
    weight_g: Annotated[
        float | None, typer.Option("--weight-g", help="Grams without the bag, where it was weighed.")
    ] = None,
    foreign: Annotated[int, typer.Option("--foreign", help="Foreign or bent pieces.", min=0)] = 0,
    second: Second = "",
    at: At = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """What was in a bag or in boxes, counted blind."""
    from drybank.cli.opened import opened, pen
    from drybank.cli.setting import moment
    from drybank.desk import cash as desk

    with opened(book) as it:
        said = desk.CountSaid(
            bag=bag, boxes=tuple(box or ()), pieces=tuple(pieces or ()), value=value, method=method, weight_g=weight_g,
            foreign=foreign, second=second,
        )  # fmt: skip
        done = desk.count(it, store, said, pen(by), happened=moment(at, it, store))
    _said(done, as_json)


@cash.command("hand-over", epilog="Example: drybank cash hand-over lantern A12 kim --seal 90417")
def hand_over(
    store: StoreKey,
    bag: Annotated[str, typer.Argument(help="The bag, or a key such as 'key 3'.")],
    to: Annotated[str, typer.Argument(help="Who has it now.")],
    seal: Annotated[str, typer.Option("--seal", help="The number on the bag's seal.")] = "",
    at: At = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """A sealed bag from one holder to the next."""
    from drybank.cli.opened import opened, pen
    from drybank.cli.setting import moment
    from drybank.desk import cash as desk

    with opened(book) as it:
        done = desk.hand_over(it, store, bag, to, pen(by), seal=seal, happened=moment(at, it, store))
    _said(done, as_json)


@cash.command(epilog="Example: drybank cash deposit lantern A12 A13 --value 412.25 --slip 5512")
def deposit(
    store: StoreKey,
    bags: Annotated[
        list[str], typer.Argument(help="The bags paid in; a box or pocket where there was no bag.", show_default=False)
    ],
    value: Annotated[str, typer.Option("--value", help="What the slip says, as 412.25.")],
    to: Annotated[str, typer.Option("--to", help="bank, or float for the change machine.")] = "bank",
    slip: Annotated[str, typer.Option("--slip", help="The slip's number.")] = "",
    at: At = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Bags paid in at the bank, or put into the change machine."""
    from drybank.cli.opened import opened, pen
    from drybank.cli.setting import moment
    from drybank.desk import cash as desk

    with opened(book) as it:
        done = desk.deposit(it, store, bags, value, pen(by), to=to, slip=slip, happened=moment(at, it, store))
    _said(done, as_json)


@cash.command(
    epilog='Example: drybank cash payout lantern "town card" 2026-05-04 2026-05-10 --gross 212.50 --fee 6.38 --paid 206.12'
)
def payout(
    store: StoreKey,
    account: Annotated[str, typer.Argument(help="The account that cards, apps or tokens pay into.")],
    first: Annotated[str, typer.Argument(help="First day of the statement.")],
    last: Annotated[str, typer.Argument(help="Last day of the statement.")],
    gross: Annotated[str, typer.Option("--gross", help="What was sold.")],
    fee: Annotated[str, typer.Option("--fee", help="Fees.")] = "0",
    paid: Annotated[str, typer.Option("--paid", help="What was paid out.")] = "0",
    line: Annotated[
        list[str] | None, typer.Option("--line", help="INPUT:PIECES:VALUE of one machine, as 1.pad:44:11.00.")
    ] = None,
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """A settlement of cards, apps or tokens."""
    from drybank.cli.opened import opened, pen
    from drybank.desk import cash as desk
    from drybank.records.errors import InputError

    inputs = []
    for text in line or ():
        parts = text.rsplit(":", 2)
        if len(parts) != 3 or not parts[1].isdigit():
            raise InputError(
                f"“{text}” is not a line.", where="--line", mend="Write INPUT:PIECES:VALUE, as 1.pad:44:11.00."
            )
        inputs.append((parts[0], int(parts[1]), parts[2]))
    said = desk.PayoutSaid(
        account=account, period_from=first, period_to=last, gross=gross, fee=fee, paid=paid, inputs=tuple(inputs)
    )
    with opened(book) as it:
        done = desk.payout(it, store, said, pen(by))
    _said(done, as_json)


@cash.command(epilog='Example: drybank cash settle lantern "town card" may.csv --mapping card.toml --yes')
def settle(
    store: StoreKey,
    account: Annotated[str, typer.Argument(help="The account that cards, apps or tokens pay into.")],
    file: Annotated[str, typer.Argument(help="The provider's file, CSV or XLSX.", show_default=False)],
    mapping: Annotated[
        str, typer.Option("--mapping", "-m", help="What its columns hold (TOML); guessed if not said.")
    ] = "",
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Enter it without asking.")] = False,
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """A settlement file of cards, apps or tokens, rows per machine or sale, into one payout."""
    from pathlib import Path

    from drybank.cli import say
    from drybank.cli.files import confirmed
    from drybank.cli.opened import opened, pen
    from drybank.desk import cash as desk
    from drybank.desk.files import text_of

    given = (Path(file).name, text_of(file))
    mapped = (mapping, text_of(mapping)) if mapping else None
    with opened(book) as it:
        read, done = desk.settle_file(it, store, account, given, pen(by), mapping=mapped, is_real=False)
        if not as_json:
            say.table(("column", "taken for"), [(h, holds) for h, holds in read.columns if holds != "ignore"])
            say.line(
                f"{read.rows} rows, {read.first} to {read.last}: sold {read.gross_minor / 100:,.2f}, fees {read.fee_minor / 100:,.2f}, paid {read.paid_minor / 100:,.2f}."
            )
        if yes or confirmed("Enter this payout?", as_json=as_json):
            read, done = desk.settle_file(it, store, account, given, pen(by), mapping=mapped)
    if as_json:
        say.as_json({"read": read, "entered": done})
    else:
        say.line(done.says if done else "Nothing entered. Add --yes to enter it.")


@cash.command(epilog='Example: drybank cash claim lantern 7 "short time" --value 1.00')
def claim(
    store: StoreKey,
    pocket: Pocket,
    what: Annotated[str, typer.Argument(help="no time, short time, not hot, too hot, coin jam or other.")],
    value: Annotated[str, typer.Option("--value", help="What the customer says was lost.")] = "0",
    words: Annotated[
        str, typer.Option("--words", help="The customer's words; kept beside the chain, can be erased.")
    ] = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """A complaint about one pocket."""
    from drybank.cli.opened import opened, pen
    from drybank.desk import cash as desk

    with opened(book) as it:
        done = desk.claim(it, store, pocket, what, pen(by), value=value, words=words)
    _said(done, as_json)


@cash.command(epilog="Example: drybank cash refund lantern 7 1.00 --why 'stopped after five minutes'")
def refund(
    store: StoreKey,
    pocket: Pocket,
    value: Annotated[str, typer.Argument(help="How much, as 1.50.")],
    why: Annotated[str, typer.Option("--why", help="Why, without who.")] = "",
    paid_by: Annotated[str, typer.Option("--paid-by", help="cash, card, credit or post.")] = "cash",
    claim_id: Annotated[str, typer.Option("--claim", help="The complaint it answers.")] = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Money given back."""
    from drybank.cli.opened import opened, pen
    from drybank.desk import cash as desk

    with opened(book) as it:
        done = desk.refund(it, store, pocket, value, pen(by), why=why, paid_by=paid_by, claim_id=claim_id)
    _said(done, as_json)


@cash.command("house-use", epilog='Example: drybank cash house-use lantern 3 --time "45 min" --why "drop-off work"')
def house_use(
    store: StoreKey,
    pocket: Pocket,
    time: Annotated[str, typer.Option("--time", help='Time run, as "45 min".')] = "",
    pieces: Annotated[list[str] | None, typer.Option("--pieces", help="Pieces of the house's own, as 25x4.")] = None,
    why: Annotated[str, typer.Option("--why", help="What for.")] = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Time or pieces used by the house, so that the balance expects them."""
    from drybank.cli.opened import opened, pen
    from drybank.desk import cash as desk

    with opened(book) as it:
        done = desk.house_use(it, store, pocket, pen(by), time=time, pieces=pieces or (), why=why)
    _said(done, as_json)


@cash.command(
    epilog="Example: drybank cash offer lantern 'long wall' 2026-05-05T08:00 2026-05-05T12:00 --set 'first time=36 min' --says 'Tuesday morning'"
)
def offer(
    store: StoreKey,
    bank: Annotated[str, typer.Argument(help="The bank.")],
    starts: Annotated[str, typer.Argument(help="From, as 2026-05-05T08:00.")],
    ends: Annotated[str, typer.Argument(help="Until.")],
    minutes: Annotated[
        float | None, typer.Option("--minutes", help="Minutes given away in all, over the whole bank.")
    ] = None,
    settings: Annotated[
        list[str] | None,
        typer.Option("--set", help="name=value while it lasts, over the house settings; may be said again."),
    ] = None,
    says: Annotated[str, typer.Option("--says", help="What the offer says.")] = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Dated free or cheaper time."""
    from drybank.cli.opened import opened, pen
    from drybank.cli.setting import moment
    from drybank.desk import cash as desk
    from drybank.records.errors import InputError

    with opened(book) as it:
        first, last = moment(starts, it, store), moment(ends, it, store)
        if settings and minutes is not None:
            raise InputError("An offer is told by minutes or by settings, not both.", mend="Give one of them.")
        if settings:
            done = desk.offer_settings(it, store, bank, (first, last), settings, pen(by), says=says)
        else:
            done = desk.offer(it, store, bank, first, last, pen(by), minutes=minutes, says=says)
    _said(done, as_json)


@cash.command(epilog="Example: drybank cash where lantern")
def where(
    store: StoreKey,
    as_of: Annotated[
        str, typer.Option("--as-of", help="As of the end of this day, as 2026-05-31; now if not said.")
    ] = "",
    book: BookPath = DEFAULT_BOOK,
    as_json: AsJson = False,
) -> None:
    """Where every cent is: counted, on the way, paid in, given back, short or over; what is late and what differs."""
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.takings import end_of, money_trail

    with opened(book) as it:
        trail = money_trail(it, store, end_of(as_of) or pen("").clock())
    if as_json:
        say.as_json(trail)
    else:
        _show_trail(trail)
    if trail.findings:
        raise typer.Exit(3)


def _show_trail(trail) -> None:  # type: ignore[no-untyped-def]
    from drybank.cli import say

    c = trail.custody
    say.head(
        f"Counted {c.counted}. Paid in {c.deposited}, given back out of it {c.refunded}, on the way {c.on_the_way}, short {c.short}, over {c.over}."
    )
    if c.from_drawer.minor:
        say.line(
            f"Given back in cash besides: {c.from_drawer}. No deposit lacks it: it came from a drawer, or from a box before it was counted."
        )
    waiting = [b for b in c.bags if b.state != "deposited"]
    if waiting:
        rows = [
            (
                ", ".join(b.boxes) if b.key.startswith(("collection ", "count ")) else b.key,
                b.state,
                f"{b.age_days:.1f}",
                "not counted" if b.counted_minor is None else f"{b.counted_minor / 100:,.2f}",
                b.holder,
            )
            for b in waiting[-20:]
        ]
        say.table(("bag or boxes", "state", "days", "counted", "with"), rows, right=(2, 3))
    if trail.keys:
        say.table(("key", "with", "since"), [(k.thing, k.holder, f"{k.since:%Y-%m-%d}") for k in trail.keys])
    moved = [b for b in trail.boxes if b.since is not None or b.until is not None]
    if moved:
        say.table(
            ("box", "stood at", "since", "until"),
            [
                (
                    b.number,
                    b.place,
                    f"{b.since:%Y-%m-%d}" if b.since else "the start",
                    f"{b.until:%Y-%m-%d}" if b.until else "now",
                )
                for b in moved
            ],
        )
    for finding in trail.findings:
        say.heed(f"{finding.name}: {finding.says} {finding.next_check}")
    if not trail.findings:
        say.line("Nothing is late and nothing differs.")
