"""Who may open what: one table, role by page. The addresses are made from it, so no page can be without its row.

A person's roles in a store add up, but for one rule: who only collects or counts there sees nothing expected, because no
row below lets a collector or counter near it. Whoever may not open a page gets "not found", like a stranger.
"""

from __future__ import annotations

from typing import Final, Literal

import msgspec

ROLES: Final = ("owner", "manager", "technician", "collector", "counter", "accountant", "partner")
OWNER: Final = ("owner",)
OFFICE: Final = ("owner", "manager")
BOOKS: Final = ("owner", "manager", "accountant")
FLOOR: Final = ("owner", "manager", "technician")
CASH: Final = ("owner", "manager", "collector", "counter")
ROUND: Final = ("owner", "manager", "technician", "collector")
MONEY: Final = ("owner", "manager", "accountant", "partner")
ALL: Final = ROLES
Scope = Literal["anyone", "person", "book", "store"]


class Page(msgspec.Struct, frozen=True, kw_only=True):
    """One address: its name, its path, the view (module.function under views), who may open it.

    ``scope`` anyone: before log-in; person: whoever is logged in; book: an owner of the whole book; store: by role there.
    """

    name: str
    path: str
    view: str
    scope: Scope = "store"
    roles: tuple[str, ...] = ()
    methods: tuple[str, ...] = ("GET",)


def _page(name: str, path: str, view: str, roles: tuple[str, ...], *, posts: bool = False) -> Page:
    path = f"s/<str:store>/{path}" if path else "s/<str:store>/"
    methods = ("GET", "POST") if posts else ("GET",)
    return Page(name=name, path=path, view=view, roles=roles, methods=methods)


