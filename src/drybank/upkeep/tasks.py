"""A list of tasks to start from. No interval here has a source except where one is named:
replace each by the maker's manual."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from drybank.records.errors import InputError, InputErrors
from drybank.records.upkeep import Task

START_LIST: Final[tuple[Task, ...]] = (
    Task(key="lint-screen", name="Clean the lint screen", every=1, per="days", minutes=2,
         steps=("Stop the dryer at its control.", "Lift the screen, strip the lint, look for holes, put it back.")),
    Task(key="outlet-flap", name="Look at the outlet flap outdoors", every=30, per="days", scope="store", power="on", minutes=10,
         steps=("With dryers running, each flap stands open and falls shut when they stop.",)),
    Task(key="make-up-air", name="Clear the make-up air louvre", every=30, per="days", scope="store", minutes=10,
         steps=("Brush lint off the louvre and take away what stands before it.",)),
    Task(key="door-seal", name="Look at door seal and catch", every=90, per="days", minutes=3, parts=("door seal",), power="on",
         steps=("Open the door while it turns: the drum must stop by itself. Look whether the seal lies all round.",)),
    Task(key="time-sold", name="Time a start and a top-up", every=90, per="days", power="on", minutes=20,
         steps=("Start the watch when the drum starts and stop it when the drum stops.",
                "Time one start alone; then one start with a top-up put in while it runs. Note the coins as test coins."),
         write=("coins", "it ran", "coins with top-up", "it ran")),
    Task(key="heat-run", name="Log the exhaust temperature of each heat", every=180, per="days", power="on", minutes=30,
         steps=("A thermometer at the maker's opening in the exhaust: drill nothing, open nothing.",
                "A damp load; log the exhaust every 10 to 15 s from the start to the cool-down, over two cycles of the burner."),
         write=("heat 1, highest", "heat 2, highest", "heat 3, highest")),
    Task(key="gas-input", name="Clock the gas meter", every=365, per="days", power="on", minutes=20, gas_only=True,
         steps=("Everything else on this meter off at its own control, by someone who may; open no valve or panel.",
                "Highest heat, wet load: time whole turns of the smallest dial."),
         write=("one turn is", "turns", "seconds")),
    Task(key="lint-inside", name="Clear lint from cabinet, fan and motor", every=500, per="hours", scope="machine",
         who="qualified person", power="off", opens_machine=True, minutes=40,
         steps=("Vacuum the cabinet floor, the motor's openings and the fan; nothing wet.",)),
    Task(key="belt", name="Look at belts and tension", every=1000, per="hours", who="qualified person", power="off",
         opens_machine=True, minutes=15, parts=("drive belt",),
         steps=("Look for cracks, shine and fraying; change by the manual.",)),
    Task(key="bearings", name="Look at drum bearings and rollers", every=2000, per="hours", who="qualified person", power="off",
         opens_machine=True, minutes=25, parts=("grease, by the manual",),
         steps=("Turn the drum by hand and listen; grease only where the manual says.",)),
    Task(key="duct", name="Clean the exhaust duct", every=365, per="days", scope="machine", who="qualified person", power="off",
         opens_machine=True, minutes=90,
         steps=("Brush and vacuum from the collar to the outlet; photograph before and after.",)),
    Task(key="burner", name="Burner, gas valve and igniter looked at", every=365, per="days", who="licensed trade", power="off",
         opens_machine=True, minutes=45, gas_only=True,
         steps=("For the licensed gas trade by the maker's manual, with a leak check after.",)),
    Task(key="coin-path", name="Clean the coin path", every=5000, per="cycles", who="qualified person", power="off",
         opens_machine=True, minutes=15,
         steps=("By the acceptor's manual; test with one coin of each kind afterwards.",)),
    Task(key="lock-out-review", name="Yearly look at the lock-out procedure", every=365, per="days", scope="store",
         who="qualified person", minutes=30,
         steps=("Someone other than the one who uses it watches the procedure being followed, and signs.",),
         source="29 CFR 1910.147(c)(6): each procedure inspected at least yearly by another authorised person, certified",
         known="read"),
)  # fmt: skip


def replace_tasks(base: Sequence[Task], own: Iterable[Task]) -> tuple[Task, ...]:
    """The list with the store's own tasks in place of those of the same key, new ones at the end.

    Every mistake is shown at once: a key given twice is refused.
    """
    mine: dict[str, Task] = {}
    wrong = []
    for task in own:
        if task.key in mine:
            wrong.append(InputError("This task stands twice.", where=task.key, mend="Keep one of them."))
        mine[task.key] = task
    if wrong:
        raise InputErrors(wrong)
    kept = tuple(mine.pop(t.key, t) for t in base)
    return (*kept, *mine.values())
