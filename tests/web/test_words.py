"""English and Spanish: every string of templates and views has its Spanish, and the desk's sentences on the demo's pages too."""

import ast
import re
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from .conftest import STORE

WEB = Path(__file__).parents[2] / "src" / "drybank" / "web"
LOCALE = WEB / "locale" / "es" / "LC_MESSAGES"


def catalogue(name="django"):
    with (LOCALE / f"{name}.po").open("rb") as file:
        return read_po(file)


def strings_of_templates():
    for path in WEB.rglob("*.html"):
        text = path.read_text()
        for found in re.finditer(r"""\{%\s*translate\s+(?:"([^"]+)"|'([^']+)')""", text):
            yield path.name, found[1] or found[2]
        for found in re.finditer(r"\{%\s*blocktranslate[^%]*%\}(.*?)\{%\s*endblocktranslate\s*%\}", text, re.DOTALL):
            first = re.split(r"\{%\s*plural\s*%\}", found[1])[0]
            yield path.name, re.sub(r"\{\{\s*(\w+)\s*\}\}", r"%(\1)s", first)


def strings_of_modules():
    for path in WEB.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if (
                isinstance(node, ast.Call)
                and getattr(node.func, "id", "") in ("_", "_l", "gettext", "gettext_lazy", "ngettext")
                and node.args
            ):
                assert isinstance(node.args[0], ast.Constant), f"{path.name}: words put together cannot be translated"
                yield path.name, node.args[0].value


def test_no_string_of_the_pages_is_without_its_spanish():
    known = {(m.id if isinstance(m.id, str) else m.id[0]): m for m in catalogue() if m.id}
    missing = sorted({f"{where}: {text}" for where, text in (*strings_of_templates(), *strings_of_modules()) if text not in known or not known[text].string})  # fmt: skip
    assert not missing


def test_places_for_figures_are_the_same_in_both_languages():
    slots = re.compile(r"%\(\w+\)s|\{\w+\}")
    odd = []
    for name in ("django", "desk"):
        for m in catalogue(name):
            said = m.id if isinstance(m.id, str) else m.id[0]
            turned = m.string if isinstance(m.string, str) else m.string[0]
            if said and set(slots.findall(turned)) - set(slots.findall(said)):
                odd.append(said)
    assert not odd


def test_compiled_words_are_those_of_the_source():
    import gettext

    with (LOCALE / "django.mo").open("rb") as file:
        compiled = gettext.GNUTranslations(file)
    for m in catalogue():
        if m.id and isinstance(m.id, str):
            assert compiled.gettext(m.id) == m.string


def bare_words(text):
    """Words between tags that no translation stands around."""
    text = re.sub(r"\{%\s*blocktranslate.*?endblocktranslate\s*%\}", "", text, flags=re.DOTALL)
    text = re.sub(r"\{([%#{]).*?[%#}]\}", "", text, flags=re.DOTALL)
    found = (words.strip() for words in re.findall(r">([^<>]+)<", text))
    return [
        w
        for w in found
        if re.search(r"[A-Za-z]{3}", w)
        and w not in ("Drybank", "Drybank ·", "English", "Español", "CSV", "36 min")
        and not w.endswith("min ·")
    ]


def test_words_of_templates_stand_in_no_template_untranslated():
    """Bare words between tags: none but the program's name and the languages' own names."""
    bare = [f"{path.name}: {words}" for path in WEB.rglob("*.html") for words in bare_words(path.read_text())]
    assert bare == []


@pytest.mark.parametrize(
    "where", ["", "store", "balance", "rounds", "cash", "book", "verify", "set-up", "pocket/1", "plan"]
)
def test_desk_sentences_of_the_demo_are_turned(as_, monkeypatch, where):
    """Every sentence that the desk gives these pages has a pattern; names, values and typed words stay as they are."""
    from django.utils.translation import get_language

    from drybank.web import said
    from drybank.web.templatetags import drybank as tags

    left, original = set(), said.said

    def listening(text):
        if get_language() == "es" and not said.is_turned(text, "es") and not is_own(text):
            left.add(text)
        return original(text)

    monkeypatch.setattr(tags, "said_in", listening)
    client = as_("owner")
    client.cookies["drybank-language"] = "es"
    assert client.get(f"/s/{STORE}/{where}", {"wait": "1", "all": "1"}).status_code == 200
    assert not left


def is_own(text):
    """Values and words that are nobody's to translate: figures with units, the store's own names, the rounds' Spanish."""
    from drybank.upkeep.words import SPANISH

    figure = re.fullmatch(r"[-+]?[\d.,:]+ ?(?:CAD|USD|EUR|h|min|s|c|%|°[CF]|kWh|m3)?(?: \d+ s)?", text)
    return bool(figure) or text in set(SPANISH.values()) | bank_keys()


def bank_keys():
    from drybank.web import site

    return {b.key for b in site.book().store_at(STORE, site.now()).banks}


def test_what_has_no_pattern_is_said_as_the_desk_says_it():
    from django.utils import translation

    from drybank.web.said import said

    with translation.override("es"):
        assert said("A sentence that nobody foresaw.") == "A sentence that nobody foresaw."
        assert (
            said("Pocket 14 agrees with its counter, give or take 0.7 %.")
            == "El tambor 14 cuadra con su contador, más o menos 0.7 %."
        )
        assert said("Complaint: coin jam.") == "Queja: atasco de moneda."
