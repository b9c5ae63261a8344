"""What templates say with: files with their mark, money, figures with what is known of their error, the desk's sentences."""

from __future__ import annotations

import hashlib
import re
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django import template
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

import drybank.cards
from drybank.desk.entry_words import told
from drybank.records.balance import CustodyLine
from drybank.records.money import Money
from drybank.records.working import Estimate
from drybank.web.rights import BY_NAME
from drybank.web.said import said as said_in

if TYPE_CHECKING:
    from drybank.desk.today import Need
    from drybank.web.guard import Seat

register = template.Library()
FOLDERS = {"fonts": Path(str(drybank.cards.__file__)).parent / "fonts"}
STATIC = Path(__file__).parent.parent / "static"


@cache
def _mark(name: str) -> str:
    head, _, rest = name.partition("/")
    file = FOLDERS[head] / rest if head in FOLDERS else STATIC / name
    return hashlib.sha256(file.read_bytes()).hexdigest()[:10] if file.is_file() else "0"


@register.simple_tag
def asset(name: str) -> str:
    """The address of one of our files, with a mark that changes when it does."""
    return f"/static/{name}?v={_mark(name.encode().decode())}"  # paths refuse a text marked as safe


@register.filter
def said(text: object) -> str:
    """A sentence of the desk in the page's language."""
    return said_in(str(text))


@register.filter
def money(value: Money | None) -> str:
    """Digits to the minor unit, or that it is not known."""
    return _("not known") if value is None else value.plain()


@register.filter
def hours(value: float | None) -> str:
    return _("not known") if value is None else f"{value:,.1f}"


@register.filter
def drawing(svg: str) -> SafeString:
    """Our own SVG, drawn on this computer from our own description: the one thing that is shown as it is."""
    return mark_safe(svg)


@register.simple_tag
def usual_bar(share: float | None) -> str:
    """This week against the usual one as a thin bar: the mark is the usual, the fill is this week."""
    if share is None:
        return ""
    return format_html(
        '<svg class="usual" viewBox="0 0 100 8" preserveAspectRatio="none" aria-hidden="true"><rect class="bed" width="100" height="8"/>'
        '<rect class="fill" width="{}" height="8"/><rect class="mark" x="49" width="2" height="8"/></svg>',
        f"{50 * share:.1f}",
    )


@register.filter
def get(table: dict[str, Any], key: str) -> Any:
    return table.get(key)


WEIGHTS = {
    "danger": gettext_lazy("Danger"),
    "money": gettext_lazy("Money"),
    "due": gettext_lazy("Due"),
    "note": gettext_lazy("Note"),
}
ROLE_WORDS = {
    "owner": gettext_lazy("owner"), "manager": gettext_lazy("manager"), "technician": gettext_lazy("technician"),
    "collector": gettext_lazy("collector"), "counter": gettext_lazy("counter"), "accountant": gettext_lazy("accountant"),
    "partner": gettext_lazy("partner"),
}  # fmt: skip
STATES = {
    "danger": "danger word", "out of service": "heed word", "not as the house says": "heed word", "look at it": "word",
    "not known": "quiet", "as it should be": "well",
}  # fmt: skip


@register.filter
def weight_words(weight: str) -> str:
    return str(WEIGHTS.get(weight, weight))


@register.filter
def weight_class(weight: str) -> str:
    return {"danger": "danger", "money": "heed"}.get(weight, "quiet")


@register.filter
def role_words(role: str) -> str:
    return str(ROLE_WORDS.get(role, role))


@register.filter
def state_class(state: str) -> str:
    return STATES.get(state, "")


@register.filter
def is_open(name: str, seat: Seat) -> bool:
    """Whether this person may open that page here."""
    return name in BY_NAME and seat.may(name)


@register.simple_tag(takes_context=True)
def need_link(context: dict[str, Any], need: Need) -> str:
    """Where the next step is taken."""
    seat: Seat = context["seat"]
    name, words = PLACES[need.room]
    if name not in BY_NAME or not seat.may(name):
        return ""
    mark = f"#{slug(need.key)}" if need.room in ("balance", "takings") else ""
    return format_html('<a href="{}{}">{}</a>', reverse(name, kwargs={"store": seat.store}), mark, words)


@register.filter
def slug(key: str) -> str:
    """A finding's key as a mark in a page."""
    return "f-" + re.sub(r"[^a-z0-9]+", "-", key.lower()).strip("-")


PLACES = {
    "balance": ("balance", gettext_lazy("See the evidence")), "takings": ("balance", gettext_lazy("See the evidence")),
    "proof": ("store", gettext_lazy("To the store")), "upkeep": ("rounds", gettext_lazy("To the round")),
    "learn": ("plan", gettext_lazy("To the plan")), "control": ("plan", gettext_lazy("To the plan")),
}  # fmt: skip


@register.filter
def minor_value(figure: Estimate | None, currency: str) -> str:
    """An estimate in minor units as money with its sign."""
    if figure is None:
        return _("not known")
    return f"+{_plain(figure.value, currency)}" if figure.value > 0 else _plain(figure.value, currency)


@register.filter
def minor_give(figure: Estimate | None, currency: str) -> str:
    """Half the width of an estimate's sampling interval."""
    if figure is None or figure.interval is None:
        return ""
    return _plain((figure.interval.high - figure.interval.low) / 2, currency)


def _plain(minor: float, currency: str) -> str:
    return Money(round(minor), currency).plain()


@register.filter
def percent(figure: Estimate | None) -> str:
    return "" if figure is None else f"{100 * figure.value:+.1f} %"


@register.filter
def share_of(line: CustodyLine) -> str:
    """A gap as a share of what the counters say."""
    return f"{100 * line.share:+.1f} %"


@register.filter
def of_100(chance: float) -> str:
    return _("%(n)d of 100") % {"n": round(100 * chance)}


@register.filter
def last_day(moment: datetime) -> datetime:
    """The last moment before the end of a period, so that its date is the last day in it."""
    return moment - timedelta(seconds=1)


POWER = {
    "off": gettext_lazy("Off and locked out"), "on": gettext_lazy("Power on"), "either": gettext_lazy("Machine stopped, panels shut"),
}  # fmt: skip


@register.filter
def power_words(power: str) -> str:
    return str(POWER.get(power, power))


@register.filter
def date_value(day: date | str) -> str:
    """A day as a date field wants it."""
    return day if isinstance(day, str) else day.isoformat()


@register.filter
def ticked(pocket: str, task: str) -> str:
    return f"{pocket}|{task}"


@register.filter
def in_short(says: dict[str, Any], currency: str) -> str:
    """What an entry says in one line, without the names of its fields."""
    text = ", ".join(value for _name, value in told(says, currency) if value not in ("yes", "no"))
    return text if len(text) <= 110 else text[:108] + " …"


@register.filter
def work_time(minutes: float) -> str:
    """Minutes of work as people say them."""
    whole = round(minutes)
    return f"{whole} min" if whole < 120 else f"{whole // 60} h {whole % 60} min"


@register.filter
def at(table: dict[str, Any], mark: str) -> tuple[dict[str, Any], str]:
    """A table and the mark before its keys; ``at_key`` then looks one up."""
    return table, mark


@register.filter
def at_key(place: tuple[dict[str, Any], str], key: str) -> Any:
    """What stands in a table under a mark and a key, "" where nothing does."""
    return place[0].get(f"{place[1]}{key}", "")
