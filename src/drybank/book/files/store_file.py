"""Store files: TOML in, a `Store` out, and back."""

from __future__ import annotations

from collections.abc import Iterable

from drybank.book.files.shape import BAD, Enough, Shaper
from drybank.book.files.text import Located, Path, located
from drybank.book.files.writing import written
from drybank.records.money import MINOR_DIGITS
from drybank.records.store import Machine, Store

HEADER = "store 1"


def read_store(text: str | bytes, name: str = "store file") -> Store:
    """The store that a file describes.

    Raises `InputErrors` with every mistake found, each with its file, line and key, what is allowed and how to mend it.
    """
    file = located(text, name)
    shaper = Shaper(file, _currency(file))
    try:
        content = headed(shaper, "store")
        store = shaper.shape(Store, content)
        _references(shaper)
        _tariffs(shaper)
        _energy_tables(shaper, store)
    except Enough:
        shaper.raise_all(is_cut=True)
    if shaper.mistakes:
        shaper.raise_all()
    assert isinstance(store, Store)
    return store


def write_store(store: Store) -> str:
    """A store as a file that reads back equal."""
    return written(store, HEADER, store.currency)


def headed(shaper: Shaper, kind: str) -> dict[str, object]:
    """The content without its ``drybank`` line, which must name this kind and a version known here."""
    content = dict(shaper.file.content)
    said = content.pop("drybank", f"{kind} 1")
    if said == f"{kind} 1":
        return content
    if isinstance(said, str) and said.startswith(f"{kind} ") and said[len(kind) + 1 :].isdigit():
        shaper.note(("drybank",), f"The file says “{said[:40]}”, a later form than this Drybank reads.",
                    mend="Use the newer Drybank that wrote it.")  # fmt: skip
    else:
        shaper.note(("drybank",), f"This is no {kind} file: its first line does not say so.",
                    allowed=f'drybank = "{kind} 1"')  # fmt: skip
    return content


def _currency(file: Located) -> str:
    said = file.content.get("currency")
    return said if isinstance(said, str) and said in MINOR_DIGITS else ""


# references between rows; rows that were refused still lend their keys, so that one mistake does not breed others


def _keys(shaper: Shaper, rows: str) -> set[str]:
    return {row.key for row in shaper.rows.get(rows, ()) if row.key}


def _references(shaper: Shaper) -> None:
    for rows in ("washers", "banks", "machines", "pockets", "boxes"):
        _unique(shaper, rows)
    _machines(shaper)
    for row in shaper.rows.get("boxes", ()):
        if row.record is not BAD:
            _inputs(shaper, row.record.inputs, row.path)
    for row in shaper.rows.get("inputs", ()):
        if row.record is not BAD:
            _inputs(shaper, (row.record.input,), row.path)
    for row in shaper.rows.get("counters", ()):
        if row.record is not BAD:
            _inputs(shaper, (row.record.key,), row.path, key="key")
    _heats(shaper)
    _lengths(shaper)


def _unique(shaper: Shaper, rows: str) -> None:
    seen: dict[str, int] = {}
    for row in shaper.rows.get(rows, ()):
        if row.key in seen and row.key:
            shaper.note(row.path, f"The key “{row.key[:60]}” is given twice; first on line {seen[row.key]}.",
                        mend="Give every row a key of its own.")  # fmt: skip
        seen.setdefault(row.key, shaper.file.line(row.path))


