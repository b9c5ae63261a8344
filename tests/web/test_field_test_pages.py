"""Field tests by form: cautions before the first field, the verdict of `drybank prove`, kept in the book unless asked not to."""

import re

import pytest

from drybank.web.views.tests import KINDS

from .conftest import STORE

pytestmark = pytest.mark.usefixtures("traceless")


def where(kind):
    return f"/s/{STORE}/field-tests/{kind}"


def words(answer):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


@pytest.mark.parametrize("kind", KINDS)
def test_cautions_stand_before_the_first_field_and_nothing_typed_is_refused(as_, kind):
    client = as_("technician")
    text = client.get(where(kind)).content.decode()
    assert 0 < text.index("come before this page") < text.index('<form method="post" class="sheet"')
    refused = client.post(where(kind), {"what": "test"})
    assert refused.status_code == 422
    assert "--" not in words(refused)


def test_time_sold_by_form_is_the_same_proof_as_on_the_terminal(as_, town):
    from drybank.desk.proof import How, Timing, time_sold
    from drybank.desk.stamp import Pen
    from drybank.web import site

    slot = next(i for i in _inputs(town) if i.startswith("1.")).split(".")[1]
    before = len(list(town.chain(STORE)))
    answer = as_("technician").post(
        where("time"), {"what": "test", "pocket": "1", "ran": "26:02", "pieces": "4", "input": slot}
    )
    assert answer.status_code == 200, words(answer)
    entry = [b.entry for b in town.chain(STORE)][before:][0]
    how = How(pen=Pen(by="technician", clock=site.now), is_kept=False)
    same = time_sold(town, STORE, [Timing(pocket="1", ran_s=1562.0, pieces=4, input=slot)], how)
    assert entry.body.verdict == same.result.verdict
    assert same.result.says.split(",")[0].split(".")[0] in words(answer)


def test_asked_not_to_be_kept_it_is_not(as_, town):
    before = len(list(town.chain(STORE)))
    typed = {"what": "test", "reference": "2 kg", "give": "0.1 g", "shown": "2001 g", "step": "1 g", "forget": "1"}
    answer = as_("manager").post(where("scale"), typed)
    assert answer.status_code == 200, words(answer)
    assert "was not entered" in words(answer)
    assert len(list(town.chain(STORE))) == before


def test_a_typed_log_is_judged_and_a_bad_line_is_named(as_):
    lines = "\n".join(f"{t // 60}:{t % 60:02d}, {60 + (t % 120) / 12:.1f}" for t in range(0, 1200, 15))
    client = as_("technician")
    bad = client.post(
        where("heat"), {"what": "test", "pocket": "1", "heat": "1", "log": lines + "\n9:99 hot", "give": "1 C"}
    )
    assert bad.status_code == 422
    assert "line 81" in words(bad)
    good = client.post(where("heat"), {"what": "test", "pocket": "1", "heat": "1", "log": lines, "give": "1 C"})
    assert good.status_code == 200, words(good)
    assert "How it was judged" in words(good)


def test_a_quantity_without_its_unit_is_refused_and_kept_on_the_form(as_):
    answer = as_("owner").post(where("pressure"), {"what": "test", "pocket": "1", "reading": "0.3", "give": "5 Pa"})
    assert answer.status_code == 422
    assert "has no unit" in words(answer)
    assert 'value="0.3"' in answer.content.decode()


def test_gas_is_clocked_and_a_pocket_without_gas_is_told_so(as_, town):
    typed = {"what": "test", "pocket": "1", "dial": "1 ft3", "turns": "3", "seconds": "1:35", "others_off": "1"}
    answer = as_("technician").post(where("gas"), typed)
    assert answer.status_code in (200, 422)
    assert re.search(r"heated by electricity|margin", words(answer))


def _inputs(town):
    from drybank.desk.standing import layout_at
    from drybank.web import site

    return [k for k, i in layout_at(town, STORE, site.now()).inputs.items() if i.means == "coin"]
