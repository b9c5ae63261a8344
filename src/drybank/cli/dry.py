"""`drybank dry`: what one load needs in one pocket. `drybank calibrate`: make that pocket's figures its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from drybank.cli.main import app
from drybank.cli.options import DEFAULT_BOOK, AsJson, BookPath, By

if TYPE_CHECKING:
    from drybank.desk.drying import Dried
    from drybank.desk.drying_changes import Ask
    from drybank.desk.drying_trial import Calibrated, TrialCard
    from drybank.records.drying import StoreFit, TrialFit

StoreOrNone = Annotated[str, typer.Argument(help="The store's key; leave it out for a 30-lb gas pocket of no store.")]
PocketOrNone = Annotated[str, typer.Argument(help="The pocket's number.")]


@app.command(
    epilog='Example: drybank dry --load "18 lb" --left "60 %" --at "180 F" --sold "36 min" --gas-price 1.12/therm --power-price 0.14/kWh --chart load.svg'
)
def dry(
    store: StoreOrNone = "",
    pocket: PocketOrNone = "",
    load: Annotated[str, typer.Option("--load", help="Dry mass, as 18 lb or 8 kg.")] = "",
    left: Annotated[str, typer.Option("--left", help="Water the washer left, of the dry mass, as 60 %.")] = "",
    kind: Annotated[str, typer.Option("--kind", help="mixed, towels or half cotton.")] = "mixed",
    heat: Annotated[int, typer.Option("--heat", help="The store's heat by its number.")] = 0,
    at: Annotated[str, typer.Option("--at", help="The heat as a setting, as 180 F; none for no heat.")] = "",
    sold: Annotated[str, typer.Option("--sold", help="Time sold, as 36 min: what it burns and leaves.")] = "",
    cool_down: Annotated[str, typer.Option("--cool-down", help="Cool-down, as 2 min.")] = "",
    air: Annotated[str, typer.Option("--air", help="Air the dryer draws, as 40 F.")] = "",
    humidity: Annotated[str, typer.Option("--humidity", help="Its relative humidity, as 50 %.")] = "",
    altitude: Annotated[str, typer.Option("--altitude", help="Height above the sea, as 5000 ft.")] = "",
    fuel: Annotated[str, typer.Option("--fuel", help="natural gas, propane or electric.")] = "",
    fire: Annotated[str, typer.Option("--fire", help="on/off, two-stage or modulating.")] = "",
    heat_input: Annotated[str, typer.Option("--input", help="Heat input, as 75 kBtu/h.")] = "",
    airflow: Annotated[str, typer.Option("--airflow", help="Exhaust airflow, as 450 cfm.")] = "",
    gas_price: Annotated[str, typer.Option("--gas-price", help="As 1.12/therm; the store's tariff if not said.")] = "",
    power_price: Annotated[str, typer.Option("--power-price", help="As 0.14/kWh.")] = "",
    currency: Annotated[str, typer.Option("--currency", help="Of the prices; the store's own if not said.")] = "",
    working: Annotated[bool, typer.Option("--working", help="Show what went into it.")] = False,
    chart: Annotated[str, typer.Option("--chart", help="Draw it into this file: .svg or .png.")] = "",
    book: BookPath = DEFAULT_BOOK,
    as_json: AsJson = False,
) -> None:
    """What one load needs in one pocket: minutes, fuel, temperatures, with their bands, and what a change would do."""
    from drybank.cli import say
    from drybank.cli.opened import opened
    from drybank.desk.drying import dry_alone, dry_in_store
    from drybank.desk.drying_ask import as_said, ask_from, form_of, units_said
    from drybank.desk.stamp import now
    from drybank.records.errors import InputError

    words = {
        "--load": load, "--left": left, "--kind": kind, "--heat": str(heat), "--at": at, "--sold": sold,
        "--cool-down": cool_down, "--air": air, "--humidity": humidity, "--altitude": altitude, "--fuel": fuel,
        "--fire": fire, "--input": heat_input, "--airflow": airflow, "--gas-price": gas_price,
        "--power-price": power_price, "--currency": currency,
    }  # fmt: skip
    ask: Ask = ask_from(words)
    form = form_of(chart)
    if store and not pocket:
        raise InputError("Which pocket is not said.", where="POCKET", mend=f"Write: drybank dry {store} 14")
    with as_said(), say.progress("Drying", shown=not as_json):
        if store:
            with opened(book) as it:
                told = dry_in_store(it, store, pocket, ask, now())
        else:
            told = dry_alone(ask, units_said(words))
        if form:
            from pathlib import Path

            from drybank.desk.drying_chart import picture

            Path(chart).write_bytes(picture(told, form))
    if as_json:
        say.as_json(told)
        return
    _show(told)
    if working and told.working is not None:
        say.head("Working")
        say.line(f"  {told.working.formula}.")
        rows = [(i.name, f"{i.value} {i.unit}".strip(), i.how) for i in told.working.inputs]
        say.table(("from", "value", "how known"), rows, right=(1,))
    if form:
        say.line(f"Drawn: {chart}")


def _show(told: Dried) -> None:
    from drybank.cli import say
    from drybank.desk.drying_chart import lines_of

    page = lines_of(told)
    say.danger(told.cautions[0])
    for caution in told.cautions[1:]:
        say.heed(caution)
    say.head(page.answer)
    say.table(("", "", ""), page.figures, right=(1,))
    say.head("What a change would do")
    say.table(("change", "minutes", "fuel", "cost"), [row[:4] for row in page.changes], right=(1, 2, 3))
    for text in page.notes:
        say.quiet(f"  {text}")
    if page.doubts:
        say.head("What makes it uncertain, most first")
        for text in page.doubts:
            say.line(f"  {text}")
    for taken in told.assumptions:
        say.quiet(f"  Assumed: {taken.name} {taken.taken} ({taken.source})")
    say.line(page.next_step)


@app.command(
    epilog='Example: drybank calibrate lantern 3 --clock "dial=10 ft3, ran=8:02" --near-empty "towel=1.1 lb, exhaust=176 F, fuel=20 ft3, '
    'span=40:10" --towels "dry=8 lb, wet=12.8 lb, ran=6:00, after=11.3 lb, at3=104 F, end=108 F" --towels "dry=16 lb, wet=25.6 lb, ran=11:00, after=21.9 lb"'
)
def calibrate(
    store: Annotated[str, typer.Argument(help="The store's key.", show_default=False)],
    pocket: Annotated[str, typer.Argument(help="The pocket's number.", show_default=False)],
    clock: Annotated[str, typer.Option("--clock", help="dial=10 ft3, turns=1, ran=8:02")] = "",
    near_empty: Annotated[
        str, typer.Option("--near-empty", help="towel=1.1 lb, exhaust=176 F, fuel=20 ft3, span=40:10, first=120 F")
    ] = "",
    towels: Annotated[
        list[str] | None,
        typer.Option(
            "--towels", help="dry=8 lb, wet=12.8 lb, ran=6:00, after=11.3 lb, at3=104 F, end=108 F, inlet=260 F"
        ),
    ] = None,
    heat: Annotated[
        str, typer.Option("--heat", help="The heat of the trial, as 180 F; the hottest set if not said.")
    ] = "",
    air: Annotated[str, typer.Option("--air", help="Air in the room, as 72 F.")] = "",
    humidity: Annotated[str, typer.Option("--humidity", help="Its humidity, as 45 %.")] = "",
    bill: Annotated[
        list[str] | None,
        typer.Option("--bill", help="fuel=1250 therm, others=200 therm..600 therm, hours=820, loads=1700"),
    ] = None,
    watched: Annotated[list[str] | None, typer.Option("--watched", help="load=12 lb, left=60 %, dry=31:00")] = None,
    more_time: Annotated[list[str] | None, typer.Option("--more-time", help="first=24 min, more=31, of=120")] = None,
    forget: Annotated[bool, typer.Option("--forget", help="Show it without entering it in the book.")] = False,
    card_pdf: Annotated[
        str, typer.Option("--card", help="Without readings: write the trial's card as a PDF here.")
    ] = "",
    book: BookPath = DEFAULT_BOOK,
    by: By = "",
    as_json: AsJson = False,
) -> None:
    """Make a pocket's figures its own: from bills and watched loads, or by a towel trial with the shop closed.

    Without readings it says the trial's card: cautions, what to take along, what to do and write down.
    """
    from drybank.cli import say
    from drybank.cli.opened import opened, pen
    from drybank.desk.drying_ask import as_said
    from drybank.desk.drying_trial import EvidenceTexts, TrialTexts, store_evidence, towel_trial, trial_card
    from drybank.records.errors import InputError

    trial = bool(clock or near_empty or towels)
    evidence = bool(bill or watched or more_time)
    if trial and evidence:
        raise InputError(
            "A towel trial and the store's own figures are weighed apart.", mend="Give one kind, then the other."
        )
    with opened(book) as it, as_said():
        writer = pen(by)
        if not trial and not evidence:
            card = trial_card(it, store, pocket, writer.clock())
            if card_pdf:
                _print_card(card, card_pdf)
            say.as_json(card) if as_json else _show_card(card)
            return
        with say.progress("Fitting", shown=not as_json):
            if trial:
                told = TrialTexts(
                    clock=clock,
                    near_empty=near_empty,
                    towels=tuple(towels or ()),
                    heat=heat,
                    air=air,
                    humidity=humidity,
                )
                done = towel_trial(it, store, pocket, told, writer, is_kept=not forget)
            else:
                seen = EvidenceTexts(
                    bills=tuple(bill or ()), watched=tuple(watched or ()), more_time=tuple(more_time or ()), heat=heat
                )
                done = store_evidence(it, store, pocket, seen, writer, is_kept=not forget)
    say.as_json(done) if as_json else _show_fit(done)


def _print_card(card: TrialCard, path: str) -> None:
    """The trial's card on paper, A5."""
    from pathlib import Path

    import msgspec

    from drybank.cards import pdf

    Path(path).write_bytes(pdf("trial_card.typ", {"card": msgspec.to_builtins(card), "paper": "a5"}))


