"""The reference pages say what the readers do."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from msgspec import inspect

from drybank.book.files import kind_of, read_settings, read_sheet, read_store
from drybank.book.files.history import read_history, read_mapping, role_of
from drybank.book.files.reference import FILES, PAGES, _meaning, page_of
from drybank.book.files.shape import bare, fields_of, unit_of
from drybank.book.files.store_file import read_store as _read_store
from drybank.control import check_sheet, layout
from drybank.desk.demo_town import files
from drybank.records.layout import Layout

DOCS = Path(__file__).parents[3] / "docs" / "reference"


def examples(page: str, kind: str) -> list[str]:
    return re.findall(rf"```{kind}\n(.*?)```", (DOCS / page).read_text("utf-8"), re.DOTALL)


def lantern() -> Layout:
    return layout(_read_store(files()["lantern_row.toml"]), [read_sheet(files()["alder.toml"])])


@pytest.mark.parametrize("name", FILES)
def test_pages_are_as_the_records_are(name: str) -> None:
    """Mend with: python -m drybank.book.files.reference docs/reference/<page> > new && mv new docs/reference/<page>."""
    old = (DOCS / name).read_text("utf-8")
    assert page_of(name, old) == old


def test_every_key_has_a_meaning() -> None:
    for _, record in (told for page in PAGES.values() for told in page):
        assert [f.name for f in fields_of(record) if not _meaning(record, f)] == [], record.__name__


def test_every_record_that_a_store_or_sheet_can_hold_has_its_table() -> None:
    told = {record for page in PAGES.values() for _, record in page}
    inside = set()
    for record in told:
        for field in fields_of(record):
            kind = bare(field.type)
            item = kind.item_type if isinstance(kind, inspect.VarTupleType) else kind
            if isinstance(item, inspect.StructType):
                inside.add(item.cls)
    assert inside <= told


def test_exact_figures_never_take_a_unit() -> None:
    for _, record in (told for page in PAGES.values() for told in page):
        for field in fields_of(record):
            if isinstance(bare(field.type), inspect.DecimalType):
                assert unit_of(record.__name__, field.name) == "", field.name


def test_examples_on_the_pages_are_read_without_a_mistake() -> None:
    store, settings = examples("store-file.md", "toml")
    (sheet,) = examples("sheet-file.md", "toml")
    assert [kind_of(t) for t in (store, settings, sheet)] == ["store", "settings", "sheet"]
    assert len(read_store(store).pockets) == 6
    assert read_settings(settings).store == "corner"
    assert check_sheet(read_sheet(sheet)) == ()


def test_the_examples_of_a_history_and_of_a_mapping_are_read_too() -> None:
    (table,) = examples("history-file.md", "csv")
    history = read_history(table.encode(), "x.csv", None, lantern())
    assert (len(history.drafts), history.refused, len(history.skipped)) == (7, (), 1)
    (mapping,) = examples("history-file.md", "toml")
    read = read_mapping(mapping)
    assert all(role_of(role, lantern()) for role in read.columns.values())
