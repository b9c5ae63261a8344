"""The export file as its reference page describes it, read and hashed by other means than Drybank's own."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
from pathlib import Path

import pytest
from book_making import Places, begun, entry, readings

from drybank.records.entry import Noted

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "export-file.md"


@pytest.fixture
def lines(tmp_path: Path) -> list[bytes]:
    with begun(Places("sqlite", tmp_path, None), ("elm", "oak")) as book:
        kept, gone = book.keep("name", "Jo"), book.keep("photo", b"\xff")
        book.erase(gone.sha256)
        book.append([*readings(3), entry("oak", Noted(says='é ☂ "q"\n', kept=(kept, gone)))])
        (tmp_path / "b").mkdir()
        with begun(Places("sqlite", tmp_path / "b", None), ("elm",)) as second:
            second.append(readings(1, start=9))
            out = io.BytesIO()
            second.export(out)
        book.import_lines(out.getvalue().splitlines(), if_moved="append")
        out = io.BytesIO()
        book.export(out, with_kept=True)
    return out.getvalue().splitlines()


def test_hashes_are_what_the_page_says(lines: list[bytes]):
    """Method: the entry's text is cut out of the line as bytes; hashlib and json are the outside witnesses."""
    tips: dict[str, str] = {}
    for raw in lines[1:-1]:
        said = json.loads(raw)
        if "kept" in said:
            continue
        text = re.search(rb'"entry":(\{.*\})\}$', raw).group(1)
        parts = [said.get("prev", ""), text.decode(), str(said["seq"]), said["booked"]]
        parts += [said["old_hash"]] if "old_hash" in said else []
        assert hashlib.sha256("\n".join(parts).encode()).hexdigest() == said["hash"]
        assert said.get("prev", "") == tips.get(said["entry"]["store"], "")
        assert json.dumps(said["entry"], sort_keys=True, separators=(",", ":"), ensure_ascii=False) == text.decode()
        tips[said["entry"]["store"]] = said["hash"]
    assert json.loads(lines[-1])["tips"] == tips
    assert any(b"old_hash" in raw for raw in lines)


def test_kept_things_are_what_the_page_says(lines: list[bytes]):
    kept = [json.loads(raw)["kept"] for raw in lines if b'"kept":{' in raw and b'"entry"' not in raw]
    assert {k["what"] for k in kept} == {"name", "photo"}
    for each in kept:
        salt, content = (base64.b64decode(each[part]) for part in ("salt", "content"))
        assert (each["erased"] != "") == (content == b"") == (salt == b"")
        if content:
            assert hashlib.sha256(salt + content).hexdigest() == each["sha256"]


def test_the_page_names_every_key_and_no_other(lines: list[bytes]):
    keys = {key for raw in lines for key in json.loads(raw)} | {
        k for raw in lines for k in json.loads(raw).get("kept", {})
    }
    table = PAGE.read_text().split("| line | keys |")[1].split("\n\n")[0]
    assert set(re.findall(r"`(\w+)`", table)) == keys