def _show_card(card: TrialCard) -> None:
    from drybank.cli import say

    say.head(card.title)
    for caution in card.cautions:
        say.danger(f"  {caution}")
    say.head("Take along")
    for thing in card.take_along:
        say.line(f"  {thing}")
    say.head("What to do")
    for number, step in enumerate(card.steps, start=1):
        say.line(f"  {number}. {step.says}")
        say.quiet(f"     Write down: {', '.join(step.writes)}")
    for text in card.honest:
        say.quiet(f"  {text}")
    say.line(f"Then: {card.afterwards}")


def _show_fit(done: Calibrated) -> None:
    from drybank.cli import say

    if done.trial is not None:
        _show_trial(done.trial)
    if done.evidence is not None:
        _show_evidence(done.evidence)
    for taken in done.assumptions:
        say.quiet(f"  Assumed: {taken.name} {taken.taken} ({taken.source})")
    if done.entry:
        say.line(f"Entered as {done.entry}. From now on: drybank dry {done.store} {done.pocket}")
    else:
        say.line("Not entered.")


def _show_trial(fit: TrialFit) -> None:
    from drybank.cli import say
    from drybank.desk.drying_chart import fitted_rows

    say.head(f"Minutes of a mixed load of this pocket to ± {100 * fit.band_frac:.1f} % (one standard error)")
    rows, links = fitted_rows(fit)
    say.table(("figure", "fitted", "standard error"), rows, right=(1, 2))
    for text in links:
        say.quiet(f"  {text}")
    say.table(
        ("reading", "read", "model", "off by, in its error"),
        [(what, f"{read:.4g}", f"{model:.4g}", f"{score:+.1f}") for what, read, model, score in fit.residuals],
        right=(1, 2, 3),
    )
    for caution in fit.cautions:
        say.heed(caution)


def _show_evidence(fit: StoreFit) -> None:
    from drybank.cli import say

    low, middle, high = fit.minutes
    before = fit.minutes_before
    say.head(f"A normal load: about {middle:.0f} min ({low:.0f} to {high:.0f}, nine in ten)")
    say.line(
        f"  Before: {before[1]:.0f} min ({before[0]:.0f} to {before[2]:.0f}). The band is {100 * fit.narrowed_frac:.0f} % shorter."
    )
    say.table(
        ("assumption", "low", "middle", "high"),
        [(name, *(f"{v:.2f}" for v in values)) for name, *values in fit.factors],
        right=(1, 2, 3),
    )
    for note in fit.notes:
        say.quiet(f"  {note}")
