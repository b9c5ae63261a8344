"""What the columns of a history hold: said in a small TOML, or guessed from their headings and shown.

A role is a few words: ``date``, ``time``, ``store``, ``pocket``, ``box``, ``device``, ``value``, ``bag``, ``note``,
``foreign``, ``temperature``, ``ignore``, ``reading <device>``, ``pieces <coin> [in <box>]``, ``test <coin>``,
``money [in <box>]``. A device is ``3.turning`` in full, or ``turning`` of the row's own pocket; ``hours`` and ``coins``
stand for its only hour meter and its only counter.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from decimal import Decimal

from drybank.book.files import amounts
from drybank.book.files.history.records import Cell, HistoryMapping, Role, Row
from drybank.book.files.shape import Enough, Shaper
from drybank.book.files.store_file import headed
from drybank.book.files.text import located, shown
from drybank.book.files.writing import quoted
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.money import MINOR_DIGITS

HEADER = "history 1"
_PLAIN_ROLES = (
    "ignore",
    "date",
    "time",
    "store",
    "pocket",
    "box",
    "device",
    "value",
    "foreign",
    "bag",
    "note",
    "temperature",
)
ROLES = (*_PLAIN_ROLES, "reading <device>", "pieces <coin> [in <box>]", "test <coin>", "money [in <box>]")


def read_mapping(text: str | bytes, name: str = "mapping") -> HistoryMapping:
    """A mapping from its TOML; `InputErrors` with every mistake otherwise. Roles are checked against a store later."""
    shaper = Shaper(located(text, name))
    try:
        mapping = shaper.shape(HistoryMapping, headed(shaper, "history"))
    except Enough:
        shaper.raise_all(is_cut=True)
    if shaper.mistakes:
        shaper.raise_all()
    assert isinstance(mapping, HistoryMapping)
    return mapping


def write_mapping(mapping: HistoryMapping) -> str:
    """A mapping as a file that reads back equal: save it beside the history to bring the next one in alike."""
    lines = [f"drybank = {quoted(HEADER)}"]
    told = [n for n in ("dates", "decimal", "temperature", "sheet") if getattr(mapping, n)]
    lines += [f"{name} = {quoted(getattr(mapping, name))}" for name in told]
    lines += [f"time = {quoted(mapping.time)}"] if mapping.time != "12:00" else []
    lines += [f"header = {mapping.header}"] if mapping.header else []
    lines += ["fill_down = true"] if mapping.fill_down else []
    lines += [] if mapping.collections else ["collections = false"]
    lines += ["", "[columns]", *(f"{quoted(head)} = {quoted(role)}" for head, role in mapping.columns.items())]
    return "\n".join(lines) + "\n"


# roles


def role_of(text: str, layout: Layout) -> Role:
    """A role from its words, checked against the store where it names a device or box in full."""
    word, _, rest = " ".join(text.split()).partition(" ")
    rest = rest.strip()
    if word in _PLAIN_ROLES and not rest:
        return Role(kind=word)  # type: ignore[arg-type]
    if word == "reading" and rest:
        return _reading(rest, layout)
    if word in ("pieces", "test") and rest:
        coin, _, box = rest.partition(" in ")
        return Role(
            kind="pieces" if word == "pieces" else "test", piece_minor=_coin(coin, layout), box=_box(box, layout)
        )
    if word == "money":
        return Role(kind="money", box=_box(rest.removeprefix("in ").strip(), layout))
    raise InputError(f"“{shown(text)}” is not what a column can hold.", allowed=", ".join(ROLES))


def _reading(device: str, layout: Layout) -> Role:
    if "." in device and device not in layout.meters and device not in layout.counters:
        raise InputError(f"{layout.store.name} has no meter or counter “{shown(device)}”.", mend=_like(device, layout))
    names = {k.partition(".")[2] for k in (*layout.meters, *layout.counters)} | {"hours", "coins"}
    if "." not in device and device not in names:
        raise InputError(f"No sheet of {layout.store.name} has a meter or counter “{shown(device)}”.",
                         allowed=", ".join(sorted(names)))  # fmt: skip
    return Role(kind="reading", what=device)


def _like(device: str, layout: Layout) -> str:
    known = [k for k in (*layout.meters, *layout.counters) if k.partition(".")[0] == device.partition(".")[0]]
    return f"Known there: {', '.join(known[:12])}." if known else "Write <pocket>.<meter>, such as 3.turning."


def _coin(text: str, layout: Layout) -> int:
    currency = layout.store.currency
    minor = amounts.money(text.strip(), currency)
    if minor != int(minor) or int(minor) not in layout.store.coins:
        coins = ", ".join(amounts.spoken_money(c, currency) for c in layout.store.coins)
        raise InputError(f"{layout.store.name} takes no coin of {shown(text)} {currency}.", allowed=coins)
    return int(minor)


def _box(key: str, layout: Layout) -> str:
    key = key.strip()
    if key and key not in layout.boxes:
        raise InputError(f"{layout.store.name} has no coin box “{shown(key)}”.", allowed=_some(layout.boxes))
    return key


def _some(keys: Iterable[str]) -> str:
    listed = list(keys)
    return ", ".join(listed[:12]) + (" ..." if len(listed) > 12 else "")


# guessing

_WORDS: tuple[tuple[str, str], ...] = (
    (r"date|day|datum|fecha|when|date ?(/|and|&) ?time|date read|read on", "date"),
    (r"time|hour of day|uhrzeit|hora|heure", "time"),
    (r"store|location|site|shop", "store"),
    (r"pocket|dryer|drum|machine|unit|tumbler|(pocket|dryer|drum|machine|unit) ?(#|no\.?|number)|#|no\.?", "pocket"),
    (r"box|coin ?box|(coin )?box ?(#|no\.?|number)|vault", "box"),
    (r"device|meter name|counter name", "device"),
    (r"value|reading|shown", "value"),
    (r"bag|bag ?(#|no\.?|number)", "bag"),
    (r"foreign|slugs|bad coins", "foreign"),
    (r"cash|money|amount|takings|collected|collection|total( cash| money| collected)?|\$|cash ?\(?\$\)?|sum", "money"),
    (r"temp\.?|temperature|exhaust( temp(erature|\.)?)?|°[cf]|exhaust ?\(?°?[cf]\)?", "temperature"),
    (r"(hour )?meter|hours|hrs|hour ?meter( reading)?|hours? read|run ?hours|motor hours", "reading hours"),
    (r"counter|coin ?counter|coins?|count|coin ?count|pulses", "reading coins"),
)  # fmt: skip
_COMPILED = tuple((re.compile(pattern), role) for pattern, role in _WORDS)
_OF_POCKET = re.compile(r"(?:pocket|dryer|drum|machine|unit|tumbler|p|d|m|#)? ?#? ?([\w+-]{1,20}?)[ :._/-]+(.{1,40})")
_COIN_NAMES = {"USD": {"quarters": 25, "quarter": 25, "dollars": 100, "dollar": 100, "dimes": 10, "nickels": 5, "halves": 50},
               "CAD": {"quarters": 25, "quarter": 25, "dollars": 100, "loonies": 100, "loonie": 100, "toonies": 200,
                       "toonie": 200, "dimes": 10, "nickels": 5}}  # fmt: skip


def guess(head: str, layout: Layout) -> str:
    """The role of a column by its heading; "ignore" where its words tell nothing.

    Remarks are never guessed to be notes: they may hold names and telephone numbers, which do not belong into the chain.
    """
    words = " ".join(head.casefold().replace("_", " ").split()).strip(" :*")
    if head.strip() in layout.meters or head.strip() in layout.counters:
        return f"reading {head.strip()}"
    if coin := _coin_named(words, layout):
        if _device_named(words, layout):  # “quarter” may be coins counted or a counter's reading: let the person say
            return "ignore"
        return f"pieces {amounts.spoken_money(coin, layout.store.currency)}"
    for pattern, role in _COMPILED:
        if pattern.fullmatch(words):
            return role
    return _device_named(words, layout) or _of_pocket(words, layout) or "ignore"


def _coin_named(words: str, layout: Layout) -> int:
    """Minor units of the coin that a heading such as “25c”, “0.25”, “$1” or “quarters” names; 0 where none."""
    store = layout.store
    minor = _COIN_NAMES.get(store.currency, {}).get(words, 0)
    if found := re.fullmatch(r"(\d{1,3}) ?(?:c|¢|ct|cents?|p|pence)(?: coins?| pieces?)?", words):
        minor = int(found[1])
    elif found := re.fullmatch(r"[$€£]? ?(\d{1,3}(?:\.\d{1,2})?) ?[$€£]?(?: coins?| pieces?| dollars?)?", words):
        minor = (
            int(Decimal(found[1]).scaleb(MINOR_DIGITS.get(store.currency, 2)))
            if "." in found[1] or words != found[1]
            else 0
        )
    return minor if minor in store.coins else 0


def _device_named(words: str, layout: Layout) -> str:
    """“turning hours” by a sheet's own name of it, for the pocket of the row."""
    for sheet in layout.sheets.values():
        named = [(m.key, m.name) for m in sheet.meters] + [(c.key, c.name) for c in sheet.counters]
        for key, name in named:
            if words in (key.casefold(), name.casefold()):
                return f"reading {key}"
    return ""