BOTH: Final = ("GET", "POST")
PAGES: Final[tuple[Page, ...]] = (
    # before log-in
    Page(name="log-in", path="log-in", view="entrance.log_in", scope="anyone", methods=BOTH),
    Page(name="invited", path="invited/<str:secret>", view="entrance.invited", scope="anyone", methods=BOTH),
    Page(name="language", path="language", view="entrance.language", scope="anyone", methods=("POST",)),
    # the phone round: nothing here is anybody's; who is there and what may be done comes from the calls below
    Page(name="phone", path="phone/", view="phone.shell", scope="anyone"),
    Page(name="phone-worker", path="phone/worker.js", view="phone.worker", scope="anyone"),
    Page(name="phone-manifest", path="phone/manifest.json", view="phone.manifest", scope="anyone"),
    Page(name="phone-file", path="phone/files/<str:mark>/<path:name>", view="phone.file", scope="anyone"),
    Page(name="ca-crt", path="ca.crt", view="entrance.ca_crt", scope="anyone"),
    # a person's own
    Page(name="log-out", path="log-out", view="entrance.log_out", scope="person", methods=("POST",)),
    Page(name="home", path="", view="entrance.home", scope="person"),
    Page(name="new-store", path="new-store", view="setup.new_store", scope="book", methods=BOTH),
    Page(name="new-store-form", path="new-store/form", view="setup_forms.new_store", scope="book", methods=BOTH),
    Page(name="demo", path="demo", view="setup.demo", scope="book", methods=BOTH),
    # what needs me, how it stands
    _page("today", "", "today.today", FLOOR),
    _page("store", "store", "store.floor", FLOOR),
    _page("waiting", "waiting", "store.waiting", FLOOR),
    _page("drying", "pocket/<str:pocket>/drying", "pocket.drying", FLOOR),
    _page("pocket", "pocket/<str:pocket>", "pocket.story", FLOOR),
    _page("set-pocket", "pocket/<str:pocket>/set", "setting.set_pocket", FLOOR, posts=True),
    # what to set
    _page("change-day", "change-day/<str:bank>", "setting.change_day", FLOOR, posts=True),
    _page("plan", "plan", "plan.plan", OFFICE),
    _page("plan-bank", "plan/<str:bank>", "plan.of_bank", OFFICE, posts=True),
    _page("cards-pdf", "cards/<str:bank>.pdf", "papers.cards", FLOOR),
    _page("sign-pdf", "sign/<str:bank>.pdf", "papers.sign", FLOOR),
    # visits
    _page("rounds", "rounds", "rounds.rounds", ROUND, posts=True),
    _page("round-pdf", "rounds/cards.pdf", "papers.round_cards", FLOOR),
    _page("readings", "readings", "readings.walk", ROUND, posts=True),
    _page("field-tests", "field-tests", "tests.field_tests", FLOOR),
    _page("field-test", "field-tests/<str:kind>", "tests.field_test", FLOOR, posts=True),
    _page("given-back", "given-back", "given.given_back", FLOOR, posts=True),
    # hours, coins, cash
    _page("balance", "balance", "balance.balance", OFFICE, posts=True),
    _page("open-names", "balance/names", "custody.open_names", OWNER, posts=True),
    _page("cash", "cash", "cash.cash", CASH, posts=True),
    _page("deposit", "cash/deposit", "cash.deposit", OFFICE, posts=True),
    _page("statements", "statements", "statements.statements", MONEY),
    _page("statement-xlsx", "statements/<str:period>.xlsx", "papers.statement_sheet", MONEY),
    _page("statement-csv", "statements/<str:period>.csv", "papers.statement_csv", MONEY),
    _page("journal", "journal/<str:period>.txt", "papers.journal", ("owner", "accountant")),
    _page("income", "income", "statements.income", ("owner", "accountant")),
    _page("income-pdf", "income.pdf", "papers.income", ("owner", "accountant")),
    _page("weeks", "weeks", "weeks.weeks", BOOKS),
    _page("week", "weeks/<str:week>", "weeks.week", BOOKS, posts=True),
    _page("bills", "bills", "weeks.bills", BOOKS, posts=True),
    _page("statement-pdf", "statements/<str:period>.pdf", "papers.statement", MONEY),
    _page("report-pdf", "report/<str:week>.pdf", "papers.report", OFFICE),
    # the book
    _page("book", "book", "book.entries", BOOKS),
    _page("entry", "book/<str:entry>", "book.entry", BOOKS),
    _page("correct", "book/<str:entry>/correct", "book.correct", OFFICE, posts=True),
    _page("verify", "verify", "book.verify", BOOKS),
    _page("export", "export", "book.export", ("owner", "accountant")),
    # what it is made of
    _page("set-up", "set-up", "setup.set_up", OFFICE, posts=True),
    _page("set-up-basics", "set-up/basics", "setup_forms.basics", OFFICE, posts=True),
    _page("set-up-tariff", "set-up/tariff", "setup_forms.tariff", OFFICE, posts=True),
    _page("sheet", "set-up/sheet/<str:sheet>", "setup.sheet", FLOOR),
    _page("people", "people", "crew.people", OWNER, posts=True),
    _page("devices", "devices", "devices.devices", OFFICE, posts=True),
)
BY_NAME: Final = {page.name: page for page in PAGES}

FIELD: Final = (*ROUND, "counter")
KINDS_BY_ROLE: Final[dict[str, frozenset[str]]] = {
    # who may send which kind of entry; kinds that stand nowhere are made by their own page or command only
    "technician": frozenset({
        "reading", "setting change", "replacement", "sheet read back", "proof", "watch", "service", "outage", "house use",
        "refund", "claim", "note",
    }),
    "collector": frozenset({"reading", "collection", "hand-over", "refund", "claim", "watch", "note"}),
    "counter": frozenset({"count", "hand-over", "note"}),
    "accountant": frozenset({"payout", "note"}),
    "partner": frozenset(),
}  # fmt: skip
_EVERY_FIELD: Final = frozenset().union(*KINDS_BY_ROLE.values())
KINDS_BY_ROLE["manager"] = KINDS_BY_ROLE["owner"] = _EVERY_FIELD | {"deposit", "offer", "finding outcome", "correction"}
SEES_PHOTOS: Final = ("owner", "manager", "technician", "accountant")
SENDERS: Final = tuple(role for role in ROLES if KINDS_BY_ROLE[role])


