"""Every page answers for each of its roles without a fault, and says only what its reader may know."""

import pytest

from drybank.web.rights import PAGES

from .conftest import CAST, STORE
from .test_rights import address

SLOW = [pytest.mark.slow]
READ = [
    pytest.param(p, marks=SLOW if p.name == "plan-bank" else [], id=p.name)
    for p in PAGES
    if p.scope == "store" and "GET" in p.methods
]


def shown(client, page):
    where = address(page)
    return client.get(where + ("&" if "?" in where else "?") + "wait=1")


@pytest.mark.parametrize("page", READ)
@pytest.mark.parametrize("language", ["en", "es"])
def test_page_answers_its_first_reader_in_each_language(as_, page, language):
    handle = next(h for h in CAST if CAST[h][:2] == (STORE, page.roles[0]))
    client = as_(handle)
    client.cookies["drybank-language"] = language
    answer = shown(client, page)
    assert answer.status_code == 200, answer.content[-2000:]
    if answer["Content-Type"].startswith("text/html"):
        assert f'<html lang="{language}">' in answer.content.decode()
    elif page.name.endswith("-pdf"):
        assert answer.content.startswith(b"%PDF")
