"""Weeks closed by form under a seal, bills and payouts, statements of every reader, proof of income."""

import io
import re

import pytest

from drybank.desk.pages import months_before, week_before
from drybank.web import site

from .conftest import OTHER, STORE

pytestmark = pytest.mark.usefixtures("traceless")


def words(answer):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


@pytest.fixture
def week(town):
    return week_before(town, STORE, site.now())


class TestClose:
    def test_a_week_with_something_missing_is_refused_then_closed_knowingly_under_a_seal_that_holds(
        self, as_, town, week
    ):
        client, where = as_("manager"), f"/s/{STORE}/weeks/{week}"
        before = len(list(town.chain(STORE)))
        told = words(client.get(where))
        missing = "missing." in told and "nothing is missing" not in told
        if missing:
            refused = client.post(where, {})
            assert refused.status_code == 422
            assert "not complete" in words(refused)
            assert "--" not in words(refused)
            assert len(list(town.chain(STORE))) == before
        answer = client.post(where, {"although_missing": "1"} if missing else {})
        assert answer.status_code == 302
        assert [b.entry.kind for b in town.chain(STORE)][before:] == ["close", "seal"]
        seal = re.search(r"drybank seal \d+ [0-9a-f]{64} \S+ \S+", words(client.get(where)))[0]
        verified = as_("owner").get(f"/s/{STORE}/verify", {"seals": seal})
        assert "agrees with 1 seal" in words(verified)
        assert week in words(as_("accountant").get(f"/s/{STORE}/weeks"))
        assert "Took" in words(as_("owner").get(f"/s/{STORE}/", {"wait": "1"}))  # a closed week is still last week
        assert as_("owner").get(f"/s/{STORE}/report/{week}.pdf").content.startswith(b"%PDF")

    def test_an_accountant_looks_and_does_not_close(self, as_, week):
        client = as_("accountant")
        assert client.get(f"/s/{STORE}/weeks/{week}").status_code == 200
        assert client.post(f"/s/{STORE}/weeks/{week}", {"although_missing": "1"}).status_code == 422

    def test_a_week_that_is_not_over_and_one_that_is_none_are_refused(self, as_):
        running = f"{site.now():%G-W%V}"
        assert as_("owner").post(f"/s/{STORE}/weeks/{running}", {"although_missing": "1"}).status_code == 422
        assert as_("owner").get(f"/s/{STORE}/weeks/sometime").status_code == 422


class TestBills:
    WHERE = f"/s/{STORE}/bills"

    def test_a_bill_becomes_the_cost_of_its_month(self, as_, town):
        from drybank.desk.takings import statement_of

        client = as_("accountant")
        month = months_before(town, STORE, site.now())[1]
        before = statement_of(town, STORE, month, site.now()).costs.minor
        typed = {
            "what": "bill",
            "fuel": "electricity",
            "first": f"{month}-01",
            "last": f"{month}-28",
            "quantity": "812,5",
            "unit": "kWh",
            "amount": "391.20",
        }
        answer = client.post(self.WHERE, typed)
        assert answer.status_code == 302, words(answer)
        assert "391.20" in words(client.get(self.WHERE))
        assert statement_of(town, STORE, month, site.now()).costs.minor == before + 39120

    def test_an_impossible_bill_is_refused_and_kept_on_the_form(self, as_, town):
        before = len(list(town.chain(STORE)))
        typed = {
            "what": "bill",
            "fuel": "gas",
            "first": "2026-09-30",
            "last": "2026-09-01",
            "quantity": "812",
            "unit": "m3",
            "amount": "a lot",
        }
        answer = as_("owner").post(self.WHERE, typed)
        assert answer.status_code == 422
        assert 'value="a lot"' in answer.content.decode()
        assert len(list(town.chain(STORE))) == before


class TestStatements:
    def test_spreadsheet_csv_and_journal_open_as_what_they_are(self, as_, town):
        from python_calamine import CalamineWorkbook

        month = months_before(town, STORE, site.now())[1]
        client = as_("accountant")
        sheet = client.get(f"/s/{STORE}/statements/{month}.xlsx").content
        assert CalamineWorkbook.from_filelike(io.BytesIO(sheet)).sheet_names
        assert "," in client.get(f"/s/{STORE}/statements/{month}.csv").content.decode()
        assert client.get(f"/s/{STORE}/journal/{month}.txt").content.decode().count("\n") > 10

    def test_a_year_adds_up_to_its_months(self, as_, town):
        from drybank.desk.takings import statement_of

        year = months_before(town, STORE, site.now())[0][:4]
        whole = statement_of(town, STORE, year, site.now())
        assert whole.total.takings.plain() in words(as_("owner").get(f"/s/{STORE}/statements", {"period": year}))

    def test_a_partner_of_two_shares_reads_both_and_nobody_elses(self, as_, town, two_shares):
        first, second = two_shares
        client = as_("both")
        month = months_before(town, OTHER, site.now())[1]
        page = words(client.get(f"/s/{OTHER}/statements", {"period": month}))
        assert first in page
        assert second in page
        own = words(client.get(f"/s/{OTHER}/statements", {"period": month, "for": second}))
        assert "is due to you" in own
        assert client.get(f"/s/{OTHER}/statements/{month}.csv", {"for": second}).status_code == 200
        asked_for_all = words(client.get(f"/s/{OTHER}/statements", {"period": month, "for": ""}))
        assert "refunds" not in asked_for_all
        assert client.get(f"/s/{OTHER}/journal/{month}.txt").status_code == 404

    def test_proof_of_income_stands_beside_what_it_must_have_used(self, as_):
        page = words(as_("owner").get(f"/s/{STORE}/income"))
        assert "How to check it" in page
        assert as_("owner").get(f"/s/{STORE}/income.pdf").content.startswith(b"%PDF")
        assert as_("owner").get(f"/s/{STORE}/income", {"first": "2026-09", "last": "2026-01"}).status_code == 422


@pytest.fixture
def two_shares(town):
    """A second share in the other store for as long as the test runs, and a partner invited to both."""
    import msgspec

    from drybank.desk.stamp import Pen
    from drybank.records.entry import StoreDated
    from drybank.records.store import Share
    from drybank.web.models import Membership, Person

    was = town.store_at(OTHER, site.now())
    shares = (Share(name="The landlord", percent="10"), Share(name="The uncle", percent="5"))
    pen = Pen(by="ada", clock=site.now)
    first = f"{next(iter(town.chain(OTHER))).entry.happened:%Y-%m-%d}"
    town.append([pen.entry(OTHER, StoreDated(store=msgspec.structs.replace(was, shares=shares), from_date=first))])
    person = Person(handle="both", name="Both")
    person.set_password("three quiet drums")
    person.save()
    for share in shares:
        Membership.objects.create(person=person, store=OTHER, role="partner", partner=share.name)
    yield tuple(s.name for s in shares)
    person.delete()
    town.append([pen.entry(OTHER, StoreDated(store=was, from_date=first))])
