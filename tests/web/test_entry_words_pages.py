"""An entry's page and its correction speak people's words: no field names, no minor units, in both languages."""

import re

import msgspec
import pytest

from drybank.desk.entry_form import changes_from, fields_of
from drybank.desk.entry_words import told
from drybank.records.errors import InputErrors

from .conftest import STORE

pytestmark = pytest.mark.usefixtures("traceless")


def first(town, kind):
    return town.story(STORE, kinds=(kind,))[-1]


@pytest.mark.parametrize("kind", ["deposit", "payout", "count", "reading", "setting change", "refund", "collection"])
def test_no_field_name_and_no_minor_unit_stands_on_the_pages(as_, town, kind):
    entry = first(town, kind)
    for page in ("", "/correct"):
        text = as_("owner").get(f"/s/{STORE}/book/{entry.id}{page}").content.decode()
        said = " ".join(re.findall(r"<(?:dt|label)[^>]*>([^<]*)<", text))
        assert not re.search(r"[a-z]_[a-z]|minor|\b\w+\.\d+\.", said), said


def test_the_amount_is_shown_and_corrected_in_the_stores_currency(as_, town):
    entry = first(town, "deposit")
    currency = town.store_at(STORE, entry.happened).currency
    where = f"/s/{STORE}/book/{entry.id}"
    client = as_("owner")
    amount = f"{entry.body.minor // 100:,}.{entry.body.minor % 100:02d}"
    assert f"<dt>amount</dt><dd>{amount} {currency}</dd>" in client.get(where).content.decode()
    form = client.get(f"{where}/correct").content.decode()
    assert f'value="{amount}"' in form
    assert client.post(f"{where}/correct", {"reason": "the slip says", "f-minor": "1,234.50"}).status_code == 302
    told_now = next(t for t in town.story(STORE, kinds=("deposit",)) if t.id == entry.id)
    assert told_now.body.minor == 123_450
    assert told_now.body.slip == entry.body.slip


def test_a_word_that_is_no_amount_is_told_by_its_fields_name(as_, town):
    entry = first(town, "payout")
    answer = as_("owner").post(f"/s/{STORE}/book/{entry.id}/correct", {"reason": "slip", "f-gross_minor": "1.234"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "sold: “1.234” has more than 2 decimals" in text
    assert 'value="1.234"' in text


def test_spanish_names_the_fields(as_, town):
    client = as_("owner")
    client.cookies["drybank-language"] = "es"
    text = client.get(f"/s/{STORE}/book/{first(town, 'deposit').id}/correct").content.decode()
    assert ">importe <" in text
    assert ">resguardo<" in text


def test_nothing_typed_changes_nothing_and_everything_that_is_told_can_be_typed(town):
    """Every entry of the store: its own values typed again are no change; what the page tells, the form asks for."""
    for entry in town.story(STORE):
        says = msgspec.to_builtins(entry.body)
        says.pop("kind")
        fields = fields_of(says, "CAD")
        assert changes_from(fields, {f.path: f.value for f in fields}, "CAD") == ()
        names = {f.name for f in fields}
        for name, _value in told(says, "CAD"):
            assert name in names or any(n.startswith(name) for n in names) or name in ("store", "sheet"), name


def test_each_kind_of_field_is_typed_as_people_write_it():
    says = {
        "minor": 150, "is_read_back": False, "pockets": ["1", "2"], "why": "7", "count": 3, "weight_g": None,
        "settings": [["top-up", {"purpose": "time", "base": "s", "value": 200}]], "inputs": [["1.pad", 120, 3000]],
    }  # fmt: skip
    fields = fields_of(says, "CAD")
    assert [f.value for f in fields] == [
        "1.50",
        "no",
        "1, 2",
        "7",
        "3",
        "",
        "top-up",
        "3 min 20 s",
        "1.pad",
        "120",
        "30.00",
    ]
    typed = {
        "minor": "2.25",
        "is_read_back": "yes",
        "pockets": "1,3",
        "why": "8",
        "weight_g": "12.5",
        "inputs.0.2": "31.00",
        "settings.0.1.value": "4 min",
    }
    assert changes_from(fields, typed, "CAD") == (
        "minor=225", "is_read_back=true", 'pockets=["1","3"]', 'why="8"', "weight_g=12.5", "settings.0.1.value=240", "inputs.0.2=3100",
    )  # fmt: skip
    with pytest.raises(InputErrors) as wrong:
        changes_from(fields, {"minor": "a lot", "is_read_back": "perhaps"}, "CAD")
    assert {e.where for e in wrong.value.errors} == {"amount", "read back"}
