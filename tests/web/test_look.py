"""The look's tokens measured: contrast of each on paper and card, in light and dark.

Contrast by the formula of WCAG 2.2 (relative luminance of sRGB, ratio (a + 0.05) / (b + 0.05)); how known: from memory,
checked on black against white, which must give 21. Bounds: 4.5 for text, 3 for edges of fields and the focus ring.
"""

import re
from pathlib import Path

import pytest

CSS = (Path(__file__).parents[2] / "src" / "drybank" / "web" / "static" / "look.css").read_text()


def tokens(block):
    return dict(re.findall(r"--([a-z-]+):\s*(#[0-9A-Fa-f]{6})", block))


LIGHT = tokens(CSS[CSS.index(":root {") : CSS.index("@media (prefers-color-scheme: dark)")])
DARK = tokens(CSS[CSS.index("@media (prefers-color-scheme: dark)") : CSS.index("* { box-sizing")])


def luminance(colour):
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a, b):
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_formula_gives_21_for_black_on_white():
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)


@pytest.mark.parametrize("mode", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "card"])
@pytest.mark.parametrize("token", ["ink", "quiet", "dye", "heed", "danger", "well"])
def test_every_token_that_writes_text_has_4_5(mode, ground, token):
    assert contrast(mode[token], mode[ground]) >= 4.5


@pytest.mark.parametrize("mode", [LIGHT, DARK], ids=["light", "dark"])
def test_edges_of_fields_and_words_on_dye_hold(mode):
    assert contrast(mode["edge"], mode["card"]) >= 3
    assert contrast(mode["edge"], mode["paper"]) >= 3
    assert contrast(mode["on-dye"], mode["dye"]) >= 4.5


def test_dark_has_every_token_of_light():
    assert set(DARK) == set(LIGHT)


def test_stylesheet_fetches_nothing_from_outside():
    assert "http" not in CSS
    assert "@import" not in CSS