def _of_pocket(words: str, layout: Layout) -> str:
    """“P3 hours”, “3 turning”, “dryer 3: cash”: a wide table's column of one pocket or box."""
    for box in layout.boxes:
        if words in (box.casefold(), f"{box.casefold()} cash", f"{box.casefold()} money"):
            return f"money in {box}"
    found = _OF_POCKET.fullmatch(words)
    place = found and _place(found[1], layout)
    if not found or not place:
        return ""
    inner = guess_inner(found[2], layout)
    if inner.startswith("reading "):
        device = device_of(place, inner.removeprefix("reading "), layout)
        return f"reading {device}" if device else ""
    if inner.startswith(("pieces", "money")):
        boxes = boxes_of(place, layout)
        return f"{inner} in {boxes[0]}" if len(boxes) == 1 else ""
    return ""


def _place(text: str, layout: Layout) -> str:
    keys = {k.casefold(): k for k in (*layout.pockets, *layout.controls)}
    return keys.get(text.casefold(), "")


def guess_inner(words: str, layout: Layout) -> str:
    if coin := _coin_named(words, layout):
        return f"pieces {amounts.spoken_money(coin, layout.store.currency)}"
    found = next((role for pattern, role in _COMPILED if pattern.fullmatch(words)), "")
    return found if found.startswith(("reading", "money")) else _device_named(words, layout)


