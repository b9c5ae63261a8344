"""What the pages show, as data: the same desk functions, the same rights, the same result as the terminal's --json."""

from __future__ import annotations

import io

import msgspec
from django.http import HttpRequest, HttpResponse

from drybank.desk import correcting, pages_plan
from drybank.desk import pages as looks
from drybank.desk.change_day import ChangeDay
from drybank.desk.change_day import status as change_day_of
from drybank.desk.correcting import EntryLine
from drybank.desk.keeping import Verified, verify_book
from drybank.desk.pages import Floor
from drybank.desk.pages_plan import BankPlanned
from drybank.desk.pages_rounds import BagOut, BoxToEmpty, bags_out, boxes_to_empty, coins_taken
from drybank.desk.pages_weeks import WeekShown, WeekStands, week_shown, weeks_lately
from drybank.desk.planning import plan_bank
from drybank.desk.stamp import Pen
from drybank.desk.standing import layout_at, parse_day
from drybank.desk.stories import PocketStory, pocket_story
from drybank.desk.takings import MoneyTrail, proof_of_income, statement_of
from drybank.desk.today import MOST, Today, WeekSaid, last_week
from drybank.desk.today import today as today_of
from drybank.desk.upkeep import Round, Upkeep, round_of
from drybank.records.balance import BalanceResult
from drybank.records.errors import InputError
from drybank.records.finding import Finding
from drybank.records.layout import Layout
from drybank.records.plan import Plan
from drybank.records.takings import IncomeProof, Statement
from drybank.web import site, work
from drybank.web.api.app import describes
from drybank.web.api.guard import ApiSeat
from drybank.web.api.said import not_found
from drybank.web.rights import BOOKS
from drybank.web.shown import kept

MOST_ENTRIES = 5000


class TodaySeen(msgspec.Struct, frozen=True, kw_only=True):
    """What needs somebody, and the last whole week for those who see money."""

    today: Today
    week: WeekSaid | None = None


class Cash(msgspec.Struct, frozen=True, kw_only=True):
    """Boxes in walking order, bags on their way, pieces this store takes. Nothing of what is expected."""

    boxes: tuple[BoxToEmpty, ...]
    bags: tuple[BagOut, ...]
    coins: tuple[tuple[int, str], ...]


@describes(gives=TodaySeen)
def today(_request: HttpRequest, seat: ApiSeat, everything: bool = False) -> TodaySeen:
    """What needs somebody, by danger, money and date."""
    store, book = seat.store, site.book()
    name = book.store_at(store, site.now()).name
    seen = today_of(name, work.upkeep(store), work.findings(seat), most=10_000 if everything else MOST)
    week = kept(store, "week", lambda: last_week(book, store, site.now())) if seat.sees_money else None
    return TodaySeen(today=seen, week=week)


@describes(gives=tuple[Finding, ...])
def findings(_request: HttpRequest, seat: ApiSeat) -> tuple[Finding, ...]:
    """What is wrong here, as far as this person may see it."""
    return work.findings(seat)


@describes(gives=Floor)
def floor(_request: HttpRequest, seat: ApiSeat) -> Floor:
    """Banks and pockets as they stand."""
    return looks.floor(site.book(), seat.store, site.now(), work.use(seat.store), work.findings(seat))


@describes(gives=PocketStory)
def pocket(_request: HttpRequest, seat: ApiSeat, pocket: str, on: str = "") -> PocketStory:
    """A pocket's story: settings as of a day, readings, proofs, service; money only for those who see it."""
    if pocket not in layout_at(site.book(), seat.store, site.now()).pockets:
        raise not_found()
    seen = pocket_story(site.book(), seat.store, pocket, site.now(), as_of=parse_day(on))
    if seat.sees_money:
        return seen
    return msgspec.structs.replace(seen, events=tuple(e for e in seen.events if not e.is_cash))


@describes(gives=tuple[BankPlanned, ...])
def plans(_request: HttpRequest, seat: ApiSeat) -> tuple[BankPlanned, ...]:
    """Every bank with its house settings in words."""
    return pages_plan.banks_planned(site.book(), seat.store, site.now())


@describes(gives=Plan)
def plan(_request: HttpRequest, seat: ApiSeat, bank: str) -> Plan:
    """The best settings of a bank, what they should bring, what could make that wrong. Takes seconds the first time."""
    if bank not in {b.key for b in site.book().store_at(seat.store, site.now()).banks}:
        raise not_found()
    pen = Pen(by="page", clock=site.now)
    return kept(seat.store, "plan", lambda: plan_bank(site.book(), seat.store, bank, pen), bank)


@describes(gives=BalanceResult)
def balance(_request: HttpRequest, seat: ApiSeat, since: str = "", until: str = "") -> BalanceResult:
    """Hours against coins against cash, for a period."""
    return work.balance(seat.store, since, until)


