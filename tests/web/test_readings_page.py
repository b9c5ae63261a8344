"""Readings: one walk entered machine by machine; an unlikely figure asked for again, empty and without its range."""

import re
from datetime import timedelta

import pytest

from drybank.desk.standing import layout_at
from drybank.records.entry import ReadingTaken
from drybank.web import site

from .conftest import OTHER, STORE

pytestmark = pytest.mark.usefixtures("traceless")
WHERE = f"/s/{STORE}/readings"


def latest(town):
    """What every meter and counter showed last."""
    out = {}
    for told in town.story(STORE, kinds=("reading",)):
        if isinstance(told.body, ReadingTaken):
            out |= {v.device: v.shown for v in told.body.values if v.shown is not None}
    return out


def shown(town, device, value):
    meter = layout_at(town, STORE, site.now()).meters.get(device)
    return f"{value / meter.per_hour:.1f}" if meter and meter.per_hour == 10 else f"{value}"


def asked_of(client):
    return re.findall(r'name="d-([^"]+)"', client.get(WHERE).content.decode())


def test_a_whole_walk_is_one_entry_for_each_machine_signed_by_who_walked(as_, town):
    client, was = as_("technician"), latest(town)
    before = len(list(town.chain(STORE)))
    typed = {f"d-{d}": shown(town, d, was[d] + 3) for d in asked_of(client)}
    answer = client.post(WHERE, typed)
    if answer.status_code == 422:  # what looks unlikely three days after the last visit is typed once more
        again = re.findall(r'name="1-([^"]+)" value="([^"]+)"', answer.content.decode())
        answer = client.post(WHERE, typed | {f"1-{d}": text for d, text in again})
    assert answer.status_code == 302, answer.content.decode()
    entries = [b.entry for b in town.chain(STORE)][before:]
    assert {e.kind for e in entries} == {"reading"}
    assert len(entries) == len(layout_at(town, STORE, site.now()).machines)
    assert {e.by for e in entries} == {"technician"}
    assert sum(len(e.body.values) for e in entries) == len(typed)


def test_an_unlikely_figure_is_asked_for_again_empty_and_taken_when_read_twice(as_, town):
    client, was = as_("collector"), latest(town)
    counters = layout_at(town, STORE, site.now()).counters
    device = next(d for d in asked_of(client) if d in counters and was[d] > 1000)
    odd = str(was[device] - 500)
    before = len(list(town.chain(STORE)))
    first = client.post(WHERE, {f"d-{device}": odd})
    text = first.content.decode()
    assert first.status_code == 422
    assert "read these again" in text
    field = re.search(rf'<input id="d-{re.escape(device)}"[^>]*>', text)[0]
    assert 'value=""' in field
    words = re.sub(r"<[^>]+>", " ", text)
    assert not re.search(r"between|expected|range|less than|more than|usual", words)
    assert str(was[device]) not in text
    assert len(list(town.chain(STORE))) == before
    second = client.post(WHERE, {f"d-{device}": odd, f"1-{device}": odd})
    assert second.status_code == 302
    after = client.get(WHERE).content.decode()
    assert "Kept as you read it twice" in after
    assert "Could it be" not in after
    assert latest(town)[device] == was[device] - 500


def test_refused_walk_keeps_what_was_typed_and_enters_nothing(as_, town):
    client = as_("manager")
    devices = asked_of(client)[:2]
    before = len(list(town.chain(STORE)))
    answer = client.post(WHERE, {f"d-{devices[0]}": "12", f"d-{devices[1]}": "twelve"})
    assert answer.status_code == 422
    assert 'value="twelve"' in answer.content.decode()
    assert 'value="12"' in answer.content.decode()
    assert "--" not in re.sub(r"<[^>]+>", " ", answer.content.decode())
    assert len(list(town.chain(STORE))) == before


def test_a_reading_still_to_come_is_refused(as_):
    client = as_("owner")
    later = f"{site.now() + timedelta(days=2):%Y-%m-%dT%H:%M}"
    answer = client.post(WHERE, {f"d-{asked_of(client)[0]}": "12", "when": later})
    assert answer.status_code == 422
    assert "still to come" in answer.content.decode()


def test_a_device_of_another_store_is_refused(as_):
    answer = as_("owner").post(WHERE, {f"d-{OTHER}.hours": "12"})
    assert answer.status_code == 422


def test_cautions_stand_before_the_first_field(as_):
    text = as_("collector").get(WHERE).content.decode()
    assert 0 < text.index("Keep hands, hair and sleeves away") < text.index('name="d-')