def device_of(place: str, name: str, layout: Layout) -> str:
    """The device key of a name at a pocket or control; "" where there is none, or more than one."""
    control = next((c for c in layout.controls.values() if place in c.pockets or place == c.key), None)
    pockets = [place] if place in layout.pockets else list(control.pockets) if control else []
    if name == "hours":
        meters = [m for m in layout.meters.values() if m.pocket in pockets]
        motors = [m for m in meters if m.counts == "motor"] or meters
        return motors[0].key if len(motors) == 1 else ""
    counters = [c for c in layout.counters.values() if control and c.control == control.key]
    if name == "coins":
        return counters[0].key if len(counters) == 1 else ""
    found = [k for k in (f"{p}.{name}" for p in pockets) if k in layout.meters]
    found += [c.key for c in counters if c.key == f"{c.control}.{name}"]
    return found[0] if len(found) == 1 else ""


def boxes_of(place: str, layout: Layout) -> list[str]:
    """Boxes that a pocket or control feeds."""
    controls = {c.key for c in layout.controls.values() if place in c.pockets or place == c.key}
    return [b.key for b in layout.boxes.values() if any(layout.inputs[i].control in controls for i in b.inputs)]


def find_header(rows: Sequence[Row], layout: Layout, wanted: HistoryMapping | None) -> int:
    """Index of the row with the headings: the mapping's, or the one whose words tell most among the first thirty."""
    if wanted and wanted.header:
        found = next((i for i, r in enumerate(rows) if r.number == wanted.header), None)
        if found is None:
            raise InputError(f"The file has no row {wanted.header}.", where="header", mend="Correct the mapping.")
        return found
    heads = {h.casefold().strip() for h in wanted.columns} if wanted else set()

    def score(cells: tuple[Cell, ...]) -> int:
        texts = [c for c in cells if isinstance(c, str)]
        if heads:
            return sum(t.casefold().strip() in heads for t in texts)
        return sum(len(t) <= 60 and guess(t, layout) != "ignore" for t in texts)

    best = max(range(min(30, len(rows))), key=lambda i: (score(rows[i].cells), -i), default=-1)
    if best < 0 or score(rows[best].cells) < (1 if heads else 2):
        raise InputError("No row of headings was found among the first thirty rows.",
                         mend='Give header = <row number> and [columns] in a mapping.')  # fmt: skip
    return best
