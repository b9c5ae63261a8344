"""JSON Lines in and out, lossless: the text of every entry goes over as it is hashed, so the hashes stay what they are.

A file begins with ``{"drybank":"book","format":1}`` and ends with a line that counts what stood between, so that a file cut
short is noticed. An import reads and checks every line before it stores the first.
"""

from __future__ import annotations

import hashlib
from base64 import b64decode, b64encode
from collections.abc import Iterable, Iterator, Sequence
from typing import IO, TYPE_CHECKING, Any, Literal, cast

import msgspec

from drybank.book import beside, chain, rules
from drybank.book.placing import Arrival, Placing
from drybank.records.errors import BookError, DrybankError, InputError, InputErrors, TipMoved

if TYPE_CHECKING:
    from drybank.book.ledger import Book

FORMAT = 1
LONGEST_LINE = 30_000_000
"""Bytes: the largest photo kept beside the chain, in base64, with room to spare."""
MISTAKES_SHOWN = 20

IfMoved = Literal["refuse", "append"]


class Exported(msgspec.Struct, frozen=True, kw_only=True):
    """What went out: the tip of each store, and the SHA-256 of the file."""

    entries: int
    kept: int
    tips: dict[str, str]
    sha256: str


class Imported(msgspec.Struct, frozen=True, kw_only=True):
    """What came in. ``behind`` names the stores whose chain had moved on, with their new entries put behind it."""

    added: int
    known: int
    kept: int
    stores: tuple[str, ...]
    behind: tuple[str, ...] = ()


class _Kept(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    sha256: str
    what: str
    is_text: bool
    salt: str
    content: str
    erased: str = ""


class _FileLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    drybank: str = ""
    format: int = 0
    seq: int = 0
    booked: str = ""
    prev: str = ""
    hash: str = ""
    old_hash: str = ""
    entry: msgspec.Raw = msgspec.Raw(b"")
    kept: _Kept | None = None
    end: bool = False
    entries: int = 0
    things: int = 0
    tips: dict[str, str] | None = None


class _Arrived(msgspec.Struct, frozen=True):
    """A chained line of the file with its number."""

    number: int
    line: chain.Line
    written: chain.Written


class _File(msgspec.Struct):
    """A file read and found sound in itself."""

    arrived: list[_Arrived] = []
    kept: list[dict[str, Any]] = []
    mistakes: list[InputError] = []
    ids: dict[str, int] = {}
    ends: dict[str, chain.Line] = {}
    is_ended: bool = False


def export(book: Book, out: IO[bytes], stores: Sequence[str] | None, *, with_kept: bool) -> Exported:
    """Write chosen stores, or all, each up to where it ended when the export began."""
    digest = hashlib.sha256()
    heads = book.rows.heads()
    for store in stores or ():
        book.head(store)
    chosen = sorted(heads) if stores is None else sorted(set(stores))
    things = book.rows.all_kept() if with_kept else []

    def put(line: _FileLine) -> None:
        raw = msgspec.json.encode(line) + b"\n"
        digest.update(raw)
        out.write(raw)

    put(_FileLine(drybank="book", format=FORMAT))
    count = 0
    for store in chosen:
        for line in book.lines(store):
            if line.seq > heads[store][0]:
                break
            count += 1
            put(_file_line(line))
    for thing in things:
        put(_FileLine(kept=_Kept(**thing | {part: b64encode(thing[part]).decode() for part in ("salt", "content")})))
    tips = {store: heads[store][1] for store in chosen}
    put(_FileLine(end=True, entries=count, things=len(things), tips=tips))
    return Exported(entries=count, kept=len(things), tips=tips, sha256=digest.hexdigest())


def _file_line(line: chain.Line) -> _FileLine:
    return _FileLine(
        seq=line.seq, booked=line.booked, prev=line.prev, hash=line.hash, old_hash=line.old_hash,
        entry=msgspec.Raw(line.text.encode()),
    )  # fmt: skip


def import_lines(book: Book, lines: Iterable[bytes | str], *, if_moved: IfMoved = "refuse") -> Imported:
    """Book every entry of an export, or none.

    A chain that begins or continues here keeps its hashes. One that has moved on since is refused (`TipMoved`), or with
    ``append`` its unknown entries are booked anew behind it, each with the hash it had in the file.

    Raises
    ------
    InputErrors
        Mistakes in the file, each with its line number.
    TipMoved, DuplicateDiffers, ChainBroken, Missing
        The file does not fit the book.
    """
    file = _read(lines)
    now = book.clock()
    for each in file.arrived:
        with _At(each.number):
            rules.check_alone(each.written, now)
    stores = sorted(file.ends)
    result: list[Imported] = []

    def compose() -> list[chain.Line]:
        behind = tuple(store for store in stores if _is_moved(book, store, file))
        if behind and if_moved == "refuse":
            raise TipMoved(
                f"Since this file was written, store “{behind[0]}” has moved on here. Nothing was stored. Import with "
                "“append” to book the unknown entries behind it, or import into a new book."
            )
        arrivals = [_arrival(each, each.line.store in behind, chain.moment_text(now)) for each in file.arrived]
        placing = Placing(book.rows, arrivals, doubts=book.doubts)
        for each, arrival in zip(file.arrived, arrivals, strict=True):
            with _At(each.number):
                placing.place(arrival)
        added = len(placing.lines)
        result[:] = [
            Imported(added=added, known=len(arrivals) - added, kept=len(file.kept), stores=tuple(stores), behind=behind)
        ]
        return placing.lines

    book.rows.write(stores, compose, file.kept)
    return result[0]


def _is_moved(book: Book, store: str, file: _File) -> bool:
    """Whether the chain here is neither the beginning of the file's chain nor its continuation."""
    seq, tip = book.rows.heads([store]).get(store, (0, ""))
    end = file.ends[store]
    if seq == 0:
        return False
    if seq >= end.seq:
        return [line.hash for line in book.rows.page(store, end.seq - 1, 1)] != [end.hash]
    return not any(a.line.store == store and a.line.seq == seq and a.line.hash == tip for a in file.arrived)


def _arrival(each: _Arrived, is_behind: bool, now: str) -> Arrival:
    if is_behind:
        return Arrival(written=each.written, booked=now, old_hash=each.line.hash)
    line = each.line
    return Arrival(written=each.written, booked=line.booked, old_hash=line.old_hash, seq=line.seq)


class _At:
    """Says at which line of the file a refusal arose."""

    def __init__(self, number: int) -> None:
        self._number = number

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: object) -> None:
        if isinstance(fault, InputError | BookError):
            raise cast(type[DrybankError], type(fault))(f"line {self._number}: {fault.sentence()}") from fault


