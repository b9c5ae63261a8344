"""Forms as data: what is asked, in order; what was typed stays; mistakes in a person's words, not a command's.

A view names its questions once (`Ask`), `filled` puts back what was typed, `web/asks.html` shows them, `mistakes_of`
turns what the desk refused into sentences without the terminal's option names.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import msgspec
from django.http import HttpRequest
from django.utils.translation import gettext as _

from drybank.records.errors import DrybankError, InputError, InputErrors

if TYPE_CHECKING:
    from drybank.web.guard import Seat

LONGEST = 4000
_OPTION = re.compile(r"--[a-z]")


class Ask(msgspec.Struct, frozen=True, kw_only=True):
    """One question: ``kind`` text, number, money, date, moment, long, choice, check, file or head (a line between questions)."""

    name: str
    label: Any
    kind: str = "text"
    hint: Any = ""
    options: tuple[tuple[str, Any], ...] = ()
    is_needed: bool = False
    value: str = ""


class Form(msgspec.Struct, frozen=True, kw_only=True):
    """One form of a page: its key is sent along as ``what``."""

    key: str
    title: Any
    button: Any
    asks: tuple[Ask, ...]
    says: Any = ""
    question: Any = ""


def typed_of(request: HttpRequest) -> dict[str, str]:
    """Everything typed, one value to a name, trimmed and bounded."""
    return {name: str(value).strip()[:LONGEST] for name, value in request.POST.items()}


def filled(form: Form, typed: dict[str, str]) -> Form:
    """The form with what was typed into it."""
    asks = tuple(msgspec.structs.replace(a, value=typed.get(a.name, "" if a.kind == "check" else a.value)) for a in form.asks)  # fmt: skip
    return msgspec.structs.replace(form, asks=asks)


def forms_with(forms: Iterable[Form], typed: dict[str, str]) -> list[Form]:
    """A page's forms; the one that was sent keeps what was typed."""
    return [filled(f, typed) if f.key == typed.get("what") else f for f in forms]


def check_needed(form: Form, typed: dict[str, str]) -> None:
    """Every question that needs an answer and has none, at once."""
    empty = [a for a in form.asks if a.is_needed and not typed.get(a.name)]
    if empty:
        raise InputErrors([InputError(_("%(what)s: this is needed.") % {"what": a.label}) for a in empty])


def mistakes_of(wrong: DrybankError, names: dict[str, Any] | None = None) -> list[str]:
    """Sentences for a page: places in a person's words, and no advice that names a command."""
    several: Sequence[DrybankError] = wrong.errors if isinstance(wrong, InputErrors) else (wrong,)
    return [_sentence(e, names or {}) for e in several]


def without_commands(text: str) -> str:
    """A note of the desk without what names a command's option: that clause goes, or the whole sentence."""
    kept = []
    for sentence in re.split(r"(?<=[.?!])\s+", text):
        clauses = [c for c in sentence.split("; ") if not _OPTION.search(c)]
        if clauses:
            kept.append("; ".join(clauses).rstrip(".") + "." if _OPTION.search(sentence) else sentence)
    return " ".join(kept)


def _sentence(wrong: DrybankError, names: dict[str, Any]) -> str:
    if not isinstance(wrong, InputError):
        return wrong.sentence()
    where = "" if _OPTION.search(wrong.where) else str(names.get(wrong.where, wrong.where))
    mend = "" if _OPTION.search(wrong.mend) or "drybank " in wrong.mend else wrong.mend
    return InputError(wrong.what, where=where, allowed=wrong.allowed, mend=mend).sentence()


def moment_of(text: str, zone: str) -> datetime | None:
    """A moment from a date and time field, by the clock on the store's wall; nothing for an empty text."""
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(_("“%(text)s” is not a moment.") % {"text": text}) from None
    return (moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone))).astimezone(UTC)


def not_still_to_come(moment: datetime | None, now: datetime) -> datetime | None:
    if moment is not None and moment > now:
        raise InputError(_("This moment is still to come."))
    return moment


def number_of(text: str, label: Any) -> float | None:
    """A number with a point or a comma; nothing for an empty text."""
    if not text:
        return None
    try:
        value = float(text.replace(" ", "").replace(",", "."))
    except ValueError:
        raise InputError(_("“%(text)s” is not a number.") % {"text": text}, where=str(label)) from None
    if not abs(value) < 1e12:
        raise InputError(_("“%(text)s” is not a number.") % {"text": text}, where=str(label))
    return value


def form_of(forms: Iterable[Form], typed: dict[str, str]) -> Form:
    """The form that was sent, or a refusal where it is none of this person's."""
    found = next((f for f in forms if f.key == typed.get("what")), None)
    if found is None:
        raise InputError(_("This form is not one of yours."))
    check_needed(found, typed)
    return found


def pockets_of(seat: Seat) -> tuple[tuple[str, str], ...]:
    """Pockets to choose from, in walking order."""
    from drybank.desk.standing import layout_at
    from drybank.web import site

    return tuple((p, p) for p in layout_at(site.book(), seat.store, site.now()).pockets)
