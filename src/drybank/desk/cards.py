"""What stands on paper: work cards for a machine and the sign for a bank, from the book."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from drybank.control import rate_statement, steps, to_sheet
from drybank.desk.signs import WORDS, sign_texts
from drybank.desk.stamp import Pen
from drybank.desk.standing import bank_key, controls_of, layout_at
from drybank.records.card import CardControl, CardStep, CardTask, Language, Sign, WorkCard
from drybank.records.control import Step
from drybank.records.errors import InputError
from drybank.records.layout import Layout
from drybank.records.sheet import HouseSettings, Values

if TYPE_CHECKING:
    from drybank.book import Book

POWER_WORDS: dict[Language, dict[str, str]] = {
    "en": {"on": "power stays on", "off": "power off, for a qualified person", "either": "power on or off"},
    "es": {"on": "con corriente", "off": "sin corriente, persona cualificada", "either": "con o sin corriente"},
}

CAUTIONS: dict[Language, dict[str, str]] = {
    "en": {
        "hot": "The drum, its door glass and the duct are hot. Stop the machine and let it cool before you reach in.",
        "moving": "Keep hands, hair and sleeves away from the drum and belts; never run it with a guard off.",
        "lint": "Look for lint around the screen and behind the machine. A scorched smell or lint near the burner: stop, do not start it again, call the gas or electrical trade.",
        "gas": "Smell gas? Touch no switch, leave, and call the gas company from outside.",
        "on": "These settings are made with the power on. Touch only what this card names; anything else behind a panel is live and for qualified people.",
        "off": "Isolate this machine from electricity and gas, lock and tag both, and try the start button before you reach inside. For qualified persons only.",
        "law": "The maker's manual, local code and licensed trades come before this card.",
    },
    "es": {
        "hot": "El tambor, el cristal de la puerta y el conducto queman. Pare la máquina y deje que se enfríe antes de meter la mano.",
        "moving": "Aparte manos, pelo y mangas del tambor y las correas; no la haga funcionar sin protecciones.",
        "lint": "Mire si hay pelusa alrededor del filtro y detrás de la máquina. Si huele a quemado o hay pelusa cerca del quemador: pare, no la arranque y llame a un técnico autorizado.",
        "gas": "¿Huele a gas? No toque interruptores, salga y llame a la compañía de gas desde fuera.",
        "on": "Estos ajustes se hacen con corriente. Toque solo lo que nombra esta ficha; lo demás detrás de un panel tiene tensión y es para personas cualificadas.",
        "off": "Aísle esta máquina de la electricidad y del gas, bloquee y etiquete ambos y pruebe el botón de marcha antes de meter la mano. Solo personas cualificadas.",
        "law": "El manual del fabricante, las normas locales y los oficios autorizados van antes que esta ficha.",
    },
}  # fmt: skip

NOTICES: dict[Language, dict[str, str]] = {
    "en": {
        "unread": "Nobody has read sheet {sheet} back at a machine yet. If a name or range differs at the control, stop and write down what you see.",
        "no house": "No house settings are adopted for this bank: nothing to set, only to read.",
        "first": "Make this card first; the card for work with the power off comes after it.",
        "sign": "When the whole bank is set: old sign down, new sign up.",
    },
    "es": {
        "unread": "Nadie ha comprobado todavía la hoja {sheet} en una máquina. Si un nombre o un margen es distinto, pare y anote lo que ve.",
        "no house": "No hay ajustes acordados para este grupo: solo leer.",
        "first": "Haga primero esta ficha; después, la del trabajo sin corriente.",
        "sign": "Cuando todo el grupo esté ajustado: quite el letrero viejo y ponga el nuevo.",
    },
}  # fmt: skip


NOT_TRIED = ("staff key",)
"""Means that no customer pays with: no coin test stands on the card for them."""


def _language(language: Language) -> Language:
    return language if language in CAUTIONS else "en"


def cautions_for(laid: Layout, controls: Sequence[str], power: str, language: Language) -> tuple[str, ...]:
    """Cautions for what a card asks, danger to life first; lock-out words never beside power-on work.

    ``power`` is "on", "off", or "reading" where nothing is set at all.
    """
    words = CAUTIONS[_language(language)]
    pockets = [laid.pockets[p] for c in controls for p in laid.controls[c].pockets]
    gas = any(p.plate.fuel != "electric" for p in pockets)
    own = [c for key in {laid.controls[c].sheet for c in controls} for c in laid.sheets[key].cautions]
    first = [words["off"] if power == "off" else words["on"]] if power != "reading" else []
    return (*first, *([words["gas"]] if gas else []), words["hot"], words["moving"], words["lint"], *own, words["law"])


def _sentence(words: str) -> str:
    """The manual's own words, ended like a sentence, so that the next one does not run into them."""
    return words if not words or words[-1] in ".!?" else f"{words}."


def _card_step(step: Step, language: Language) -> CardStep:
    return CardStep(
        name=step.name, found_at=_sentence(step.found_at), how=step.how, as_found=step.found_says, to_set=step.to_set_says,
        reached=step.reached, power=POWER_WORDS[_language(language)][step.power],
    )  # fmt: skip


