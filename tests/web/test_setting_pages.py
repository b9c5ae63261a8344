"""Set and change day by form: the same checks as `drybank set` and `drybank change-day`, cautions first, resumable."""

import re

import pytest

from drybank.web import site

from .conftest import STORE

pytestmark = pytest.mark.usefixtures("traceless")
BANK = "gallery"
DAY = f"/s/{STORE}/change-day/{BANK}"


def entries_since(town, before):
    return [b.entry for b in town.chain(STORE)][before:]


def fields(text, mark):
    return re.findall(rf'name="{mark}-([^"]+)"', text)


class TestOnePocket:
    WHERE = f"/s/{STORE}/pocket/1/set"

    def test_opens_with_the_cautions_before_the_first_field(self, as_):
        text = as_("technician").get(self.WHERE).content.decode()
        assert 0 < text.index("maker's manual".replace("'", "&#x27;")) < text.index('name="d-')
        assert "lock and tag" not in text[: text.index("Reached with the power")]

    def test_as_the_house_says_and_read_back_is_entered_as_one_visit(self, as_, town):
        before = len(list(town.chain(STORE)))
        answer = as_("technician").post(self.WHERE, {"as_house": "1", "read_back": "1", "test_coins": "25x4"})
        assert answer.status_code == 302, answer.content.decode()
        done = entries_since(town, before)
        assert [e.kind for e in done] == ["reading", "setting change", "sheet read back"]
        assert done[0].body.test_pieces[0].count == 4
        assert done[1].body.is_read_back

    def test_a_value_off_the_controls_grid_is_refused_and_kept_on_the_form(self, as_, town):
        before = len(list(town.chain(STORE)))
        client = as_("technician")
        key = next(k for k in fields(client.get(self.WHERE).content.decode(), "l"))
        answer = client.post(self.WHERE, {f"l-{key}": "99999 h"})
        assert answer.status_code == 422
        assert 'value="99999 h"' in answer.content.decode()
        assert entries_since(town, before) == []

    def test_nothing_typed_is_refused(self, as_):
        assert as_("technician").post(self.WHERE, {}).status_code == 422


class TestChangeDay:
    def test_a_technician_does_not_begin_one(self, as_, town):
        answer = as_("technician").post(DAY, {"what": "begin"})
        assert answer.status_code == 422
        assert "not one of yours" in answer.content.decode()

    def test_a_whole_evening_from_old_sign_to_new_and_back(self, as_, town):
        manager, hand = as_("manager"), as_("technician")
        text = manager.get(DAY).content.decode()
        names = {re.sub(r"&#x27;", "'", n): v for n, v in re.findall(r'name="h-([^"]+)" value="([^"]*)"', text)}
        cool = next(n for n in names if n == "cool-down time")
        new = {f"h-{n}": v for n, v in names.items()} | {f"h-{cool}": "3 min" if names[cool] != "3 min" else "4 min"}
        answer = manager.post(DAY, {"what": "begin", **new})
        assert answer.status_code == 302, re.sub(r"<[^>]+>", " ", answer.content.decode())
        assert manager.post(DAY, {"what": "begin", **new}).status_code == 422  # one is open already
        assert "Take the old sign down" in hand.get(DAY).content.decode()
        assert hand.post(DAY, {"what": "old down"}).status_code == 302
        pockets = re.findall(r"/pocket/([^/]+)/set", hand.get(DAY).content.decode())
        page = hand.get(f"/s/{STORE}/pocket/{pockets[0]}/set").content.decode()
        day = re.search(r'name="change_day" value="([^"]+)"', page)[1]
        assert hand.post(f"/s/{STORE}/pocket/{pockets[0]}/set", {"as_house": "1", "change_day": day}).status_code == 302
        text = hand.get(DAY).content.decode()  # from another device: the book alone knows where it stands
        assert "done" in text
        slot = re.findall(r"<option>([^<]+)</option>", text)[0]
        failed = hand.post(DAY, {"what": "coin-test", "input": slot, "pieces": "4", "ran": "5:00"})
        assert failed.status_code == 302, re.sub(r"<[^>]+>", " ", failed.content.decode())
        assert "failed" in hand.get(DAY).content.decode()
        assert manager.post(DAY, {"what": "roll-back"}).status_code == 302
        assert "Rolling back" in hand.get(DAY).content.decode()
        assert town.house_at(STORE, BANK, site.now())
