"""JSON Lines in and out, lossless: the text of every entry goes over as it is hashed, so the hashes stay what they are.

A file begins with ``{"drybank":"book","format":1}`` and ends with a line that counts what stood between, so that a file cut
short is noticed. An import reads and checks every line before it stores the first.
"""

from __future__ import annotations

import hashlib
from base64 import b64decode, b64encode
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import IO, TYPE_CHECKING, Any, Literal, cast

import msgspec

from drybank.book import beside, chain, rules
from drybank.book.placing import Arrival, Placing
from drybank.book.spool import Spool
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


class _File(msgspec.Struct):
    """A file read and found sound in itself; its lines lie in the spool."""

    spool: Spool
    now: datetime
    mistakes: list[InputError] = []
    ends: dict[str, tuple[int, str]] = {}
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
    with Spool() as spool:
        file = _read(lines, spool, book.clock())
        return _store(book, file, if_moved)


def _store(book: Book, file: _File, if_moved: IfMoved) -> Imported:
    """What was read and checked, in one transaction, some lines at a time."""
    stores, spool = sorted(file.ends), file.spool
    result: list[Imported] = []

    def compose() -> Iterator[list[chain.Line]]:
        behind = _moved(book, file)
        if behind and if_moved == "refuse":
            raise TipMoved(
                f"Since this file was written, store “{behind[0]}” has moved on here. Nothing was stored. Import with "
                "“append” to book the unknown entries behind it, or import into a new book."
            )
        added = 0
        for part in spool.in_parts():
            arrivals = [_arrival(line, line.store in behind, chain.moment_text(file.now)) for _, line in part]
            placing = Placing(book.rows, arrivals, doubts=book.doubts)
            for (number, _), arrival in zip(part, arrivals, strict=True):
                with _At(number):
                    placing.place(arrival)
            added += len(placing.lines)
            yield placing.lines
        result[:] = [
            Imported(added=added, known=spool.lines - added, kept=spool.things, stores=tuple(stores), behind=behind)
        ]

    book.rows.write_in_parts(stores, compose, spool.all_kept)
    return result[0]


def _moved(book: Book, file: _File) -> tuple[str, ...]:
    """Stores whose chain here is neither the beginning of the file's chain nor its continuation."""
    heads = book.rows.heads(sorted(file.ends))
    shorter = {store: head for store, head in heads.items() if 0 < head[0] < file.ends[store][0]}
    met: set[str] = set()
    if shorter:
        for _, line in file.spool.all_lines():
            if shorter.get(line.store) == (line.seq, line.hash):
                met.add(line.store)
    out = []
    for store, (seq, _) in sorted(heads.items()):
        end, tip = file.ends[store]
        if seq == 0 or store in met:
            continue
        if seq < end or [line.hash for line in book.rows.page(store, end - 1, 1)] != [tip]:
            out.append(store)
    return tuple(out)


def _arrival(line: chain.Line, is_behind: bool, now: str) -> Arrival:
    written = chain.Written(entry=chain.read(line.text), text=line.text)
    if is_behind:
        return Arrival(written=written, booked=now, old_hash=line.hash)
    return Arrival(written=written, booked=line.booked, old_hash=line.old_hash, seq=line.seq)


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


def _read(lines: Iterable[bytes | str], spool: Spool, now: datetime) -> _File:
    file = _File(spool=spool, now=now)
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
        file.spool.put_kept(_kept(line.kept))
    elif bytes(line.entry):
        _take_entry(file, number, line)
    elif not line.drybank:
        raise InputError("it holds no entry.")


def _check_end(file: _File, line: _FileLine) -> None:
    tips = {store: tip for store, (_, tip) in file.ends.items()}
    if (line.entries, line.things, line.tips) != (file.spool.lines, file.spool.things, tips):
        raise InputError(
            f"the file should hold {line.entries} entries and {line.things} kept things and end as it says; it holds "
            f"{file.spool.lines} and {file.spool.things}.",
            mend="Lines were lost, added or changed; get the file anew.",
        )


def _take_entry(file: _File, number: int, line: _FileLine) -> None:
    _check_booked(line.booked)
    text = _true_text(line)
    entry = chain.read(text)
    first = file.spool.first_seen(entry.id, number)
    if first != number:
        raise InputError(f"entry {entry.id} stands in line {first} already.")
    seq, tip = file.ends.get(entry.store, (0, ""))
    if (line.seq, line.prev) != (seq + 1, tip):
        raise InputError(
            f"it does not follow place {seq} of store “{entry.store}”.", mend="A line is missing or moved."
        )
    written = chain.Written(entry=entry, text=text)
    rules.check_alone(written, file.now)
    chained = chain.line_of(written, seq=line.seq, booked=line.booked, prev=line.prev, old_hash=line.old_hash)
    file.ends[entry.store] = (chained.seq, chained.hash)
    file.spool.put(number, chained)


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
