"""One cell into a figure, a day, an hour: exact, or refused in a sentence."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from decimal import Decimal
from typing import Literal
from zoneinfo import ZoneInfo

from drybank.book.files.history.records import Cell, DateOrder
from drybank.book.files.text import shown
from drybank.records.errors import InputError

Mark = Literal["", ".", ","]
EARLIEST = dt.date(1990, 1, 1)
_SIGNS = re.compile(r"^(?:CA\$|US\$|[$€£¥])|(?:[$€£¥]|\b[A-Z]{3})$")
_GROUPED = re.compile(r"\d{1,3}(?:[  '’]\d{3})+(?=$|[.,])")
_UNIT = re.compile(r"\s*(?:h|hr|hrs|hours?|std|pcs|pieces?|coins?)\.?$", re.IGNORECASE)


def number(cell: Cell, mark: Mark = "") -> Decimal:
    """The exact number of a cell. ``mark`` is the decimal mark where the file or its mapping tells.

    Raises `InputError` for text, formulas, and figures such as 1,234 that can be read in two ways.
    """
    if isinstance(cell, bool) or cell is None:
        raise InputError("it is not a number.")
    if isinstance(cell, int | float):
        return _finite(Decimal(repr(cell)) if isinstance(cell, float) else Decimal(min(cell, 10**30)))
    if isinstance(cell, dt.timedelta):
        return Decimal(cell // dt.timedelta(seconds=1)) / 3600
    if not isinstance(cell, str):
        raise InputError("it is a date or a time of day, not a number.", mend="Format the column as a number.")
    text = cell.strip()
    if text[:1] in "=@":
        raise InputError("it is a formula or a command, not a figure.", mend="Write the figure itself.")
    text = _UNIT.sub("", _SIGNS.sub("", text).strip()).strip()
    if found := re.fullmatch(r"(\d{1,7}):([0-5]\d)", text):
        return Decimal(found[1]) + Decimal(found[2]) / 60
    if re.fullmatch(r"\(.*\)|.+-", text):
        raise InputError("it is below nothing.", mend="Correct the figure.")
    return _finite(Decimal(_plain(text, mark)))


def _finite(value: Decimal) -> Decimal:
    if not value.is_finite() or (value and not -9 < value.adjusted() < 13):
        raise InputError("no meter, counter or box holds such a figure.")
    return value


def _plain(text: str, mark: Mark) -> str:
    """Digits with a point, from digits with marks of thousands and decimals."""
    if len(text) > 30 or not re.fullmatch(r"[+-]?\d[\d.,  '’]*", text):
        raise InputError("it is not a number.")
    sign, digits = (text[0], text[1:]) if text[0] in "+-" else ("", text)
    digits = _GROUPED.sub(lambda m: re.sub(r"\D", "", m[0]), digits)
    marks = re.findall(r"\D", digits)
    if not marks:
        return sign + digits
    last = mark or shows_mark(digits)
    if not last:
        raise InputError("it can be read in two ways: thousands or decimals.",
                         mend='Say decimal = "." or decimal = "," in the mapping.')  # fmt: skip
    other = "," if last == "." else "."
    whole, _, fraction = digits.partition(last)
    if (
        last in fraction
        or not re.fullmatch(rf"\d{{1,3}}(?:\{other}\d{{3}})*|\d+", whole)
        or not re.fullmatch(r"\d*", fraction)
    ):
        raise InputError("its marks of thousands and decimals do not fit.", mend=f"The decimal mark here is “{last}”.")
    return f"{sign}{whole.replace(other, '')}.{fraction or '0'}"


def shows_mark(digits: str) -> Mark:
    """The decimal mark that a figure shows beyond doubt; "" where it does not."""
    points, commas = digits.count("."), digits.count(",")
    if points and commas:
        return "." if digits.rfind(".") > digits.rfind(",") else ","
    if points > 1 or commas > 1:
        return "," if points else "."
    if points + commas == 1 and not re.fullmatch(r"[1-9]\d{0,2}[.,]\d{3}", digits):
        return "." if points else ","
    return ""


def mark_of(cells: Iterable[Cell]) -> Mark | None:
    """The decimal mark that all the texts among these cells agree on; "" if none shows one, None if they disagree."""
    seen = set()
    for cell in cells:
        if isinstance(cell, str) and len(cell) <= 30:
            text = _UNIT.sub("", _SIGNS.sub("", cell.strip()).strip()).strip().lstrip("+-")
            if re.fullmatch(r"\d[\d.,  '’]*", text):
                seen.add(shows_mark(_GROUPED.sub(lambda m: re.sub(r"\D", "", m[0]), text)))
    seen.discard("")
    return None if len(seen) > 1 else next(iter(seen), "")


def whole(cell: Cell, mark: Mark = "") -> int:
    """A whole number that is not below nothing."""
    value = number(cell, mark)
    if value != int(value):
        raise InputError("it is not a whole number.")
    return int(not_negative(value))


_OF_CURRENCY = {"CA$": "CAD", "US$": "USD", "€": "EUR", "£": "GBP"}


def in_currency(cell: Cell, currency: str) -> None:
    """Refuse money that names another currency than the store's; a bare $ or ¥ names none."""
    text = cell.strip() if isinstance(cell, str) else ""
    named = next((code for sign, code in _OF_CURRENCY.items() if text.startswith(sign) or text.endswith(sign)), "")
    code = re.search(r"\b([A-Z]{3})$", text)
    named = named or (code[1] if code else "")
    if named and named != currency:
        raise InputError(f"it is in {named}; this store keeps {currency}.", mend=f"Give it in {currency}.")


