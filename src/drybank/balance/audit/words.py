"""The balance in words: plain sentences, the answer first, every figure with its give-or-take.

No sentence names a person. Inside a cabinet are live voltage, gas, heat and moving parts: a check that
goes there says so first and leaves it to qualified people and the maker's manual.
"""

from __future__ import annotations

from drybank.records.money import Money

CAUSE = {
    "none": "nothing wrong: the noise of counting and reading",
    "theft": "coins lost between slot and count: a mixed-up box or count, a leak or jam in the coin path, or coins taken",
    "slugs": "pieces in the box that are not coins",
    "minutes": "the minutes per coin are set otherwise than posted",
    "free": "it runs without being paid: free mode, a stuck relay, or service runs not entered",
    "run on": "the cool-down runs on after the sold time, where its sheet says it is inside it",
    "double": "the counter counts some pieces twice",
    "miss": "the counter misses pieces",
    "avoided": "customers pass it by: slow drying, its place, or its price",
}

CAUTION = (
    "Inside the cabinet are live voltage, gas, heat and moving parts: lock out the power first, and leave it to "
    "qualified people and the maker's manual."
)

_COINS = (
    "Read the counter, put 20 test coins through the slot, read it again: 20 more, and 20 in the box, is right."
    " From outside, five minutes."
)
_WATCH = (
    "Buy the least time and hold a stop-watch to it; then look whether it turns when nothing is paid, and read the"
    " hours tonight and tomorrow morning."
)
_AT_ONCE = "Read this counter, empty this box at once, and count it apart from all others; do the same next week."
_REJECTS = "Count the foreign pieces of this box apart at the next two collections."
_MARKED = "Plant {coins} marked coins over the next period: if {share} of the coins go, one marked coin is missed with 95 % chance."
_DRY = "Dry the same wet load here and in the pocket beside it; clean the lint screen and look at the airflow first."

# the next check that separates two causes, cheapest first; the key is the pair in alphabetical order
NEXT: dict[tuple[str, str], str] = {
    ("none", "theft"): _AT_ONCE,
    ("slugs", "theft"): _REJECTS,
    ("double", "theft"): _COINS,
    ("miss", "theft"): _COINS,
    ("minutes", "theft"): _WATCH,
    ("free", "theft"): _WATCH,
    ("avoided", "theft"): _AT_ONCE,
    ("none", "slugs"): _REJECTS,
    ("double", "slugs"): _COINS,
    ("double", "none"): _COINS,
    ("miss", "none"): _COINS,
    ("double", "minutes"): _COINS,
    ("double", "free"): _COINS,
    ("double", "miss"): _COINS,
    ("free", "miss"): _COINS,
    ("miss", "minutes"): _COINS,
    ("free", "minutes"): _WATCH,
    ("free", "none"): _WATCH,
    ("minutes", "none"): _WATCH,
    ("avoided", "none"): _DRY,
    ("avoided", "free"): _WATCH,
    ("avoided", "minutes"): _WATCH,
    ("avoided", "double"): _COINS,
    ("avoided", "miss"): _COINS,
    ("avoided", "slugs"): _REJECTS,
}


def next_check(first: str, second: str) -> str:
    """The cheapest check that tells the two likeliest causes apart."""
    a, b = sorted((first, second))
    return NEXT.get((a, b), _AT_ONCE)


def marked_coins(share: float) -> str:
    """How many marked coins would show a loss of this share with 95 % chance; as a sentence."""
    import math

    coins = math.ceil(math.log(0.05) / math.log1p(-min(max(abs(share), 0.005), 0.9)))
    return _MARKED.format(coins=coins, share=percent(share))


def percent(share: float) -> str:
    """A share as 3.1 %; small ones with two digits."""
    value = 100.0 * abs(share)
    return f"{value:.2f} %" if value < 1 else f"{value:.1f} %"


def amounts(minor: float, half: float, currency: str) -> tuple[str, str]:
    """An amount and its give-or-take, both in whole units when the amount is ten or more."""
    both = [Money(round(abs(m)), currency) for m in (minor, half)]
    if both[0].decimal() >= 10:
        return f"{float(both[0].decimal()):,.0f}", f"{float(both[1].decimal()):,.0f}"
    return both[0].plain(), both[1].plain()


def pockets(keys: tuple[str, ...]) -> str:
    """“Pocket 14”, or “Pockets 3, 4 and 5”."""
    if len(keys) == 1:
        return f"Pocket {keys[0]}"
    if len(keys) > 6:
        return f"{len(keys)} pockets"
    return "Pockets " + ", ".join(keys[:-1]) + " and " + keys[-1]


def gap_sentence(
    who: str, minor: float, half: float, share: float, half_share: float, *, of: str, currency: str
) -> str:
    """“Pocket 14 is about 41 short (give or take 16): 3.1 % less than its counter says (give or take 1.2).”"""
    side = "short" if minor < 0 else "over"
    more = "less" if minor < 0 else "more"
    verb = "are" if who.startswith("Pockets") or who.endswith("pockets") else "is"
    about, give = amounts(minor, half, currency)
    return (
        f"{who} {verb} about {about} {side} (give or take {give}): "
        f"{percent(share)} {more} than {of} (give or take {100 * half_share:.1f})."
    )


def right_sentence(who: str, half_share: float, of: str) -> str:
    """“Pocket 3 agrees with its counter, give or take 1.2 %.”"""
    verb = "agree" if who.startswith("Pockets") or who.endswith("pockets") else "agrees"
    return f"{who} {verb} with {of}, give or take {percent(half_share)}."


def burst_sentence(who: str, day: str, minor: float, half: float, currency: str) -> str:
    """“Pocket 3 was about 22 short in the span to 26 January (give or take 4); the other weeks agree.”"""
    about, give = amounts(minor, half, currency)
    verb = "were" if who.startswith("Pockets") or who.endswith("pockets") else "was"
    return f"{who} {verb} about {about} short in the span to {day} (give or take {give}); over the whole period it is less clear."


def odds(log: float) -> str:
    """Evidence as odds: “35 to 1 for it”, “more than a million to 1 against it”."""
    import math

    way = "for" if log > 0 else "against"
    if abs(log) > math.log(1e6):
        return f"more than a million to 1 {way} it"
    value = math.exp(abs(log))
    return f"{value:,.0f} to 1 {way} it" if value >= 10 else f"{value:.1f} to 1 {way} it"
