"""Charts: one message each, drawn from a Vega-Lite description in our own ink, as SVG or PNG, with no outside address.

A chart carries its message as title and as text alternative, and its table beside it: `Chart.rows` are what it draws.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any, Literal

import msgspec

INK, QUIET, LINE, DYE, DANGER = "#1D2430", "#56606E", "#D9D6CE", "#1F5D6B", "#A1252B"


class Chart(msgspec.Struct, frozen=True, kw_only=True):
    """A message, the words that say it to a reader who cannot see it, the description, and the table behind it."""

    title: str
    alt: str
    spec: dict[str, Any]
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


LOOK: dict[str, Any] = {
    "background": None,
    "font": "Atkinson Hyperlegible Next",
    "title": {"font": "Atkinson Hyperlegible Next", "anchor": "start", "fontSize": 16, "fontWeight": 700, "color": INK, "offset": 12},
    "axis": {
        "labelFont": "Atkinson Hyperlegible Next", "titleFont": "Atkinson Hyperlegible Next", "labelFontSize": 14, "titleFontSize": 14, "titleFontWeight": "normal", "labelColor": QUIET, "titleColor": QUIET, "domainColor": LINE,
        "tickColor": LINE, "gridColor": LINE, "gridOpacity": 0.6, "labelSeparation": 8,
    },
    "view": {"stroke": None},
    "text": {"font": "Atkinson Hyperlegible Next", "fontSize": 14, "color": INK},
    "point": {"color": QUIET, "size": 50, "filled": True},
    "line": {"color": QUIET},
    "rule": {"color": QUIET},
    "bar": {"color": QUIET},
    "area": {"color": QUIET, "opacity": 0.18},
}  # fmt: skip


@cache
def _fonts() -> None:
    import vl_convert

    with as_file(files("drybank.cards") / "fonts") as folder:
        vl_convert.register_font_directory(str(Path(folder)))


def _full(chart: Chart, width: int, height: int) -> dict[str, Any]:
    return {"$schema": "https://vega.github.io/schema/vega-lite/v5.json", "title": chart.title, "width": width, "height": height,
            "config": LOOK, "description": chart.alt, **chart.spec}  # fmt: skip


def draw(
    chart: Chart, form: Literal["svg", "png"] = "svg", *, width: int = 560, height: int = 300, language: str = "en"
) -> bytes:
    """The chart as SVG text (UTF-8) or as a PNG of twice the size for sharp screens; months and days in ``language``."""
    import vl_convert

    _fonts()
    spec = _full(chart, width, height)
    dates: Literal["es-ES"] | None = "es-ES" if language == "es" else None
    if form == "png":
        return bytes(vl_convert.vegalite_to_png(spec, scale=2, time_format_locale=dates))
    return str(vl_convert.vegalite_to_svg(spec, time_format_locale=dates)).encode()


SPOKEN = frozenset({"label", "day", "lane", "task", "line", "say", "name"})
"""Fields of a chart's data that hold words; a description must not test them against words."""


def spoken(spec: Any, say: Callable[[str], str]) -> Any:
    """A description with its words said another way: titles of axes, and words among its data."""
    if isinstance(spec, dict):
        return {k: say(v) if k in ("title", *SPOKEN) and isinstance(v, str) and v else _spoken_part(k, v, say) for k, v in spec.items()}  # fmt: skip
    return [spoken(one, say) for one in spec] if isinstance(spec, list) else spec


def _spoken_part(key: str, value: Any, say: Callable[[str], str]) -> Any:
    if key == "scale" and isinstance(value, dict) and isinstance(value.get("domain"), list):
        return {**value, "domain": [say(d) if isinstance(d, str) else d for d in value["domain"]]}
    return spoken(value, say)
