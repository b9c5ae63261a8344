"""The fixed words of a round's cards in Spanish, by their English. A store's own and the manual's words stay as typed."""

from __future__ import annotations

from typing import Final, Literal

import msgspec

from drybank.records.upkeep import CardLine, CardSheet, RoundCard

Language = Literal["en", "es"]

LABELS: Final[dict[Language, dict[str, str]]] = {
    "en": {
        "round": "round of", "room": "The room", "machine": "Machine", "visit": "Visit of", "next": "next by",
        "pockets": "pockets", "about": "about", "off": "Off and locked out", "on": "Power on",
        "either": "Machine stopped, panels shut", "side": "side", "of": "of", "first": "First", "look": "Look at:",
        "out": "Out of service:", "before": "Before", "todo": "To do", "after": "After", "take": "Take along",
        "interval": "Interval", "by": "Done by", "when": "Date and time", "end": "Take along and empty", "parts": "Parts",
        "boxes": "Coin boxes", "shut": "Panels shut", "how": "How", "stopped": "stopped", "running": "running",
        "each": "For each machine below, in this order. Tick under the machine.", "opened": "Machines to open",
    },
    "es": {
        "round": "ronda del", "room": "El local", "machine": "Máquina", "visit": "Visita del", "next": "la próxima antes del",
        "pockets": "tambores", "about": "unos", "off": "Apagada y bloqueada", "on": "Con corriente",
        "either": "Máquina parada, paneles cerrados", "side": "hoja", "of": "de", "first": "Primero", "look": "Mirar:",
        "out": "Fuera de servicio:", "before": "Antes", "todo": "Por hacer", "after": "Después", "take": "Llevar",
        "interval": "Intervalo", "by": "Hecho por", "when": "Fecha y hora", "end": "Llevar y vaciar", "parts": "Piezas",
        "boxes": "Cajas de monedas", "shut": "Paneles cerrados", "how": "Cómo", "stopped": "parada", "running": "en marcha",
        "each": "Para cada máquina de abajo, en este orden. Marque bajo la máquina.", "opened": "Máquinas que se abren",
    },
}  # fmt: skip

