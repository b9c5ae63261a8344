"""A store's readings, emptyings and counts as columns: the same entries as the story tells, without reading JSON again.

Most of a book is three kinds of entry that say little more than numbers. Here their fields stand in arrays, one row an
entry, with values, boxes and pieces of each row lying one behind the other; every other entry, and one of those three that
says something unusual, is kept as its text. Nothing is left out: `StoreColumns.entries` gives back what `Book.story` tells.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Final, NamedTuple
from uuid import UUID

import msgspec
import numpy as np
import numpy.typing as npt

from drybank.book import packing
from drybank.records.entry import AnyBody, BoxesEmptied, DeviceValue, Entry, Pieces, PiecesCounted, ReadingTaken
from drybank.records.errors import InputError

Array = npt.NDArray[Any]

READING, COLLECTION, COUNT, OTHER = range(4)
_SHORT: Final = 32_768
_METHODS: Final = ("hand", "machine", "weight")
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND: Final = timedelta(microseconds=1)
_KINDS: Final = {READING: "reading", COLLECTION: "collection", COUNT: "count"}

ARRAYS: Final = {
    "at": "<i8", "seq": "<i8", "kind": "|u1", "id": "|u1", "by": "<i4", "first": "<i4", "tail": "<i4",
    "word": "<i4", "second": "<i4", "visit": "<i4", "flag": "|i1", "minor": "<i8", "foreign": "<i8",
    "item": "<i4", "number": "<i8", "value": "<i8", "pieces": "<i8",
}  # fmt: skip
"""Columns and their types. One row an entry: moment [µs since 1970], place in the chain, kind, id (16 bytes), who, where
its items begin (``first``) and its pieces (``tail``), bag or collection, second person, visit, a mark,
minor units (one more where none or more are said, 0 where nothing is), foreign pieces. One row an item: its device or box, and the number shown. One row a piece: value and count."""


class Thin(NamedTuple):
    """An entry as the balance reads it: id, moment, body, and who wrote it."""

    id: str
    happened: datetime
    body: AnyBody
    by: str
    seq: int


class Series(NamedTuple):
    """Numbers of several devices or boxes: those of ``names[k]`` stand in ``[start[k], start[k + 1])``, oldest first.

    ``at`` are whole seconds since 1970.
    """

    names: tuple[str, ...]
    start: Array
    at: Array
    number: Array


class StoreColumns(msgspec.Struct, frozen=True, kw_only=True):
    """One store's entries up to a place of its chain. ``words`` are the texts that rows point at; ``texts`` the entries
    kept as text, in the order of their rows; ``plain`` what stands at ``other`` rows."""

    store: str
    seq: int
    tip: str
    words: tuple[str, ...]
    texts: tuple[str, ...]
    kinds: tuple[str, ...]
    arrays: dict[str, Array]

    def __len__(self) -> int:
        return int(self.arrays["at"].size)

    def entries(
        self, kinds: Sequence[str] = (), *, until: datetime | None = None, tallies_since: datetime | None = None
    ) -> Iterator[Thin]:
        """Entries of some kinds, by moment and then by place in the chain; ``until`` is not included.

        Readings, emptyings and counts before ``tallies_since`` are left out, as far as they stand in columns.
        """
        a = self.arrays
        last = len(self) if until is None else int(np.searchsorted(a["at"], micros(until), side="left"))
        first = 0 if tallies_since is None else int(np.searchsorted(a["at"], micros(tallies_since), side="left"))
        is_text = a["kind"][:last] == OTHER
        wanted = [k for k, name in _KINDS.items() if not kinds or name in kinds]
        rows = np.flatnonzero(is_text | (np.isin(a["kind"][:last], wanted) & (np.arange(last) >= first)))
        at, kind, seq = (a[name][rows].tolist() for name in ("at", "kind", "seq"))
        make, other = _Maker(self), -1
        for n, row in enumerate(rows.tolist()):
            if kind[n] == OTHER:
                other += 1
                if not kinds or self.kinds[other] in kinds:
                    entry = _decode(self.texts[other])
                    yield Thin(entry.id, entry.happened, entry.body, entry.by, seq[n])
            else:
                happened = _EPOCH + timedelta(microseconds=at[n])
                yield Thin(make.id(row), happened, make.body(kind[n], row), make.words[make.by[row]], seq[n])

    def shown(self) -> Series:
        """Every reading that stands in columns, device by device in order of time."""
        return self._series(READING, self.arrays["number"])

    def counted(self) -> Series:
        """Pieces of every count of one single box that stands in columns, box by box in order of time."""
        a = self.arrays
        totals = np.concatenate([[0], np.cumsum(a["pieces"], dtype=np.int64)])
        of_row = totals[a["tail"][1:].astype(np.int64)] - totals[a["tail"][:-1].astype(np.int64)]
        return self._series(COUNT, np.repeat(of_row, _lengths(a["first"])), single=True)

    def _series(self, kind: int, values: Array, *, single: bool = False) -> Series:
        a = self.arrays
        length = _lengths(a["first"])
        chosen = (a["kind"] == kind) & ((length == 1) | (not single))
        mine = np.repeat(chosen, length)
        device, at = a["item"][mine], np.repeat(a["at"], length)[mine]
        order = np.argsort(device.astype(np.int16) if len(self.words) < _SHORT else device, kind="stable")
        device = device[order]
        cuts = np.flatnonzero(np.diff(device)) + 1
        start = np.concatenate([[0], cuts, [device.size]]) if device.size else np.zeros(1, np.int64)
        names = tuple(self.words[d] for d in device[start[:-1]].tolist())
        return Series(names, start.astype(np.int64), at[order] // 1_000_000, values[mine][order])

    def pack(self) -> bytes:
        """The bytes of a file."""
        said = {
            "of": "entries", "store": self.store, "seq": self.seq, "tip": self.tip, "words": self.words,
            "texts": self.texts, "kinds": self.kinds,
        }  # fmt: skip
        return packing.pack(said, {name: self.arrays[name] for name in ARRAYS})

    def series(self) -> StoreSeries:
        """What devices showed and boxes held, alone."""
        return StoreSeries(store=self.store, seq=self.seq, tip=self.tip, shown=self.shown(), counted=self.counted())


class StoreSeries(msgspec.Struct, frozen=True, kw_only=True):
    """What every device of a store showed and every box held, up to a place of its chain; for sums over a fleet."""

    store: str
    seq: int
    tip: str
    shown: Series
    counted: Series

    def pack(self) -> bytes:
        """The bytes of a file."""
        said = {
            "of": "series", "store": self.store, "seq": self.seq, "tip": self.tip, "shown": self.shown.names,
            "counted": self.counted.names,
        }  # fmt: skip
        both = {"shown": self.shown, "counted": self.counted}
        return packing.pack(said, {f"{k}.{f}": getattr(v, f) for k, v in both.items() for f in Series._fields[1:]})


def unpack(raw: bytes) -> StoreColumns:
    """The columns of such bytes; raises `InputError` where they are not whole."""
    said, arrays = packing.unpack(raw)
    if said.pop("of") != "entries" or set(arrays) != set(ARRAYS):
        raise InputError("it holds other columns than this Drybank keeps.")
    texts = {name: tuple(said.pop(name)) for name in ("words", "texts", "kinds")}
    words, kept, kinds = (texts[name] for name in ("words", "texts", "kinds"))
    return StoreColumns(
        store=said["store"], seq=said["seq"], tip=said["tip"], words=words, texts=kept, kinds=kinds, arrays=arrays
    )


def unpack_series(raw: bytes) -> StoreSeries:
    """The series of such bytes; raises `InputError` where they are not whole."""
    said, arrays = packing.unpack(raw)
    if said.pop("of") != "series":
        raise InputError("it holds other columns than this Drybank keeps.")
    both = {k: Series(tuple(said.pop(k)), *(arrays[f"{k}.{f}"] for f in Series._fields[1:])) for k in ("shown", "counted")}  # fmt: skip
    return StoreSeries(
        store=said["store"], seq=said["seq"], tip=said["tip"], shown=both["shown"], counted=both["counted"]
    )


def _lengths(starts: Array) -> npt.NDArray[np.int64]:
    """How many hang on each row."""
    wide = starts.astype(np.int64)
    return wide[1:] - wide[:-1]


def micros(moment: datetime) -> int:
    """Microseconds since 1970."""
    return (moment - _EPOCH) // _MICROSECOND


_encode: Final = msgspec.json.Encoder(order="sorted", decimal_format="string").encode
_decode: Final[Callable[[str], Entry]] = msgspec.json.Decoder(Entry).decode


class _Maker:
    """Builds bodies from rows."""

    def __init__(self, of: StoreColumns) -> None:
        a = of.arrays
        self.words = of.words
        self.ids = a["id"]
        lists = ("by", "word", "second", "visit", "flag", "minor", "foreign", "item", "number", "value", "pieces")
        self.by, self.word, self.second, self.visit, self.flag, self.minor, self.foreign, *rest = (
            a[name].tolist() for name in lists
        )
        self.item, self.number, self.value, self.pieces = rest
        self.first, self.tail = a["first"].tolist(), a["tail"].tolist()

    def id(self, row: int) -> str:
        return str(UUID(bytes=self.ids[row].tobytes()))

    def body(self, kind: int, row: int) -> AnyBody:
        items = slice(self.first[row], self.first[row + 1])
        words = self.words
        if kind == READING:
            shown = zip(self.item[items], self.number[items], strict=True)
            values = tuple(DeviceValue(device=words[d], shown=n) for d, n in shown)
            return ReadingTaken(values=values, visit=words[self.visit[row]])
        boxes = tuple(words[b] for b in self.item[items])
        if kind == COLLECTION:
            flag = self.flag[row]
            return BoxesEmptied(
                boxes=boxes, bag=words[self.word[row]], with_second=words[self.second[row]],
                is_after_reading=None if flag < 0 else bool(flag), visit=words[self.visit[row]],
            )  # fmt: skip
        part = slice(self.tail[row], self.tail[row + 1])
        minor = self.minor[row]
        return PiecesCounted(
            boxes=boxes, bag=words[self.word[row]],
            pieces=tuple(Pieces(piece_minor=v, count=n) for v, n in zip(self.value[part], self.pieces[part], strict=True)),
            minor=None if not minor else minor - (minor > 0), method=_METHODS[self.flag[row]],
            foreign=self.foreign[row], with_second=words[self.second[row]], collection=words[self.visit[row]],
        )  # fmt: skip


def _is_usual(body: AnyBody) -> int:
    """The kind of row that holds this body whole, or `OTHER`."""
    if isinstance(body, ReadingTaken):
        plain = not body.test_pieces and not body.test_input
        return READING if plain and all(v.shown is not None and not v.why_not for v in body.values) else OTHER
    if isinstance(body, BoxesEmptied):
        return COLLECTION
    if isinstance(body, PiecesCounted):
        plain = body.weight_g is None and all(p.means == "coin" for p in body.pieces)
        return COUNT if plain else OTHER
    return OTHER


class _Tray:
    """Rows on their way into columns."""

    def __init__(self, words: Iterable[str] = ()) -> None:
        self.words: dict[str, int] = {word: n for n, word in enumerate(words)}
        self.at("")
        self.rows: dict[str, list[Any]] = {name: [] for name in ARRAYS}
        self.texts: list[tuple[int, int, str, str]] = []

    def at(self, word: str) -> int:
        return self.words.setdefault(word, len(self.words))

    def put(self, entry: Entry, seq: int) -> None:
        """One entry more."""
        kind, body, rows = _is_usual(entry.body), entry.body, self.rows
        at = micros(entry.happened)
        word = second = visit = ""
        flag, minor, foreign = -1, 0, 0
        rows["first"].append(len(rows["item"]))
        rows["tail"].append(len(rows["value"]))
        if kind == OTHER:
            self.texts.append((at, seq, entry.kind, _encode(entry).decode()))
        elif isinstance(body, ReadingTaken):
            visit = body.visit
            rows["item"] += [self.at(v.device) for v in body.values]
            rows["number"] += [v.shown for v in body.values]
        elif isinstance(body, BoxesEmptied):
            word, second, visit = body.bag, body.with_second, body.visit
            flag = -1 if body.is_after_reading is None else int(body.is_after_reading)
            self._boxes(body.boxes)
        elif isinstance(body, PiecesCounted):
            word, second, visit = body.bag, body.with_second, body.collection
            flag, foreign = _METHODS.index(body.method), body.foreign
            minor = 0 if body.minor is None else body.minor + (body.minor >= 0)
            self._boxes(body.boxes)
            rows["value"] += [p.piece_minor for p in body.pieces]
            rows["pieces"] += [p.count for p in body.pieces]
        head = (at, seq, kind, UUID(entry.id).bytes, self.at(entry.by), self.at(word), self.at(second), self.at(visit), flag, minor, foreign)  # fmt: skip
        names = ("at", "seq", "kind", "id", "by", "word", "second", "visit", "flag", "minor", "foreign")
        for name, value in zip(names, head, strict=True):
            rows[name].append(value)

    def _boxes(self, boxes: Sequence[str]) -> None:
        self.rows["item"] += [self.at(b) for b in boxes]
        self.rows["number"] += [0] * len(boxes)

    def arrays(self) -> dict[str, Array]:
        rows = self.rows
        out = {name: np.array(rows[name], ARRAYS[name]) for name in ARRAYS if name not in ("id", "first", "tail")}
        out["id"] = np.frombuffer(b"".join(rows["id"]), np.uint8).reshape(-1, 16)
        out["first"] = np.array([*rows["first"], len(rows["item"])], ARRAYS["first"])
        out["tail"] = np.array([*rows["tail"], len(rows["value"])], ARRAYS["tail"])
        return out


def columns(store: str, seq: int, tip: str, entries: Iterable[tuple[Entry, int]], *, onto: StoreColumns | None = None) -> StoreColumns:  # fmt: skip
    """Columns of entries with their places, as they stand today; ``onto`` are earlier ones that none of them changes."""
    tray = _Tray(onto.words if onto else ())
    for entry, place in entries:
        tray.put(entry, place)
    arrays, texts = tray.arrays(), list(tray.texts)
    if onto is not None:
        arrays = _behind(onto.arrays, arrays)
        texts = [*_texts_of(onto), *texts]
    at, place_in = arrays["at"], arrays["seq"]
    order = np.lexsort((place_in, at))
    if not np.array_equal(order, np.arange(order.size)):
        arrays = _in_order(arrays, order)
    texts.sort(key=lambda text: text[:2])
    return StoreColumns(
        store=store, seq=seq, tip=tip, words=tuple(tray.words), texts=tuple(t[3] for t in texts),
        kinds=tuple(t[2] for t in texts), arrays=arrays,
    )  # fmt: skip


def _texts_of(of: StoreColumns) -> Iterator[tuple[int, int, str, str]]:
    rows = np.flatnonzero(of.arrays["kind"] == OTHER)
    at, seq = of.arrays["at"][rows].tolist(), of.arrays["seq"][rows].tolist()
    return zip(at, seq, of.kinds, of.texts, strict=True)


def _behind(old: dict[str, Array], new: dict[str, Array]) -> dict[str, Array]:
    out = {name: np.concatenate([old[name], new[name]]) for name in ARRAYS if name not in ("first", "tail")}
    for name in ("first", "tail"):
        out[name] = np.concatenate([old[name][:-1], int(old[name][-1]) + new[name]]).astype(ARRAYS[name])
    return out


def _in_order(arrays: dict[str, Array], order: Array) -> dict[str, Array]:
    """Rows in another order, with what hangs on each."""
    out = {}
    for start, hanging in (("first", ("item", "number")), ("tail", ("value", "pieces"))):
        begin, length = (
            arrays[start][:-1][order].astype(np.int64),
            (arrays[start][1:].astype(np.int64) - arrays[start][:-1])[order],
        )
        ends = np.cumsum(length)
        take = np.repeat(begin - (ends - length), length) + np.arange(int(ends[-1]) if ends.size else 0)
        out[start] = np.concatenate([[0], ends]).astype(ARRAYS[start])
        out |= {name: arrays[name][take] for name in hanging}
    return out | {name: values[order] for name, values in arrays.items() if name not in out}