def not_negative(value: Decimal) -> Decimal:
    if value < 0:
        raise InputError("it is below nothing.", mend="Correct the figure.")
    return value


# days and hours

_MONTHS = {
    m: i for i, m in enumerate(["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"], 1)
}
_YMD = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})")
_THREE = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4}|\d{2})")
_NAMED = re.compile(
    r"(\d{1,2})[ .-]+([A-Za-z]{3,9})\.?[ ,-]+(\d{4})|([A-Za-z]{3,9})\.? (\d{1,2})(?:st|nd|rd|th)?,? (\d{4})"
)


def day_and_time(cell: Cell, order: DateOrder = "") -> tuple[dt.date, dt.time | None, dt.tzinfo | None]:
    """The day of a cell, with its hour and zone where it states them."""
    if isinstance(cell, dt.datetime):
        return _usual(cell.date()), (cell.time() if cell.time() != dt.time(0) else None), cell.tzinfo
    if isinstance(cell, dt.date):
        return _usual(cell), None, None
    if not isinstance(cell, str):
        raise InputError("it is no date.", mend="Format the column as dates, or write 2025-04-03.")
    text = cell.strip()
    if re.match(r"\d{4}-\d{2}-\d{2}[T ]", text):
        try:
            both = dt.datetime.fromisoformat(text)
        except ValueError:
            raise InputError("it is no date and time.", mend="Write 2025-04-03 18:30.") from None
        return _usual(both.date()), both.time(), both.tzinfo
    day, _, rest = text.partition(" ") if _YMD.match(text) or _THREE.match(text) else (text, "", "")
    return _day(day, order), (clock(rest) if rest.strip() else None), None


