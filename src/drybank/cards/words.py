"""The fixed words of a card, by language. The store's and the manual's own words are never translated."""

from __future__ import annotations

from drybank.records.card import Language

CARD: dict[Language, dict[str, str]] = {
    "en": {
        "page": "Page", "of": "of", "made": "Made", "first": "First", "note": "Note:", "card": "Machine",
        "qr_alt": "QR code of the card", "pocket": "Pocket", "control": "Control sheet", "revision": "revision",
        "read_head": "Read before you change anything",
        "read_say": "Every meter and counter, all digits. Cannot read one? Write why.",
        "read_first": "As found is not known for:", "nothing_to_change": "Nothing to change.",
        "read_back": "Read each value back from the control, then tick its box.",
        "stays": "Stays as it is:", "also": "Also at this stop",
        "coin_head": "Coin test, one for each input", "coin_say": "Put in what starts it, time the minutes given, take the coins back out of the takings. At a pad: one sale by a card of the house's own.",
        "coin_used": "put in", "coin_time": "time given", "done_by": "Done by", "done_when": "Date and time",
        "take_along": "Take along", "steps": "Do this, in this order",
    },
    "es": {
        "page": "Página", "of": "de", "made": "Hecha", "first": "Primero", "note": "Nota:", "card": "Máquina",
        "qr_alt": "Código QR de la ficha", "pocket": "Tambor", "control": "Hoja de control", "revision": "revisión",
        "read_head": "Lea antes de cambiar nada",
        "read_say": "Cada medidor y contador, con todas las cifras. ¿No se puede leer? Escriba por qué.",
        "read_first": "No se sabe cómo estaba:", "nothing_to_change": "Nada que cambiar.",
        "read_back": "Vuelva a leer cada valor en el control y marque su casilla.",
        "stays": "Se queda como está:", "also": "Además, en esta visita",
        "coin_head": "Prueba de monedas, una por entrada", "coin_say": "Meta lo que la pone en marcha, cronometre los minutos y descuente las monedas de lo recaudado. En un lector: una venta con una tarjeta de la casa.",
        "coin_used": "pagado", "coin_time": "tiempo dado", "done_by": "Hecho por", "done_when": "Fecha y hora",
        "take_along": "Lleve consigo", "steps": "Haga esto, en este orden",
    },
}  # fmt: skip
CARD["fr"] = CARD["en"]  # cards are printed in English and Spanish; only wall signs are also in French