def _card_control(
    laid: Layout, control: str, found: Values, house: HouseSettings, power: str, language: Language
) -> CardControl:
    one = laid.controls[control]
    sheet = laid.sheets[one.sheet]
    to_set = to_sheet(laid, control, house) if house else {}
    made = steps(laid, control, found, to_set)
    to_do = [s for s in made if (s.power == "off") == (power == "off")]
    changing = {s.setting for s in made}
    from drybank.control import grid_of, scale_of, show

    scale = scale_of(laid, control, found)
    same = tuple(
        (
            line.name,
            show(line, to_set[line.key], scale=scale if len(line.grids) > 1 else "", currency=laid.store.currency),
        )
        for line in sheet.settings
        if line.key in to_set and line.key not in changing and grid_of(line, scale if len(line.grids) > 1 else "")
    )
    unknown = tuple(line.name for line in sheet.settings if line.key in to_set and line.key not in found)
    return CardControl(
        control=control, pockets=one.pockets, sheet=sheet.name, revision=sheet.revision,
        steps=tuple(_card_step(s, language) for s in to_do), unchanged=same if power != "off" else (), read_first=unknown,
    )  # fmt: skip


def devices_of(laid: Layout, controls: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Every meter and counter of some controls: key and the words for it, in walking order."""
    out = []
    for key in controls:
        one = laid.controls[key]
        sheet = laid.sheets[one.sheet]
        names = {m.key: m.name for m in sheet.meters} | {c.key: c.name for c in sheet.counters}
        for pocket in one.pockets:
            out += [
                (m.key, f"{pocket}: {names.get(m.key.split('.')[-1], m.counts)}")
                for m in laid.meters.values()
                if m.pocket == pocket
            ]
        out += [
            (c.key, f"{key}: {names.get(c.key.split('.')[-1], 'counter')}")
            for c in laid.counters.values()
            if c.control == key
        ]
    return tuple(out)


def notices_for(
    book: Book, laid: Layout, controls: Sequence[str], house: HouseSettings, language: Language
) -> tuple[str, ...]:
    """What to know before touching these controls: a sheet never read back, no house settings."""
    words = NOTICES[_language(language)]
    unread = [
        words["unread"].format(sheet=laid.sheets[key].name)
        for key in dict.fromkeys(laid.controls[c].sheet for c in controls)
        if not book.sheet_state(laid.store.key, key).is_read_back
    ]
    return (*unread, *([] if house else [words["no house"]]))


def work_cards(
    book: Book, store: str, pen: Pen, *, bank: str = "", machine: str = "", language: Language = "en",
    tasks: dict[str, tuple[CardTask, ...]] | None = None,
) -> tuple[WorkCard, ...]:  # fmt: skip
    """A card for each machine of a bank (or one machine), in walking order; power-off work on a card of its own."""
    when = pen.clock()
    laid = layout_at(book, store, when)
    held = book.settings_at(store, when)
    by_machine: dict[str, list[str]] = {}
    for control in controls_of(laid, bank=bank, machine=machine):
        by_machine.setdefault(laid.controls[control].machine, []).append(control)
    cards: list[WorkCard] = []
    for key, controls in by_machine.items():
        house = book.house_at(store, laid.machines[key].bank, when)
        for power in ("on", "off"):
            made = tuple(_card_control(laid, c, held.get(c, {}), house, power, language) for c in controls)
            if power == "on" or any(c.steps for c in made):
                cards.append(
                    _card(book, laid, key, made, power, (house, when, pen, language, (tasks or {}).get(key, ())))
                )
    return tuple(cards)


def _card(
    book: Book, laid: Layout, machine: str, made: tuple[CardControl, ...], power: str,
    rest: tuple[HouseSettings, datetime, Pen, Language, tuple[CardTask, ...]],
) -> WorkCard:  # fmt: skip
    house, when, pen, language, tasks = rest
    controls = [c.control for c in made]
    bank = next(b for b in laid.store.banks if b.key == laid.machines[machine].bank)
    on = power == "on"
    tried = [i for i in laid.inputs.values() if i.control in controls and i.means not in NOT_TRIED]
    return WorkCard(
        id=pen.ids(), store=laid.store.name, bank=bank.name, machine=machine, made=f"{when:%Y-%m-%d}",
        cautions=cautions_for(laid, controls, power, language),
        notices=notices_for(book, laid, controls, house, language),
        controls=made,
        devices=devices_of(laid, controls) if on else (),
        test_inputs=tuple(f"{i.control}: {_input_name(laid, i.control, i.sheet_input)}" for i in tried) if on and house else (),
        tasks=tasks if on else (),
        sign_reminder=NOTICES[_language(language)]["sign"] if on and house else "",
        language=_language(language),
    )  # fmt: skip


def _input_name(laid: Layout, control: str, key: str) -> str:
    sheet = laid.sheets[laid.controls[control].sheet]
    return next((i.name for i in sheet.inputs if i.key == key), key)


def bank_sign(book: Book, store: str, bank: str = "", *, pen: Pen, languages: tuple[Language, ...] = ()) -> Sign:
    """The price sign of one bank as its house settings stand. Refused where one sign cannot truly state them."""
    when = pen.clock()
    laid = layout_at(book, store, when)
    key = bank_key(laid, bank)
    house = book.house_at(store, key, when)
    if not house:
        raise InputError(
            f"Bank {key} has no house settings yet.", mend=f"Adopt some first: drybank adopt {store} {key} ..."
        )
    stated = rate_statement(laid, key, house)
    if stated.untrue:
        raise InputError(
            "One sign cannot truly state this bank: " + " ".join(stated.untrue),
            mend="Mend the settings or split the bank.",
        )
    if laid.store.responsible is None:
        raise InputError(
            f"{laid.store.name} names nobody who gives money back.",
            mend="Add [responsible] with name, address and phone to the store file: the sign must say so.",
        )
    chosen = languages or tuple(x for x in WORDS if x in laid.store.languages) or ("en",)
    name = next(b.name for b in laid.store.banks if b.key == key)
    return Sign(
        store=laid.store.name, bank=name, from_date=f"{when:%Y-%m-%d}",
        texts=tuple(sign_texts(stated, laid.store, language) for language in chosen),
    )  # fmt: skip
