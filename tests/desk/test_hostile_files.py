"""Every reader of a file against a megabyte made to hurt it: a sentence or a reading, within 2 s, in at most ten times the file.

The table “Hostile files” in docs/concepts/safety.md lists the readers and what was thrown at each. Time is this process's own;
memory is what Python asked for (tracemalloc), over what stood before. Small files of any bytes are thrown at the same readers
by the tests beside each of them.
"""

import contextlib
import io
import tracemalloc
import zipfile
from datetime import UTC, datetime
from time import process_time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drybank.book.files import read_settings, read_sheet, read_store
from drybank.book.files.history import read_history, read_mapping
from drybank.book.files.settlement import read_settlement, read_settlement_mapping
from drybank.cards import Grid, file_name, grids_csv, grids_xlsx
from drybank.desk import demo
from drybank.desk.exhaust_log import log_of, read_log
from drybank.desk.files import check_files, text_of
from drybank.desk.upkeep import read_tasks, tasks_of
from drybank.records.errors import DrybankError, InputError

MEGABYTE = 1_000_000
SECONDS, TIMES = 2.0, 10


@pytest.fixture(scope="module")
def laid():
    return next(laid for laid, _ in demo.town() if laid.store.key == "lantern")


def workbook(inner: bytes, name: str = "xl/worksheets/sheet1.xml") -> bytes:
    """A workbook's wrapping around one sheet of any bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as pack:
        pack.writestr("[Content_Types].xml", "<Types/>")
        pack.writestr(
            "xl/workbook.xml", '<workbook><sheets><sheet name="a" sheetId="1" r:id="rId1"/></sheets></workbook>'
        )
        pack.writestr(name, inner)
    return out.getvalue()


READERS = {
    "store": lambda data, laid: read_store(data, "x.toml"),
    "sheet": lambda data, laid: read_sheet(data, "x.toml"),
    "settings": lambda data, laid: read_settings(data, "x.toml"),
    "check": lambda data, laid: check_files([("x.toml", data)]),
    "mapping": lambda data, laid: read_mapping(data, "x.toml"),
    "settlement mapping": lambda data, laid: read_settlement_mapping(data, "x.toml"),
    "tasks": lambda data, laid: tasks_of(data, "x.toml"),
    "history": lambda data, laid: read_history(data, "x.csv", None, laid, not_after=datetime(2026, 11, 1, tzinfo=UTC)),
    "settlement": lambda data, laid: read_settlement(data, "x.csv", laid, "town card"),
    "exhaust log": lambda data, laid: log_of("x.csv", data, scale="F", plus_minus_c=1.0),
}
TOML = {
    "deep lists": b"a = " + b"[" * MEGABYTE,
    "deep names": b"a." * (MEGABYTE // 2) + b"b = 1",
    "many tables": b"[[task]]\n" * (MEGABYTE // 9),
    "many names": b"".join(b"a%d = 1\n" % n for n in range(MEGABYTE // 12)),
    "one long text": b'a = "' + b"x" * MEGABYTE + b'"',
    "a figure without end": b"a = " + b"9" * MEGABYTE,
    "noise": bytes(range(256)) * (MEGABYTE // 256),
}
ROWS = {
    "commas": b"," * MEGABYTE,
    "quotes": b'"' * MEGABYTE,
    "line ends": b"\r\n" * (MEGABYTE // 2),
    "wide": b"date,pocket,hours\n" + b"1," * (MEGABYTE // 2),
    "wrong rows": b"date,pocket,hours,gross,time,temperature\n" + b"1,1,=1+1\n" * (MEGABYTE // 9),
    "a figure without end": b"date,pocket,hours\n2026-05-04,1," + b"9" * MEGABYTE,
    "noise": bytes(range(256)) * (MEGABYTE // 256),
    "two columns": b"0:15 160\n" * (MEGABYTE // 9),
    "short lines": b"1,2\n" * (MEGABYTE // 4),
}
CASES = [
    (reader, name, data)
    for readers, payloads in (
        (("store", "sheet", "settings", "check", "mapping", "settlement mapping", "tasks"), TOML),
        (("history", "settlement", "exhaust log"), ROWS),
    )
    for reader in readers
    for name, data in payloads.items()
]


def tried(reader, data, laid):
    """A reader's answer to bytes: nothing but a plain refusal may come out of it."""
    with contextlib.suppress(InputError):
        READERS[reader](data, laid)


HEAVY = ("many tables", "one long text", "commas", "line ends", "two columns")
WATCHED = [c for c in CASES if c[0] in ("store", "history", "exhaust log") and c[1] in HEAVY]
"""One reader of each kind: all the others read by the same two ways, `located` and `read_table`."""