@describes(gives=MoneyTrail)
def trail(_request: HttpRequest, seat: ApiSeat) -> MoneyTrail:
    """Money from slot to statement: who has what, what is late."""
    return work.trail(seat.store)


@describes(gives=Upkeep)
def upkeep(_request: HttpRequest, seat: ApiSeat) -> Upkeep:
    """What is due, when boxes are full, how far the dates may be trusted."""
    return work.upkeep(seat.store)


@describes(gives=Round)
def visit(_request: HttpRequest, seat: ApiSeat, until: str = "") -> Round:
    """Everything due at this visit, machine by machine."""
    day, pen = parse_day(until, "The next visit"), Pen(by="page", clock=site.now)
    return kept(seat.store, "round", lambda: round_of(site.book(), seat.store, pen, until=day), until)


@describes(gives=Cash)
def cash(_request: HttpRequest, seat: ApiSeat) -> Cash:
    """Boxes to empty and bags on their way; counting stays blind."""
    book, now = site.book(), site.now()
    return Cash(
        boxes=boxes_to_empty(book, seat.store, now), bags=bags_out(book, seat.store, now), coins=coins_taken(book, seat.store, now)
    )  # fmt: skip


@describes(gives=Statement)
def statement(_request: HttpRequest, seat: ApiSeat, period: str) -> Statement:
    """A week's, month's or year's money; a partner sees the own share only."""
    reader = ""
    if not seat.roles & set(BOOKS):
        if not seat.partners:
            raise not_found()
        reader = seat.partners[0]

    def made() -> Statement:
        return statement_of(site.book(), seat.store, period, site.now(), reader=reader)

    return kept(seat.store, "statement", made, period, reader)


@describes(gives=IncomeProof)
def income(_request: HttpRequest, seat: ApiSeat, first: str = "", last: str = "") -> IncomeProof:
    """Months of takings beside what they must have used; the last twelve whole months where none are said."""
    months = looks.months_before(site.book(), seat.store, site.now())
    start, end = first or months[11], last or months[0]

    def made() -> IncomeProof:
        return proof_of_income(site.book(), seat.store, start, end, site.now())

    return kept(seat.store, "income", made, start, end)


@describes(gives=tuple[WeekStands, ...])
def weeks(_request: HttpRequest, seat: ApiSeat) -> tuple[WeekStands, ...]:
    """The last weeks: closed by whom under which seal, or still open."""
    return weeks_lately(site.book(), seat.store, site.now())


@describes(gives=WeekShown)
def week(_request: HttpRequest, seat: ApiSeat, week: str) -> WeekShown:
    """One week's money, as it was closed or as it stands."""
    return kept(seat.store, "week", lambda: week_shown(site.book(), seat.store, week, site.now()), week)


@describes(gives=ChangeDay)
def change_day(_request: HttpRequest, seat: ApiSeat, bank: str) -> ChangeDay:
    """Where a bank's last change day stands: what is set, what is left to do."""
    return change_day_of(site.book(), seat.store, bank, site.now())


@describes(gives=tuple[EntryLine, ...])
def entries(
    _request: HttpRequest, seat: ApiSeat, kind: str = "", since: str = "", until: str = "", last: int = 500
) -> tuple[EntryLine, ...]:
    """Entries as they stand today, in the order they happened; the last so many."""
    if not 1 <= last <= MOST_ENTRIES:
        raise InputError(f"The last {last} entries cannot be given.", where="last", allowed=f"1 to {MOST_ENTRIES}")
    first, end = correcting.between(site.book(), seat.store, since, until)
    kinds = (kind,) if kind else ()
    return correcting.entries(site.book(), seat.store, kinds=kinds, since=first, until=end, last=last)


@describes(gives=EntryLine)
def entry(_request: HttpRequest, seat: ApiSeat, entry: str) -> EntryLine:
    """One entry as it stands today."""
    booked = site.book().find(entry)
    if booked.entry.store != seat.store:
        raise not_found()
    found = correcting.entries(site.book(), seat.store, kinds=(booked.entry.kind,))
    line = next((e for e in found if e.id == entry), None)
    if line is None:
        raise not_found()
    return line


@describes(gives=Verified)
def verify(_request: HttpRequest, seat: ApiSeat) -> Verified:
    """Every entry of the store against its hash and its chain."""
    return verify_book(site.book(), seat.store)


@describes(gives_kinds=("application/jsonl",))
def export(_request: HttpRequest, seat: ApiSeat) -> HttpResponse:
    """The store as JSON Lines, lossless."""
    out = io.BytesIO()
    site.book().export(out, [seat.store])
    return HttpResponse(
        out.getvalue(), content_type="application/jsonl", headers={"Cache-Control": "private, no-store"}
    )


@describes(gives=Layout)
def layout(_request: HttpRequest, seat: ApiSeat) -> Layout:
    """The store with its control sheets laid over it: every control, input, counter, meter and box by key."""
    return layout_at(site.book(), seat.store, site.now())
