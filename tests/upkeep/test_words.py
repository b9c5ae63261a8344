"""The cards' fixed words exist in Spanish, every one; a store's own words stay as typed."""

from typing import get_args

from tests.upkeep.test_visit import _cards

from drybank.records.upkeep import Who
from drybank.upkeep import LABELS, SPANISH, START_LIST, in_language, lock_off_steps, lock_out_steps
from drybank.upkeep.visit import _PLAIN, _POWERED, _QUALIFIED, GAS_SMELL, SCORCHED


def test_every_fixed_text_of_a_card_has_its_spanish():
    texts = {GAS_SMELL, SCORCHED, *_QUALIFIED, *_POWERED, *_PLAIN, *get_args(Who)}
    for has_gas in (True, False):
        texts |= {*lock_out_steps(has_gas=has_gas), *lock_off_steps(has_gas=has_gas)}
    for task in START_LIST:
        texts |= {task.name, *task.steps, *task.parts, *task.write}
    assert texts <= set(SPANISH)
    assert LABELS["en"].keys() == LABELS["es"].keys()


def test_no_spanish_is_left_over_without_its_english():
    used = {GAS_SMELL, SCORCHED, *_QUALIFIED, *_POWERED, *_PLAIN, *get_args(Who), "common practice, no source", "store"}
    for has_gas in (True, False):
        used |= {*lock_out_steps(has_gas=has_gas), *lock_off_steps(has_gas=has_gas)}
    for task in START_LIST:
        used |= {task.name, *task.steps, *task.parts, *task.write}
    assert set(SPANISH) <= used


def test_a_card_in_spanish_keeps_its_shape_and_counts():
    for card in _cards():
        said = in_language(card, "es")
        assert [s.power for s in said.sheets] == [s.power for s in card.sheets]
        assert [len(s.before) for s in said.sheets] == [len(s.before) for s in card.sheets]
        assert said.minutes == card.minutes
        if any(" × " in p for p in card.parts):
            assert any(p.startswith("2 × ") for p in said.parts)
        assert in_language(card, "en") == card


def test_lock_out_words_never_stand_on_a_powered_sheet_in_spanish_either():
    for card in _cards():
        for sheet in in_language(card, "es").sheets:
            if sheet.power == "on":
                words = " ".join(
                    (*sheet.cautions, *(t for line in sheet.lines for t in (line.name, *line.steps)))
                ).lower()
                assert not any(w in words for w in ("bloque", "candado", "etiqueta", "seccionador", "llave de gas"))
