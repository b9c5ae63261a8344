"""A log of an exhaust thermometer from a file: two columns, time and temperature, a head or none."""

from __future__ import annotations

from drybank.desk.files import text_of
from drybank.desk.quantity import watch_s
from drybank.proof import HeatLog
from drybank.records.errors import InputError, InputErrors
from drybank.records.units import c_from_f

MOST_BYTES = 2_000_000
LONGEST_LINE = 200
MOST_READINGS = 20_000
MOST_SAID = 20
"""Bad lines that are told; a log with more is another file."""


def read_log(path: str, *, scale: str, plus_minus_c: float, instrument: str = "exhaust thermometer") -> HeatLog:
    """The log in a CSV file, in °C or °F as ``scale`` says; every bad line is named at once."""
    return log_of(path, text_of(path), scale=scale, plus_minus_c=plus_minus_c, instrument=instrument)


def log_of(
    path: str, raw: bytes, *, scale: str, plus_minus_c: float, instrument: str = "exhaust thermometer"
) -> HeatLog:
    """The log in a file's bytes, or in lines as they were typed; ``path`` names it in mistakes."""
    if len(raw) > MOST_BYTES:
        raise InputError(f"the file has {len(raw):,} bytes.", where=path, allowed=f"up to {MOST_BYTES:,}")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("the file is not plain text.", where=path, mend="Save it as CSV, UTF-8.") from None
    seconds, temps = _columns(path, text)
    return HeatLog(
        seconds=tuple(seconds),
        temps_c=tuple(c_from_f(t) if scale == "F" else t for t in temps),
        plus_minus_c=plus_minus_c,
        instrument=instrument,
    )


def _columns(path: str, text: str) -> tuple[list[float], list[float]]:
    separator = ";" if text.count(";") > text.count(",") else "\t" if "\t" in text else ","
    seconds, temps, wrong = [], [], []
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if text.count("\n") > MOST_READINGS:
        raise InputError("the log has more lines than a test needs.", where=path, allowed=f"up to {MOST_READINGS:,}")
    for number, line in enumerate(text.split("\n"), start=1):
        row = line[:LONGEST_LINE].split(separator)
        cells = [c.strip() for c in row if c.strip()]
        if not cells or (number == 1 and not cells[-1][:1].lstrip("+-").isdigit()):
            continue
        try:
            if len(cells) != 2:
                raise InputError(f"this line has {len(cells)} cells, not a time and a temperature.")
            temps.append(float(cells[1].replace(",", ".")))
            seconds.append(watch_s(cells[0], where=f"line {number}"))
        except (InputError, ValueError) as bad:
            said = bad.what if isinstance(bad, InputError) else f"“{cells[1]}” is not a temperature."
            wrong.append(InputError(said, where=f"{path}, line {number}"))
            if len(wrong) == MOST_SAID:
                break
    if wrong:
        raise InputErrors(wrong)
    return seconds, temps