# Reading a file that may be hostile


def _read(lines: Iterable[bytes | str]) -> _File:
    file = _File()
    number = 0
    for number, raw in enumerate(_bounded(lines), 1):
        if file.is_ended and not raw.strip():
            continue
        try:
            _take(file, number, _parsed(raw, is_first=number == 1))
        except InputError as bad:
            file.mistakes.append(InputError(bad.sentence(), where=f"line {number}"))
            if len(file.mistakes) >= MISTAKES_SHOWN or number == 1:
                break
    if not file.mistakes and not file.is_ended:
        file.mistakes.append(
            InputError("the file ends before its last line.", where=f"line {number}", mend="Get the whole file again.")
        )
    if file.mistakes:
        raise InputErrors(file.mistakes)
    return file


def _bounded(lines: Iterable[bytes | str]) -> Iterator[bytes]:
    """Lines as bytes; a file object is read with a bound, so that a file of one endless line cannot fill the memory."""
    readline = getattr(lines, "readline", None)
    if readline is None:
        yield from (raw.encode("utf-8", "replace") if isinstance(raw, str) else raw for raw in lines)
        return
    while raw := readline(LONGEST_LINE + 1):
        yield raw.encode("utf-8", "replace") if isinstance(raw, str) else raw
        if len(raw) > LONGEST_LINE:
            return