class Call(msgspec.Struct, frozen=True, kw_only=True):
    """One call of the programming interface: its name, method and path, the function (module.function under api.calls).

    ``scope`` and ``roles`` mean what they mean for a page. ``page`` names the page that shows the same, with the same roles.
    """

    name: str
    method: str
    path: str
    view: str
    scope: Scope = "store"
    roles: tuple[str, ...] = ()
    page: str = ""


def _call(method: str, path: str, view: str, roles: tuple[str, ...] = (), *, page: str = "") -> Call:
    name = view.replace(".", "-").replace("_", "-")
    path = f"/stores/{{store}}/{path}"
    return Call(name=name, method=method, path=path, view=view, roles=roles or BY_NAME[page].roles, page=page)


CALLS: Final[tuple[Call, ...]] = (
    Call(name="described", method="GET", path="/openapi.json", view="me.described", scope="anyone"),
    Call(name="me", method="GET", path="/me", view="me.me", scope="person"),
    _call("POST", "entries", "entries.send", SENDERS),
    _call("GET", "round", "entries.round_", FIELD),
    _call("PUT", "photos/{sha256}", "photos.put", SENDERS),
    _call("GET", "photos/{sha256}", "photos.get", SENDERS),
    _call("DELETE", "photos/{sha256}", "photos.erase", OWNER),
    _call("GET", "today", "reading.today", page="today"),
    _call("GET", "findings", "reading.findings", page="today"),
    _call("GET", "upkeep", "reading.upkeep", page="today"),
    _call("GET", "floor", "reading.floor", page="store"),
    _call("GET", "pockets/{pocket}", "reading.pocket", page="pocket"),
    _call("GET", "plan", "reading.plans", page="plan"),
    _call("GET", "plan/{bank}", "reading.plan", page="plan-bank"),
    _call("GET", "visit", "reading.visit", page="round-pdf"),
    _call("GET", "balance", "reading.balance", page="balance"),
    _call("GET", "trail", "reading.trail", page="balance"),
    _call("GET", "cash", "reading.cash", page="cash"),
    _call("GET", "statements/{period}", "reading.statement", page="statements"),
    _call("GET", "income", "reading.income", page="income"),
    _call("GET", "weeks", "reading.weeks", page="weeks"),
    _call("GET", "weeks/{week}", "reading.week", page="week"),
    _call("GET", "change-days/{bank}", "reading.change_day", page="change-day"),
    _call("GET", "entries", "reading.entries", page="book"),
    _call("GET", "entries/{entry}", "reading.entry", page="entry"),
    _call("GET", "verify", "reading.verify", page="verify"),
    _call("GET", "export", "reading.export", page="export"),
    _call("GET", "layout", "reading.layout", page="set-up"),
)
PAGE_ONLY: Final = frozenset({
    # forms: what they enter is sent as entries; `rounds` shows what `visit` and `cash` give
    "set-pocket", "readings", "rounds", "field-tests", "field-test", "given-back", "deposit", "bills", "correct",
    "set-up-basics", "set-up-tariff", "open-names",
    "waiting", "drying",  # worked out for looking at; `plan` and `visit` give their figures
    "sheet", "people", "devices",  # files and accounts are not handed to programs
})  # fmt: skip
"""Pages of a store without a call of their own; papers (names that end in -pdf, -xlsx, -csv, journal) need none either."""


def kinds_of(roles: frozenset[str]) -> frozenset[str]:
    """The kinds of entry that these roles may send."""
    return frozenset().union(*(KINDS_BY_ROLE[role] for role in roles if role in KINDS_BY_ROLE))


def is_asked_again(roles: frozenset[str]) -> bool:
    """Whether an unlikely reading is asked for again: not of who collects or counts, to whom the asking would tell."""
    return bool(roles & set(OFFICE)) or not roles & {"collector", "counter"}


def may(page: str, roles: frozenset[str]) -> bool:
    """Whether any of these roles in a store opens a page there."""
    return bool(roles & set(BY_NAME[page].roles))
