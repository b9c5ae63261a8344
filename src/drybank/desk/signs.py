"""The words of the wall sign, from what the control room says must be stated.

A statement of rates: price as money per units of time, and how many coins start a dryer, clearly and prominently; how
money is returned, with name, address and phone of the one responsible (NIST Handbook 44, 5.55 and G-UR.3.4, read in a
county weights-and-measures page).
"""

from __future__ import annotations

from drybank.records.card import Language, SignRate, SignText
from drybank.records.control import PieceRate, RateStatement
from drybank.records.money import MINOR_DIGITS, Money
from drybank.records.store import Store

WORDS: dict[Language, dict[str, str]] = {
    "en": {
        "title": "Dryers", "minute": "minute", "minutes": "minutes", "free": "Free", "start": "{n} × {coin} start a dryer",
        "start one": "One {coin} starts a dryer", "start button": "Press start", "more": "While it runs, each", "none": "No time can be added while it runs.",
        "takes": "Takes {coins}.", "cool in": "The last {t} of the time cool the load without heat.",
        "cool after": "After the time is up the load is cooled for {t} more without heat.", "no cool": "Take the load out and spread it when the time is up.",
        "limit": "No more than {t} at one time.", "refund": "Money lost, or a dryer that does not start?", "or": "or", "card": "Cards and apps are taken at the reader.",
        "by_heat": "{heat} costs {money} more.",
    },
    "es": {
        "title": "Secadoras", "minute": "minuto", "minutes": "minutos", "free": "Gratis", "start": "{n} × {coin} ponen en marcha una secadora",
        "start one": "Una moneda de {coin} pone en marcha una secadora", "start button": "Pulse para empezar", "more": "Mientras funciona, cada", "none": "No se puede añadir tiempo mientras funciona.",
        "takes": "Acepta {coins}.", "cool in": "Los últimos {t} enfrían la ropa sin calor.",
        "cool after": "Al acabar el tiempo, la ropa se enfría {t} más sin calor.", "no cool": "Saque la ropa y extiéndala al acabar el tiempo.",
        "limit": "No más de {t} a la vez.", "refund": "¿Perdió dinero o no arranca?", "or": "o", "card": "En el lector se puede pagar con tarjeta o aplicación.",
        "by_heat": "{heat} cuesta {money} más.",
    },
    "fr": {
        "title": "Sécheuses", "minute": "minute", "minutes": "minutes", "free": "Gratuit", "start": "{n} × {coin} font démarrer une sécheuse",
        "start one": "Une pièce de {coin} fait démarrer une sécheuse", "start button": "Appuyez pour démarrer", "more": "En marche, chaque", "none": "Aucun temps ne peut être ajouté en marche.",
        "takes": "Accepte {coins}.", "cool in": "Pendant les {t} à la fin, le linge est refroidi sans chaleur.",
        "cool after": "Le temps écoulé, le linge est refroidi {t} de plus sans chaleur.", "no cool": "Sortez le linge et étendez-le dès la fin du temps.",
        "limit": "Pas plus de {t} à la fois.", "refund": "Argent perdu, ou machine qui ne démarre pas ?", "or": "ou", "card": "Cartes et applications acceptées au lecteur.",
        "by_heat": "{heat} coûte {money} de plus.",
    },
}  # fmt: skip

LOCALES: dict[Language, str] = {"en": "en", "es": "es", "fr": "fr"}


def money_words(minor: int, store: Store, language: Language) -> str:
    """Money as the wall shows it: $1.00, 25¢, 1,00 $ in French."""
    if 0 < minor < 10 ** MINOR_DIGITS[store.currency] and store.currency in ("USD", "CAD"):
        return f"{minor}\u00a0¢" if language == "fr" else f"{minor}¢"
    from babel.numbers import format_currency

    locale = f"{LOCALES[language]}_{store.country}" if store.country else LOCALES[language]
    amount = Money(minor, store.currency).decimal()
    from babel import UnknownLocaleError

    try:
        return str(format_currency(amount, store.currency, locale=locale))
    except (UnknownLocaleError, ValueError):
        return str(format_currency(amount, store.currency, locale=LOCALES[language]))


def time_words(seconds: int, language: Language) -> str:
    """A span as a customer reads it: 12 minutes, 3½ minutes, 3 minutes 20 s."""
    whole, rest = divmod(seconds, 60)
    words = WORDS[language]
    noun = words["minute"] if (whole, rest) == (1, 0) else words["minutes"]
    if rest == 30:
        return f"{whole or ''}½ {words['minute'] if whole == 0 else words['minutes']}"
    if rest == 0:
        return f"{whole} {noun}"
    return f"{whole} {noun} {rest} s" if whole else f"{rest} s"


def _start(stated: RateStatement, rate: PieceRate | None, store: Store, language: Language) -> tuple[SignRate, str]:
    words = WORDS[language]
    if stated.is_free or rate is None:
        return SignRate(money=words["free"], time=time_words(stated.free_time_s, language)), words["start button"]
    coin = money_words(rate.piece_minor, store, language)
    says = words["start one"] if rate.start_pieces == 1 else words["start"]
    start = SignRate(money=money_words(rate.start_minor, store, language), time=time_words(rate.first_time_s, language))
    return start, says.format(n=rate.start_pieces, coin=coin)


def _ending(stated: RateStatement, rate: PieceRate | None, language: Language) -> str:
    words = WORDS[language]
    if rate is None or not rate.cool_s:
        return words["no cool"]
    return words["cool in" if rate.cool_is_inside else "cool after"].format(t=time_words(rate.cool_s, language))


def _list(words: list[str], last: str) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def sign_texts(stated: RateStatement, store: Store, language: Language) -> SignText:
    """The sign in one language. The first coin line is the smallest piece that starts a dryer alone."""
    words = WORDS[language]
    first_heat = min((r.heat for r in stated.rates), default=0)
    coins = sorted(
        (r for r in stated.rates if r.heat == first_heat and ("coin" in r.means or "token" in r.means)),
        key=lambda r: r.piece_minor,
    )
    rate = coins[0] if coins else (stated.rates[0] if stated.rates else None)
    start, says = _start(stated, rate, store, language)
    more = tuple(
        SignRate(money=money_words(r.piece_minor, store, language), time=time_words(r.time_per_piece_s, language))
        for r in coins
        if r.time_per_piece_s
    )
    notes = [
        f"{_start(stated, other, store, language)[1]} ({time_words(other.first_time_s, language)})."
        for other in coins[1:]
    ]
    if any(m in ("card", "app") for r in stated.rates for m in r.means):
        notes.append(words["card"])
    if stated.top_up_limit_s:
        most = [f"{r.most_pieces} × {money_words(r.piece_minor, store, language)}" for r in coins if r.most_pieces]
        at_most = f" ({_list(most, words['or'])})" if most else ""
        notes.append(words["limit"].format(t=time_words(stated.top_up_limit_s, language) + at_most))
    for heat, extra in stated.by_heat:
        name = next((h.name for h in store.heats if h.number == heat), str(heat))
        if extra:
            notes.append(words["by_heat"].format(heat=name, money=money_words(extra, store, language)))
    who = store.responsible
    return SignText(
        language=language, title=words["title"], start=start, start_says=says, more=more,
        more_head=words["more"] if more else words["none"],
        accepted=words["takes"].format(coins=_list([money_words(c.piece_minor, store, language) for c in coins], words["or"])) if coins else "",
        ending=_ending(stated, rate, language), refund_head=words["refund"],
        refund=(who.name, who.address, who.phone) if who else (), notes=tuple(notes),
    )  # fmt: skip