def _machines(shaper: Shaper) -> None:
    banks, pockets = _keys(shaper, "banks"), _keys(shaper, "pockets")
    owner: dict[str, str] = {}
    for row in shaper.rows.get("machines", ()):
        if row.record is BAD:
            owner |= {str(p): row.key for p in _raw_pockets(shaper, row.path)}
            continue
        machine: Machine = row.record
        if machine.bank not in banks:
            shaper.note((*row.path, "bank"), f"Machine {machine.key} names bank “{machine.bank}”, which the store does not have.",
                        allowed=", ".join(sorted(banks)) or "a bank of its own", mend="Add the bank, or mend the name.")  # fmt: skip
        if not machine.pockets:
            shaper.note((*row.path, "pockets"), f"Machine {machine.key} has no pocket.", mend='Write pockets = "1".')
        for pocket in machine.pockets:
            if pocket not in pockets:
                shaper.note((*row.path, "pockets"), f"Machine {machine.key} names pocket “{pocket}”, which the store does not have.",
                            mend="Add a [[pocket]] with this key, or mend the name.")  # fmt: skip
            if pocket in owner:
                shaper.note((*row.path, "pockets"), f"Pocket {pocket} belongs to machine {owner[pocket]} and to {machine.key}.",
                            mend="A pocket belongs to one machine.")  # fmt: skip
            owner.setdefault(pocket, machine.key)
    if any(row.record is BAD for row in shaper.rows.get("machines", ())):
        return
    for row in shaper.rows.get("pockets", ()):
        if row.key and row.key not in owner:
            shaper.note(row.path, f"Pocket {row.key[:60]} belongs to no machine.", mend="Name it in a [[machine]].")


def _raw_pockets(shaper: Shaper, path: Path) -> Iterable[object]:
    at: object = shaper.file.content
    for part in path:
        at = at[part] if isinstance(at, dict | list) else None  # type: ignore[index]
    raw = at.get("pockets") if isinstance(at, dict) else None
    return raw if isinstance(raw, list) else ()


def _inputs(shaper: Shaper, inputs: Iterable[str], path: Path, key: str = "") -> None:
    controls = _keys(shaper, "pockets") | _keys(shaper, "machines")
    for one in inputs:
        control = one.rpartition(".")[0]
        if control not in controls and control != "*":
            shaper.note((*path, key or "inputs"), f"“{one}” belongs to pocket or machine “{control}”, which the store does not have.",
                        mend="Write the key of a pocket or machine, a point, and the sheet's name for it.")  # fmt: skip


def _heats(shaper: Shaper) -> None:
    heats = [row for row in shaper.rows.get("heats", ()) if row.record is not BAD]
    numbers = [row.record.number for row in heats]
    if len(heats) == len(shaper.rows.get("heats", ())) and sorted(numbers) != list(range(1, len(numbers) + 1)):
        shaper.note(
            heats[0].path,
            f"Heats are numbered {', '.join(map(str, numbers))}.",
            mend="Number them 1, 2, 3 ... without gap.",
        )


def _lengths(shaper: Shaper) -> None:
    trade = shaper.file.content.get("trade")
    if not isinstance(trade, dict):
        return
    minutes, shares = trade.get("need_minutes"), trade.get("need_share")
    if isinstance(minutes, list) and isinstance(shares, list) and len(minutes) != len(shares):
        shaper.note(("trade", "need_share"), f"There are {len(minutes)} need_minutes and {len(shares)} need_share.",
                    mend="Give one share for each.")  # fmt: skip


def _energy_tables(shaper: Shaper, store: object) -> None:
    """Heat in the fuels and the room's conditioning, where given."""
    if not isinstance(store, Store):
        return
    for name, table in (("natural_gas", store.natural_gas), ("propane", store.propane), ("room_air", store.room_air)):
        for bad in table.check(name) if table is not None else ():
            shaper.note((name,), bad.what, allowed=bad.allowed, mend=bad.mend)


def _tariffs(shaper: Shaper) -> None:
    for row in shaper.rows.get("tariffs", ()):
        if row.record is BAD:
            continue
        for bad in row.record.check():
            shaper.note(row.path, f"{bad.where}: {bad.what}", allowed=bad.allowed, mend=bad.mend)
        if shaper.currency and row.record.currency != shaper.currency:
            shaper.note((*row.path, "currency"), f"The tariff is in {row.record.currency}, the store in {shaper.currency}.",
                        mend="A store is billed in its own currency.")  # fmt: skip