SPANISH: Final[dict[str, str]] = {
    # cautions
    "Smell gas? Touch no switch, leave, and call the gas company from outside.":
        "¿Huele a gas? No toque interruptores, salga y llame a la compañía de gas desde fuera.",
    "A scorched smell, or lint near the burner: stop, do not start it again, call the gas or electrical trade.":
        "Olor a quemado, o pelusa cerca del quemador: pare, no la arranque de nuevo y llame a un técnico autorizado.",
    "For a qualified person trained in this machine's written lock-out procedure only.":
        "Solo para una persona cualificada, formada en el procedimiento escrito de bloqueo de esta máquina.",
    "Sharp edges, hot metal and moving parts behind panels; lint burns.":
        "Detrás de los paneles hay bordes cortantes, metal caliente y piezas en movimiento; la pelusa arde.",
    "Local code, the maker's manual and the licensed trades come before this card.":
        "Las normas locales, el manual del fabricante y los oficios autorizados van antes que esta ficha.",
    "This sheet needs the power on: open no panel.": "Esta hoja se hace con corriente: no abra ningún panel.",
    "Keep hands, sleeves and cords away from the drum while it turns.":
        "Aparte manos, mangas y cordones del tambor mientras gira.",
    "Stop the dryer at its control and let it cool before you reach in; open no panel.":
        "Pare la secadora en su control y deje que se enfríe antes de meter la mano; no abra ningún panel.",
    # lock-out
    "Have the written procedure for this machine in hand.": "Tenga en la mano el procedimiento escrito de esta máquina.",
    "Have the written procedure for this machine in hand. Gas and electricity are two sources: it must name both.":
        "Tenga en la mano el procedimiento escrito de esta máquina. Gas y electricidad son dos fuentes: debe nombrar las dos.",
    "Tell the people in the shop; hang the out-of-service sign.":
        "Avise a la gente del local; cuelgue el letrero de fuera de servicio.",
    "Stop the machine at its control. Push buttons and selectors are not isolating devices.":
        "Pare la máquina en su control. Los botones y selectores no son dispositivos de aislamiento.",
    "Switch off and lock the electrical disconnect; your own lock and tag on it.":
        "Corte y bloquee el seccionador eléctrico; ponga su propio candado y etiqueta.",
    "Close the gas cock at this machine; your own lock and tag on it. Gas work itself is the licensed trade's.":
        "Cierre la llave de gas de esta máquina; ponga su propio candado y etiqueta. El trabajo de gas es del oficio autorizado.",
    "Wait until the drum stands and hot parts are cool.": "Espere a que el tambor pare y las partes calientes se enfríen.",
    "Try to start it: nothing may happen. A qualified person checks with a rated tester that it is dead.":
        "Intente ponerla en marcha: no debe pasar nada. Una persona cualificada comprueba con un probador adecuado que no hay tensión.",
    "Tools and rags out, panels and guards on, people clear.":
        "Herramientas y trapos fuera, paneles y protecciones puestos, nadie cerca.",
    "Each lock comes off by the person who put it on; then power on.":
        "Cada candado lo quita quien lo puso; después, dé corriente.",
    "Who may do so opens the gas, checks for leaks and sees the burner light properly.":
        "Quien esté autorizado abre el gas, busca fugas y ve que el quemador encienda bien.",
    "Run it empty for a minute: drum, heat, door stop. Take the sign down.":
        "Hágala funcionar vacía un minuto: tambor, calor, paro de puerta. Quite el letrero.",
    # who, sources, parts
    "anyone": "cualquiera", "qualified person": "persona cualificada", "licensed trade": "oficio autorizado",
    "common practice, no source": "práctica común, sin fuente", "store": "el local",
    "door seal": "junta de la puerta", "drive belt": "correa", "grease, by the manual": "grasa, según el manual",
    # tasks
    "Clean the lint screen": "Limpiar el filtro de pelusa",
    "Stop the dryer at its control.": "Pare la secadora en su control.",
    "Lift the screen, strip the lint, look for holes, put it back.":
        "Saque el filtro, quite la pelusa, busque agujeros y vuelva a ponerlo.",
    "Look at the outlet flap outdoors": "Mirar la compuerta de salida en el exterior",
    "With dryers running, each flap stands open and falls shut when they stop.":
        "Con las secadoras en marcha, cada compuerta queda abierta y se cierra cuando paran.",
    "Clear the make-up air louvre": "Despejar la rejilla de entrada de aire",
    "Brush lint off the louvre and take away what stands before it.":
        "Cepille la pelusa de la rejilla y quite lo que haya delante.",
    "Look at door seal and catch": "Mirar la junta y el cierre de la puerta",
    "Open the door while it turns: the drum must stop by itself. Look whether the seal lies all round.":
        "Abra la puerta mientras gira: el tambor debe parar solo. Mire si la junta asienta en todo el borde.",
    "Time a start and a top-up": "Cronometrar un arranque y un añadido",
    "Start the watch when the drum starts and stop it when the drum stops.":
        "Ponga en marcha el cronómetro cuando arranque el tambor y párelo cuando pare.",
    "Time one start alone; then one start with a top-up put in while it runs. Note the coins as test coins.":
        "Cronometre un arranque solo; después, un arranque con un añadido en marcha. Anote las monedas como de prueba.",
    "coins": "monedas", "it ran": "duró", "coins with top-up": "monedas con añadido",
    "Log the exhaust temperature of each heat": "Anotar la temperatura de salida de cada calor",
    "A thermometer at the maker's opening in the exhaust: drill nothing, open nothing.":
        "Un termómetro en la abertura del fabricante en la salida: no taladre ni abra nada.",
    "A damp load; log the exhaust every 10 to 15 s from the start to the cool-down, over two cycles of the burner.":
        "Una carga húmeda; anote la salida cada 10 a 15 s desde el arranque hasta el enfriado, en dos ciclos del quemador.",
    "heat 1, highest": "calor 1, máxima", "heat 2, highest": "calor 2, máxima", "heat 3, highest": "calor 3, máxima",
    "Clock the gas meter": "Cronometrar el contador de gas",
    "Everything else on this meter off at its own control, by someone who may; open no valve or panel.":
        "Todo lo demás de este contador apagado en su propio mando, por quien pueda; no abra llaves ni paneles.",
    "Highest heat, wet load: time whole turns of the smallest dial.":
        "Calor más alto, carga mojada: cronometre vueltas enteras de la esfera más pequeña.",
    "one turn is": "una vuelta es", "turns": "vueltas", "seconds": "segundos",
    "Clear lint from cabinet, fan and motor": "Quitar la pelusa del mueble, el ventilador y el motor",
    "Vacuum the cabinet floor, the motor's openings and the fan; nothing wet.":
        "Aspire el suelo del mueble, las aberturas del motor y el ventilador; nada mojado.",
    "Look at belts and tension": "Mirar las correas y su tensión",
    "Look for cracks, shine and fraying; change by the manual.":
        "Busque grietas, brillo y deshilachado; cambie según el manual.",
    "Look at drum bearings and rollers": "Mirar los cojinetes y rodillos del tambor",
    "Turn the drum by hand and listen; grease only where the manual says.":
        "Gire el tambor con la mano y escuche; engrase solo donde diga el manual.",
    "Clean the exhaust duct": "Limpiar el conducto de salida",
    "Brush and vacuum from the collar to the outlet; photograph before and after.":
        "Cepille y aspire desde la boca hasta la salida; fotografíe antes y después.",
    "Burner, gas valve and igniter looked at": "Revisión de quemador, válvula de gas y encendido",
    "For the licensed gas trade by the maker's manual, with a leak check after.":
        "Para el oficio de gas autorizado, según el manual del fabricante, con prueba de fugas después.",
    "Clean the coin path": "Limpiar el paso de las monedas",
    "By the acceptor's manual; test with one coin of each kind afterwards.":
        "Según el manual del aceptador; pruebe después con una moneda de cada clase.",
    "Yearly look at the lock-out procedure": "Revisión anual del procedimiento de bloqueo",
    "Someone other than the one who uses it watches the procedure being followed, and signs.":
        "Otra persona, no la que lo usa, mira cómo se sigue el procedimiento y firma.",
}  # fmt: skip