def ids(cases):
    return [f"{reader}: {name}" for reader, name, _ in cases]


@pytest.mark.parametrize(("reader", "name", "data"), CASES, ids=ids(CASES))
def test_a_megabyte_made_to_hurt_is_answered_in_time(reader, name, data, laid):
    begin = process_time()
    tried(reader, data, laid)
    assert process_time() - begin < SECONDS


@pytest.mark.parametrize(("reader", "name", "data"), WATCHED, ids=ids(WATCHED))
def test_and_in_little_memory(reader, name, data, laid):
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    try:
        tried(reader, data, laid)
        peak = tracemalloc.get_traced_memory()[1] - before
    finally:
        tracemalloc.stop()
    assert peak < TIMES * len(data), f"{peak / len(data):.1f} times the file"


BOMBS = {
    "zeros": lambda: workbook(b"\0" * 80_000_000),
    "far cell": lambda: workbook(b'<worksheet><sheetData><row r="1048576"><c r="XFD1048576"/></row></sheetData></worksheet>'),
    "no workbook": lambda: b"PK\x03\x04" + b"\0" * MEGABYTE,
    "entities": lambda: workbook(
        b'<!DOCTYPE a [<!ENTITY b "' + b"c" * 1000 + b'">]><worksheet><sheetData>' + b"&b;" * 100_000 + b"</sheetData></worksheet>"
    ),
    "outside": lambda: workbook(
        b'<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]><worksheet><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>&b;</t></is></c></row></sheetData></worksheet>'
    ),
    "up the tree": lambda: workbook(b"<worksheet/>", name="../../../../tmp/drybank-was-here"),
}  # fmt: skip


@pytest.mark.parametrize(("reader", "name"), [("history", n) for n in BOMBS] + [("settlement", "far cell")])
def test_a_workbook_made_to_burst_or_to_reach_out_is_refused_in_little_memory(reader, name, laid):
    data = BOMBS[name]()
    tracemalloc.start()
    begin = process_time()
    try:
        with pytest.raises(InputError) as refused:
            READERS[reader](data, laid)
        seconds, peak = process_time() - begin, tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert seconds < SECONDS
    assert peak < 70_000_000  # what a workbook may unpack to, and a little
    assert "root:" not in refused.value.sentence()


runs = st.sampled_from(
    ["=", "+", "-", "@", "\t=", "\r=", "\n=", "=cmd|' /C calc'!A0", "-2+3", "+1", "@SUM(A1)", '=HYPERLINK("x")', "％"]
)
words = st.builds(lambda a, b: f"{a}{b}", runs, st.text(max_size=12))


@settings(deadline=None, max_examples=60)
@given(st.lists(words, min_size=1, max_size=6))
def test_no_word_of_ours_becomes_a_formula_in_a_spreadsheet(cells):
    """XLSX: no cell is a formula (no <f> in any sheet). CSV: no cell begins as one, but for plain negative figures."""
    import csv

    grid = Grid(title="t", heads=("a",), columns=("left",), rows=tuple((c,) for c in cells))
    with zipfile.ZipFile(io.BytesIO(grids_xlsx((grid,)))) as made:
        sheets = [made.read(n) for n in made.namelist() if n.startswith("xl/worksheets/sheet")]
        assert not any(b"<f>" in s or b"<f " in s or b"hyperlink" in s for s in sheets)
    for row in csv.reader(io.StringIO(grids_csv((grid,)))):
        for cell in row:
            figure = cell[:1] == "-" and cell[1:].replace(",", "").replace(".", "").isdigit()
            assert figure or not cell.lstrip()[:1] or cell.lstrip()[0] not in "=+-@"


@given(st.lists(st.text(max_size=30), min_size=1, max_size=3))
def test_a_files_name_stays_in_its_folder(parts):
    name = file_name("card", *parts)
    assert not set(name) & set("/\\:\0\n.")
    assert name


@settings(deadline=None, max_examples=50)
@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused_by_every_reader(laid_once, data):
    for read in READERS.values():
        try:
            read(data, laid_once)
        except DrybankError as refused:
            said = refused.sentence()
            assert said
            assert "Traceback" not in said


@pytest.fixture(scope="module")
def laid_once(laid):
    return laid


@pytest.mark.parametrize("read", [text_of, read_tasks, lambda path: read_log(path, scale="C", plus_minus_c=1.0)])
def test_a_folder_a_missing_file_and_one_too_large_are_refused_before_they_are_read(read, tmp_path):
    large = tmp_path / "large.toml"
    with large.open("wb") as file:
        file.truncate(10**10)  # a file of ten thousand million bytes that takes no room
    for path in (tmp_path, tmp_path / "none.toml", large):
        with pytest.raises(InputError):
            read(str(path))
