"""Every call by every role, made from the table of calls: answered or "not found", never a redirect, never a page."""

import pytest

from drybank.web.api.app import api, description
from drybank.web.rights import BY_NAME, CALLS, KINDS_BY_ROLE, PAGE_ONLY, PAGES, ROLES, is_asked_again, kinds_of

from .conftest import CAST, STORE
from .test_rights import WORDS, some_entry

STORE_CALLS = [c for c in CALLS if c.scope == "store"]
SLOW = ("reading-plan", "entries-round-")
NOT_FOR_YOU = "There is no such thing for you here."
PAPER = ("-pdf", "-xlsx", "-csv", "journal")


def address(call, store=STORE):
    words = {**WORDS, "store": store, "sha256": "0" * 64, "entry": some_entry()}
    return "/api/v1" + call.path.format(**words)


def ask(client, call, **how):
    return getattr(client, call.method.lower())(address(call), **how)


def is_refusal(answer, status):
    assert (answer.status_code, answer["Content-Type"]) == (status, "application/json")
    assert answer.json()["error"]
    return True


def test_every_operation_has_a_row_and_every_row_an_operation():
    paths = description()["paths"]
    found = {(m.upper(), p) for p, methods in paths.items() for m in methods}
    assert found == {(c.method, "/api/v1" + c.path) for c in CALLS}
    assert len({c.name for c in CALLS}) == len(CALLS)
    assert api().docs_url is None


@pytest.mark.parametrize("call", STORE_CALLS, ids=lambda c: c.name)
def test_a_call_names_who_may_and_the_same_as_its_page(call):
    assert call.roles
    assert set(call.roles) <= set(ROLES)
    assert not call.page or call.roles == BY_NAME[call.page].roles


def test_every_page_of_a_store_has_its_data_or_is_listed_without():
    with_data = {c.page for c in CALLS if c.page}
    pages = {p.name for p in PAGES if p.scope == "store" and "GET" in p.methods}
    without = {p for p in pages - with_data if not p.endswith(PAPER)}
    assert without <= PAGE_ONLY, "a new page: give its data a call in CALLS, or list it in PAGE_ONLY"


@pytest.mark.parametrize("call", STORE_CALLS, ids=lambda c: c.name)
def test_a_call_is_answered_for_its_roles_and_not_found_for_all_others(as_, call):
    for handle, (store, role, _) in CAST.items():
        is_open = store == STORE and role in call.roles
        if handle == "ada" or (is_open and call.name in SLOW and handle != "owner"):
            continue
        answer = ask(as_(handle), call)
        if is_open:
            assert answer.status_code in (200, 400, 404, 422), (handle, answer.content[:300])
            assert answer.status_code == 200 or answer.json()["error"] != NOT_FOR_YOU
        else:
            assert is_refusal(answer, 404), handle
            assert answer.json()["error"] == NOT_FOR_YOU


@pytest.mark.parametrize("call", [c for c in CALLS if c.scope != "anyone"], ids=lambda c: c.name)
def test_who_is_not_logged_in_gets_json_and_no_redirect(as_, call):
    answer = ask(as_(""), call)
    assert is_refusal(answer, 401)
    assert answer["WWW-Authenticate"].startswith("Bearer")


@pytest.mark.parametrize(
    "path", ["/api/v1/nothing", "/api/v1/stores/saddle/nothing", "/api/v2/me", "/api/v1/stores/nowhere/today"]
)
def test_an_unknown_address_is_json_too(as_, path):
    assert is_refusal(as_("ada").get(path), 404)


class TestKinds:
    @pytest.mark.parametrize("role", ["collector", "counter"])
    def test_who_collects_or_counts_sends_nothing_that_sets_or_corrects(self, role):
        assert not KINDS_BY_ROLE[role] & {
            "setting change",
            "correction",
            "deposit",
            "adopted plan",
            "close",
            "finding outcome",
        }

    def test_nobody_sends_what_the_book_makes_itself(self):
        made = {"store version", "sheet version", "adopted plan", "waiver", "close", "seal", "learned value"}
        assert not kinds_of(frozenset(ROLES)) & made

    def test_two_roles_add_up_and_collecting_still_silences_the_asking(self):
        both = frozenset({"technician", "collector"})
        assert kinds_of(both) >= KINDS_BY_ROLE["technician"] | KINDS_BY_ROLE["collector"]
        assert not is_asked_again(both)
        assert is_asked_again(frozenset({"technician"}))

    @pytest.mark.parametrize("role", ROLES)
    def test_every_role_has_its_row(self, role):
        assert role in KINDS_BY_ROLE


@pytest.mark.parametrize(("handle", "path"), [(h, p) for h in ("collector", "counter") for p in ("cash", "round")])
def test_what_a_collector_or_counter_gets_holds_nothing_expected(as_, handle, path):
    answer = as_(handle).get(f"/api/v1/stores/{STORE}/{path}")
    assert answer.status_code == 200
    text = answer.content.decode()
    assert not any(
        word in text for word in ("expected", "gap", "verdict", "short", "finding", "hours_usual", "interval")
    )


def test_the_page_of_the_interface_names_every_call_with_who_may_and_every_role_s_kinds():
    from pathlib import Path

    text = (Path(__file__).parents[2] / "docs" / "reference" / "api.md").read_text()
    for call in CALLS:
        who = {"anyone": "anybody", "person": "who is logged in"}.get(call.scope) or ", ".join(call.roles)
        row = next((line for line in text.splitlines() if line.startswith(f"| `{call.method} {call.path}` |")), "")
        assert row.endswith(f"| {who} |"), call.name
    for role in ROLES:
        assert f"| {role} | {', '.join(sorted(KINDS_BY_ROLE[role])) or 'none'} |" in text
