"""Book: corrections asked for their reason, one click to undo, the first entry kept; verify, export, statements, reports."""

import io

import pytest

from .conftest import STORE


@pytest.fixture
def reading(town):
    return next(t for t in reversed(town.story(STORE, kinds=("reading",))))


def test_undo_is_a_correction_with_its_reason_and_the_entry_stays(as_, town, reading):
    where = f"/s/{STORE}/book/{reading.id}"
    manager = as_("manager")
    bare = manager.post(f"{where}/correct", {"take_back": "1", "reason": ""})
    assert bare.status_code == 422
    assert b"needs its reason" in bare.content
    done = manager.post(f"{where}/correct", {"take_back": "1", "reason": "read at the wrong store"})
    assert done.status_code == 302
    assert town.find(reading.id).entry == reading.entry
    assert b"Taken back" in manager.get(where).content
    assert town.verify(STORE).is_whole


def test_a_changed_figure_is_corrected_and_words_stay_words(as_, town):
    note = town.story(STORE, kinds=("collection",))[0]
    client = as_("owner")
    answer = client.post(f"/s/{STORE}/book/{note.id}/correct", {"reason": "other bag", "f-bag": "12"})
    assert answer.status_code == 302, answer.content.decode()
    told = next(t for t in town.story(STORE, kinds=("collection",)) if t.id == note.id)
    assert told.body.bag == "12"
    assert told.corrected_by


def test_refused_correction_keeps_what_was_typed(as_, town):
    told = town.story(STORE, kinds=("deposit",))[0]
    answer = as_("owner").post(f"/s/{STORE}/book/{told.id}/correct", {"reason": "slip", "f-minor": "a lot"})
    assert answer.status_code == 422
    assert b'value="a lot"' in answer.content
    assert b'value="slip"' in answer.content


def test_entry_of_another_store_is_not_found(as_, town):
    other = next(iter(town.chain("weir"))).entry.id
    assert as_("owner").get(f"/s/{STORE}/book/{other}").status_code == 404
    assert (
        as_("owner").post(f"/s/{STORE}/book/{other}/correct", {"take_back": "1", "reason": "mine now"}).status_code
        == 404
    )


def test_accountant_reads_and_exports_but_corrects_nothing(as_, reading):
    client = as_("accountant")
    assert client.get(f"/s/{STORE}/book/{reading.id}").status_code == 200
    assert client.post(f"/s/{STORE}/book/{reading.id}/correct", {"take_back": "1", "reason": "tidy"}).status_code == 404


def test_export_reads_back_equal_into_a_new_book(as_, town, tmp_path):
    from drybank.book import open_book

    content = as_("owner").get(f"/s/{STORE}/export").content
    with open_book(tmp_path / "new.book", create=True) as new:
        new.import_lines(io.BytesIO(content))
        assert new.tip(STORE) == town.tip(STORE)
        assert new.stores() == (STORE,)


def test_verify_says_what_a_true_chain_proves(as_):
    text = as_("accountant").get(f"/s/{STORE}/verify").content.decode()
    assert "The chain holds" in text
    assert "No seal was given" in text


def test_a_seal_that_does_not_agree_is_told(as_, town):
    seal = town.seal(STORE, by="owner", origin="test")
    line = seal.line()
    good = as_("owner").get(f"/s/{STORE}/verify", {"seals": line}).content.decode()
    assert "agrees with 1 seal" in good
    bad = as_("owner").get(f"/s/{STORE}/verify", {"seals": line.replace(seal.tip[:8], "0" * 8)}).content.decode()
    assert "does NOT hold" in bad


def test_partner_reads_the_own_share_and_not_the_owners_lines(as_):
    from drybank.desk.pages import months_before
    from drybank.web import site

    month = months_before(site.book(), STORE, site.now())[2]
    own = as_("partner").get(f"/s/{STORE}/statements", {"period": month}).content.decode()
    assert "is due to you" in own
    assert "refunds" not in own
    assert "fees" not in own
    owner = as_("owner").get(f"/s/{STORE}/statements", {"period": month}).content.decode()
    assert "refunds" in owner


def test_week_report_is_two_pages_in_each_language(as_):
    import pypdf

    from drybank.desk.pages import week_before
    from drybank.web import site

    week = week_before(site.book(), STORE, site.now())
    for language, words in (("en", "What is wrong"), ("es", "Qué va mal")):
        client = as_("owner")
        client.cookies["drybank-language"] = language
        pdf = pypdf.PdfReader(io.BytesIO(client.get(f"/s/{STORE}/report/{week}.pdf").content))
        assert len(pdf.pages) == 2
        assert words in pdf.pages[1].extract_text()


def test_bank_cards_are_one_file_with_a_card_for_each_machine(as_, town):
    import pypdf

    from drybank.desk.standing import layout_at
    from drybank.web import site

    machines = [m.key for m in layout_at(town, STORE, site.now()).machines.values() if m.bank == "gallery"]
    pdf = pypdf.PdfReader(io.BytesIO(as_("technician").get(f"/s/{STORE}/cards/gallery.pdf").content))
    text = "\n".join(p.extract_text() for p in pdf.pages)
    assert all(f"{m}" in text for m in machines)
    assert len(pdf.pages) >= len(machines)