def _say(text: str) -> str:
    """Spanish where the text is one of ours; a part's number stays before it."""
    number, times, rest = text.partition(" × ")
    return f"{number} × {_say(rest)}" if times and number.isdecimal() else SPANISH.get(text, text)


def said_in(text: str, language: Language) -> str:
    """One of our own fixed texts (a part with its number, too) in a language; any other stays as it is."""
    return text if language == "en" else _say(text)


def in_language(card: RoundCard, language: Language) -> RoundCard:
    """A card with its fixed words in a language. Why each line is due is worked out in English and left out in Spanish."""
    if language == "en":
        return card
    return msgspec.structs.replace(
        card, sheets=tuple(_sheet(s) for s in card.sheets), parts=tuple(_say(p) for p in card.parts)
    )


def _sheet(sheet: CardSheet) -> CardSheet:
    return CardSheet(
        power=sheet.power,
        cautions=tuple(_say(t) for t in sheet.cautions),
        before=tuple(_say(t) for t in sheet.before),
        lines=tuple(_line(line) for line in sheet.lines),
        after=tuple(_say(t) for t in sheet.after),
    )


def _line(line: CardLine) -> CardLine:
    return msgspec.structs.replace(
        line,
        name=_say(line.name),
        pockets=tuple(_say(p) for p in line.pockets),
        why="",
        steps=tuple(_say(t) for t in line.steps),
        parts=tuple(_say(p) for p in line.parts),
        write=tuple(_say(w) for w in line.write),
        source=_say(line.source),
    )
