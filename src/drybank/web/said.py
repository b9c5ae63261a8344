"""The desk's sentences in the page's language.

The desk speaks English. `locale/<language>/LC_MESSAGES/desk.po` holds its sentences as patterns: ``{a}`` stands for
whatever is put in there, and is turned in its place too. A text is matched whole first, then sentence by sentence. What
has no pattern stays as the desk said it.
"""

from __future__ import annotations

import re
from functools import cache, lru_cache
from pathlib import Path

from django.utils.translation import get_language

_SLOT = re.compile(r"\\\{(\w+)\\\}")
_ENDS = re.compile(r"(?<=[.?!])\s+")
_LIST = re.compile(r", | and ")
_FIGURES = frozenset("nmk")
_FIGURE = r"[-+]?\d[\d.,]*(?: ?(?:%|[A-Z]{3}|h|min|s|°[CF]|kWh|kg))?(?: \d+ s)?"
Pattern = tuple[re.Pattern[str], str]


@cache
def _catalogue(language: str) -> tuple[dict[str, str], tuple[Pattern, ...]]:
    """Texts without a slot, and patterns with the longest fixed words first."""
    from babel.messages.pofile import read_po

    file = Path(__file__).parent / "locale" / language / "LC_MESSAGES" / "desk.po"
    if not file.is_file():
        return {}, ()
    with file.open("rb") as content:
        pairs = [(str(m.id), str(m.string)) for m in read_po(content) if m.id and m.string]
    plain = {said: turned for said, turned in pairs if "{" not in said}
    slotted = sorted((p for p in pairs if "{" in p[0]), key=lambda p: -len(re.sub(r"\{\w+\}", "", p[0])))
    return plain, tuple((re.compile(_regex(said), re.DOTALL), turned) for said, turned in slotted)


def _regex(said: str) -> str:
    """``{n}``, ``{m}`` and ``{k}`` stand for a figure with its unit, every other slot for anything."""
    return "^" + _SLOT.sub(lambda m: f"(?P<{m[1]}>{_FIGURE if m[1] in _FIGURES else '.+?'})", re.escape(said)) + "$"


def said(text: str) -> str:
    """A text of the desk in the language that is spoken now."""
    language = (get_language() or "en").split("-")[0]
    return text if language == "en" or not text else _turned(text, language)


@lru_cache(maxsize=8192)
def _turned(text: str, language: str) -> str:
    whole = _matched(text, language)
    if whole is not None:
        return whole
    parts = _ENDS.split(text)
    if len(parts) == 1:
        return text
    return " ".join(_matched(p, language) or p for p in parts)


def _matched(text: str, language: str, depth: int = 0) -> str | None:
    """The text turned, or None where no pattern fits."""
    plain, patterns = _catalogue(language)
    if text in plain:
        return plain[text]
    lower = text[:1].lower() + text[1:]
    if lower in plain:
        return plain[lower][:1].upper() + plain[lower][1:]
    for pattern, turned in patterns:
        found = pattern.match(text)
        if found:
            slots = {k: _slot(v, language, depth) for k, v in found.groupdict().items()}
            return re.sub(r"\{(\w+)\}", lambda m, s=slots: s.get(m[1], m[0]), turned)  # type: ignore[misc]
    return None


def _slot(value: str, language: str, depth: int) -> str:
    """What stands in a slot: turned too where it is one of our words, or a list of them."""
    if depth > 2:
        return value
    whole = _matched(value, language, depth + 1)
    if whole is not None:
        return whole
    plain, _ = _catalogue(language)
    parts = _LIST.split(value)
    if len(parts) > 1 and (any(p in plain for p in parts) or not re.search("[a-z]{4}", value)):
        return ", ".join(plain.get(p, p) for p in parts)
    return value


def is_turned(text: str, language: str) -> bool:
    """Whether every sentence of a text has a pattern; for the test that looks for what has none."""
    if not re.search(r"[A-Za-z]{3}", text) or _matched(text, language) is not None:
        return True
    parts = _ENDS.split(text)
    return len(parts) > 1 and all(not re.search(r"[A-Za-z]{3}", p) or _matched(p, language) is not None for p in parts)