def _day(text: str, order: DateOrder) -> dt.date:
    if found := _YMD.fullmatch(text):
        return _date(int(found[1]), int(found[3]), int(found[4]))
    if found := _NAMED.fullmatch(text):
        month = _MONTHS.get((found[2] or found[4])[:3].lower(), 0)
        return _date(int(found[3] or found[6]), month, int(found[1] or found[5]))
    found = _THREE.fullmatch(text)
    if not found:
        raise InputError("it is no date.", mend="Write year-month-day: 2025-04-03.")
    first, second, year = int(found[1]), int(found[3]), int(found[4])
    if len(found[4]) == 2:
        if not order:
            raise InputError("it is ambiguous: day, month and year can be read in more ways than one.",
                             mend='Say dates = "day first", "month first" or "year first" in the mapping.')  # fmt: skip
        if order == "year first":
            return _date(2000 + first, second, year)
        year += 2000
    if order == "year first":
        raise InputError("the mapping says year first, and the year stands last.", mend="Correct the mapping.")
    if not order and first <= 12 and second <= 12 and first != second and found[2] != ".":
        other = f"{dt.date(2000, first, 1):%B} {second} or {dt.date(2000, second, 1):%B} {first}"
        raise InputError(f"it is ambiguous: {other}.",
                         mend='Say dates = "day first" or dates = "month first" in the mapping.')  # fmt: skip
    is_day_first = order == "day first" or (not order and (first > 12 or found[2] == "."))
    return _date(year, second, first) if is_day_first else _date(year, first, second)


def _date(year: int, month: int, day: int) -> dt.date:
    try:
        return _usual(dt.date(year, month, day))
    except ValueError:
        raise InputError(
            "it is no day of the calendar.", mend="Correct it, or say the order of dates in the mapping."
        ) from None


def _usual(day: dt.date) -> dt.date:
    if not day >= EARLIEST or day.year > 2199:
        raise InputError(f"the year {day.year} is out of range.", allowed="1990 to 2199")
    return day


def clock(cell: Cell) -> dt.time:
    """An hour of the day: 18:30, 6:30 pm, or a spreadsheet's time."""
    if isinstance(cell, dt.datetime):
        return cell.time()
    if isinstance(cell, dt.time):
        return cell
    if isinstance(cell, dt.timedelta) and dt.timedelta(0) <= cell < dt.timedelta(days=1):
        return (dt.datetime(2000, 1, 1, tzinfo=dt.UTC) + cell).time()
    found = re.fullmatch(r"(\d{1,2})[:.](\d{2})(?:[:.]\d{2})?\s*([ap])?\.?m?\.?", str(cell).strip().lower()[:20])
    if not found or (found[3] and not 1 <= int(found[1]) <= 12):
        raise InputError("it is no time of day.", mend="Write 18:30 or 6:30 pm.")
    hour = int(found[1]) % 12 + (12 if found[3] == "p" else 0) if found[3] else int(found[1])
    if hour > 23 or int(found[2]) > 59:
        raise InputError("it is no time of day.", mend="Write 18:30 or 6:30 pm.")
    return dt.time(hour, int(found[2]))


def in_utc(day: dt.date, time: dt.time, zone: dt.tzinfo) -> dt.datetime:
    return dt.datetime.combine(day, time.replace(tzinfo=None), tzinfo=zone).astimezone(dt.UTC)


def zone_of(name: str) -> ZoneInfo:
    return ZoneInfo(name)


def temperature(cell: Cell, scale: str, mark: Mark) -> tuple[Decimal, str]:
    """A temperature as written and its scale; refused where neither the cell nor the mapping says which."""
    text = str(cell).strip() if isinstance(cell, str) else ""
    found = re.fullmatch(r"(.+?)\s*°?\s*([CF])", text)
    value = number(found[1] if found else cell, mark)
    said = found[2] if found else scale
    if not said:
        raise InputError("it does not say whether it is °C or °F.", mend='Say temperature = "C" or "F" in the mapping.')
    low, high = (-40, 150) if said == "C" else (-40, 302)
    if not low <= value <= high:
        raise InputError("no exhaust is so hot or cold.", allowed=f"{low} to {high} °{said}")
    return value, said


def as_shown(cell: Cell) -> str:
    """A cell as a sentence quotes it."""
    if cell is None:
        return "(blank)"
    if isinstance(cell, float) and abs(cell) < 1e15 and cell == int(cell):
        return str(int(cell))
    return shown(cell.isoformat() if isinstance(cell, dt.date | dt.time) else str(cell), 40)