def _parsed(raw: bytes, *, is_first: bool) -> _FileLine:
    if not raw.strip() and not is_first:
        raise InputError("it is blank.", mend="A line was lost; get the file anew.")
    if len(raw) > LONGEST_LINE:
        raise InputError(f"it is over {LONGEST_LINE} bytes long.", mend="This is no export of a book.")
    try:
        line = msgspec.json.decode(raw, type=_FileLine)
    except (msgspec.DecodeError, ValueError, RecursionError) as bad:
        raise InputError(f"it is no line of an export: {bad}.", mend="Export the book again.") from bad
    if is_first and line.drybank != "book":
        raise InputError(
            "the file does not begin as an export of a book does.", mend="Choose a file that `drybank export` wrote."
        )
    if line.format > FORMAT:
        raise InputError(
            f"the file has format {line.format}, this Drybank reads up to {FORMAT}.", mend="Update Drybank."
        )
    return line


def _take(file: _File, number: int, line: _FileLine) -> None:
    if file.is_ended:
        raise InputError("something follows the last line.", mend="Get the file anew; this one was changed.")
    if line.end:
        _check_end(file, line)
        file.is_ended = True
    elif line.kept is not None:
        file.kept.append(_kept(line.kept))
    elif bytes(line.entry):
        _take_entry(file, number, line)
    elif not line.drybank:
        raise InputError("it holds no entry.")


def _check_end(file: _File, line: _FileLine) -> None:
    tips = {store: end.hash for store, end in file.ends.items()}
    if (line.entries, line.things, line.tips) != (len(file.arrived), len(file.kept), tips):
        raise InputError(
            f"the file should hold {line.entries} entries and {line.things} kept things and end as it says; it holds "
            f"{len(file.arrived)} and {len(file.kept)}.",
            mend="Lines were lost, added or changed; get the file anew.",
        )


def _take_entry(file: _File, number: int, line: _FileLine) -> None:
    _check_booked(line.booked)
    text = _true_text(line)
    entry = chain.read(text)
    if entry.id in file.ids:
        raise InputError(f"entry {entry.id} stands in line {file.ids[entry.id]} already.")
    end = file.ends.get(entry.store)
    seq, tip = (end.seq, end.hash) if end else (0, "")
    if (line.seq, line.prev) != (seq + 1, tip):
        raise InputError(
            f"it does not follow place {seq} of store “{entry.store}”.", mend="A line is missing or moved."
        )
    written = chain.Written(entry=entry, text=text)
    chained = chain.line_of(written, seq=line.seq, booked=line.booked, prev=line.prev, old_hash=line.old_hash)
    file.ids[entry.id] = number
    file.ends[entry.store] = chained
    file.arrived.append(_Arrived(number, chained, written))


def _true_text(line: _FileLine) -> str:
    """The entry's text as it was hashed, also where the file was re-indented on its way."""
    try:
        text = bytes(line.entry).decode()
    except UnicodeDecodeError as bad:
        raise InputError("the entry is not written in UTF-8.") from bad
    if line.hash == _hash(line, text):
        return text
    anew = chain.canonical(text)
    if line.hash == _hash(line, anew):
        return anew
    raise InputError("what the entry says does not agree with its hash.", mend="It was changed; get the file anew.")


def _hash(line: _FileLine, text: str) -> str:
    return chain.entry_hash(line.prev, text, line.seq, line.booked, line.old_hash)


def _check_booked(text: str) -> None:
    try:
        is_true = chain.moment_text(chain.moment(text)) == text
    except (ValueError, OverflowError):
        is_true = False
    if not is_true:
        raise InputError(f"“{text[:40]}” is no moment of booking.", mend="Write it like 2026-05-03T10:00:00.000000Z.")


def _kept(kept: _Kept) -> dict[str, Any]:
    try:
        salt, content = b64decode(kept.salt, validate=True), b64decode(kept.content, validate=True)
    except ValueError as bad:
        raise InputError("what is kept beside the chain is not in base64.") from bad
    beside.content_bytes(kept.what, content or b"-")
    if not kept.erased and not beside.is_true_to(kept.sha256, salt, content):
        raise InputError("what is kept beside the chain does not agree with its hash.")
    if kept.erased and (salt or content):
        raise InputError("something erased still has its content.")
    return msgspec.structs.asdict(kept) | {"salt": salt, "content": content}
