"""The sale rule once more, naively: one second after another, from the words of docs/concepts/sale-rule.md.

Written apart from `drybank.control.sale` and without its records, to hold the two against each other.
"""

from fractions import Fraction

from drybank.records.control import DoorClosed, DoorOpened, HeatChosen, Paid, PowerBack, PowerCut, Pressed

BASE = {
    "willow": {"start-money": 25, "opening": 6, "left-slot": 6, "right-slot": 6, "most": 60, "cooling": 30, "wait": 1},
    "hazel": {"coin-clock": 15, "coins-first": 1, "end-cool": 60},
    "rowan": {"price": 5, "pace": 1, "rest": 15, "gift": 1, "gift-time": 60, "cap": 60},
}


def plain(sheet, values, worth):
    """The settings of an invented control in seconds and minor units, worked out by hand for each."""
    v = {key: value * BASE[sheet.key][key] for key, value in values.items()}
    if sheet.key == "willow":
        is_free = sheet.sale.free == "no start price" and v["start-money"] == 0
        return {
            "price": v["start-money"], "first": v["opening"], "times": {"left": v["left-slot"], "right": v["right-slot"]},
            "limit": v["most"] or None, "cool": v["cooling"], "timeout": v["wait"], "free": v["opening"] if is_free else 0, "need": None,
        }  # fmt: skip
    if sheet.key == "hazel":
        return {
            "price": None, "first": None, "times": {"slot": v["coin-clock"]}, "limit": None, "cool": v["end-cool"], "timeout": None,
            "free": 0, "need": v["coins-first"],
        }  # fmt: skip
    return {
        "price": v["price"], "first": None, "times": {key: worth[key] * v["pace"] // 25 for key in worth}, "limit": v["cap"] or None,
        "cool": v["rest"], "timeout": None, "free": v["gift-time"] if values["gift"] else 0, "need": None,
    }  # fmt: skip


class Naive:
    def __init__(self, sheet, values, worth):
        self.rule, self.set, self.worth = sheet.sale, plain(sheet, values, worth), worth
        self.t = self.left = self.after = 0
        self.shut, self.on, self.pending = True, True, False
        self.heat, self.start_t = 1, None
        self.waiting, self.credit_money, self.credit_s, self.last_coin = [], Fraction(0), 0, None
        self.did = dict.fromkeys(
            ("sold", "heat", "air", "cool sold", "cool after", "open", "forgone", "capped", "free"), 0
        )
        self.pieces = {kind: dict.fromkeys(worth, 0) for kind in ("paid", "taken", "refused", "lost")}
        self.starts = []

    def give(self, seconds):
        self.left += seconds
        self.did["sold"] += seconds
        if seconds:
            self.after = 0

    def begin(self, seconds):
        self.did["forgone"] += self.left
        self.left = self.after = 0
        self.starts.append(self.t)
        self.start_t, self.pending, self.last_coin = self.t, not self.shut, None
        self.give(seconds)

    def top_up(self, key):
        seconds, limit = self.set["times"][key], self.set["limit"]
        if limit is not None and self.left + seconds > limit:
            if self.rule.at_limit == "refused":
                self.pieces["refused"][key] += 1
                return
            fits = max(0, limit - self.left)
            self.did["capped"] += seconds - fits
            seconds = fits
        self.pieces["taken"][key] += 1
        self.give(seconds)

    def cooling(self):
        if self.left == 0:
            return self.after > 0
        return self.rule.cool_down == "inside" and self.left <= self.set["cool"] and self.t != self.start_t

    def insert(self, key):
        self.pieces["paid"][key] += 1
        if not self.on:
            self.pieces["refused"][key] += 1
        elif self.cooling():
            way = self.rule.coin_in_cool_down
            if way == "heats again":
                self.top_up(key)
            elif way == "refused":
                self.pieces["refused"][key] += 1
            else:
                self.wait(key)
        elif self.left > 0 or self.press():
            if self.rule.top_up == "adds":
                self.top_up(key)
            else:
                self.pieces["refused"][key] += 1
        else:
            self.wait(key)

    def wait(self, key):
        self.waiting.append(key)
        self.last_coin = self.t
        self.maybe_start()

    def maybe_start(self):
        price, last = self.set["price"], self.waiting[-1]
        each = self.set["times"][last]
        over = Fraction(0)  # part of the last piece beyond the start
        money = self.credit_money + sum(self.worth[k] for k in self.waiting)
        if price:
            if money < price:
                return
            over = (money - price) / Fraction(self.worth[last])
        elif self.set["need"] is not None and len(self.waiting) < self.set["need"]:
            return
        for key in self.waiting:
            self.pieces["taken"][key] += 1
        extra = int(over * each)
        total = self.credit_s + sum(self.set["times"][k] for k in self.waiting)
        self.waiting, self.credit_money, self.credit_s = [], Fraction(0), 0
        if self.rule.over_payment == "held":
            self.credit_money, self.credit_s = over * self.worth[last] if price else Fraction(0), extra
        if self.rule.start == "sum":
            self.begin(total if self.rule.over_payment == "time" else total - min(extra, total))
            return
        self.begin(self.set["first"])
        if self.rule.over_payment == "time":
            limit = self.set["limit"]
            fits = extra if limit is None else min(extra, max(0, limit - self.left))
            self.did["capped"] += extra - fits
            self.give(fits)

    def press(self):
        if not self.set["free"] or not self.on or self.left or self.after:
            return False
        self.did["free"] += self.set["free"]
        self.begin(self.set["free"])
        return True

    def lose_waiting(self):
        for key in self.waiting:
            self.pieces["lost"][key] += 1
        self.waiting, self.credit_money, self.credit_s, self.last_coin = [], Fraction(0), 0, None

    def event(self, e):
        match e:
            case Paid():
                for _ in range(e.pieces):
                    self.insert(e.input)
            case Pressed():
                self.press()
            case DoorOpened():
                self.shut = False
            case DoorClosed():
                self.shut, self.pending = True, False
            case PowerCut():
                self.on = False
                if self.rule.power_cut == "time lost":
                    self.did["forgone"] += self.left
                    self.left = self.after = 0
                    self.pending = False
                    self.lose_waiting()
            case PowerBack():
                self.on = True
            case HeatChosen():
                self.heat = e.heat
                if self.waiting and self.on and (self.left == 0 or self.cooling()):
                    self.maybe_start()

    def second(self):
        """What one second does."""
        if not self.on or self.pending or (self.left == 0 and self.after == 0):
            return
        if not self.shut and self.rule.door == "clock stops":
            return
        inside = self.set["cool"] if self.rule.cool_down == "inside" else 0
        if self.left > 0:
            what = "open" if not self.shut else "cool sold" if self.left <= inside else "heat" if self.heat else "air"
            self.left -= 1
            if self.left == 0 and self.rule.cool_down == "after":
                self.after = self.set["cool"]
        else:
            what = "cool after" if self.shut else None
            self.after -= 1
        if what:
            self.did[what] += 1


def live(sheet, values, events, worth, until):
    """Run to ``until`` seconds; what happened at that very moment included."""
    drum = Naive(sheet, values, worth)
    todo = list(events)
    for t in range(until + 1):
        drum.t = t
        timeout = drum.set["timeout"] if sheet.sale.below_start == "dropped" else None
        if timeout is not None and drum.last_coin is not None and t >= drum.last_coin + timeout:
            drum.lose_waiting()
        while todo and todo[0].at_s == t:
            drum.event(todo.pop(0))
        if t < until:
            drum.second()
    return drum
