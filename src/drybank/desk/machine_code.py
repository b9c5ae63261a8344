"""The first run of a plan: its machine code is built once, the store's week in a second process beside the rest.

What is built is kept by numba in its own cache; a stamp in `cache_folder` says that it was, for these sources.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from importlib.metadata import version
from pathlib import Path
from typing import Final

from drybank.desk.plan_given import cache_folder

PARTS: Final = ("drying", "plan/search", "traffic", "traffic/week")
BUILD: Final = "from drybank.desk.machine_code import build_week; build_week()"


def is_built() -> bool:
    """Whether a plan was made with these sources before, so that nothing is left to build."""
    return _stamp().is_file()


def mark_built() -> None:
    with suppress(OSError):
        _stamp().parent.mkdir(parents=True, exist_ok=True)
        _stamp().touch()


def _stamp() -> Path:
    room = Path(__file__).parents[1]
    told = [sys.version, version("numba"), str(room), os.environ.get("NUMBA_CACHE_DIR", "")]
    for part in PARTS:
        told += [f"{f.name} {f.stat().st_mtime_ns}" for f in sorted((room / part).glob("*.py"))]
    key = hashlib.sha256("; ".join(told).encode()).hexdigest()[:24]
    return cache_folder() / f"built-{key}"


@contextmanager
def built_beside() -> Iterator[Callable[[], None]]:
    """Build the week's machine code in a second process while the block runs; call what is given to wait for it.

    A process that cannot be started or fails is no matter: the code is then built where it is needed.
    """
    child: subprocess.Popen[bytes] | None = None
    with suppress(OSError):
        child = subprocess.Popen([sys.executable, "-c", BUILD], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    def wait() -> None:
        if child is not None:
            child.wait()

    try:
        yield wait
    finally:
        if child is not None and child.poll() is None:
            child.terminate()
            child.wait()


def build_week() -> None:
    """Simulate a small invented week, so that its machine code is there."""
    from drybank.records.traffic import (
        Arrivals,
        BankSetting,
        Buying,
        CoinBuying,
        NeedTable,
        Pocket,
        Settings,
        Spread,
        Store,
        Visits,
        WasherKind,
    )
    from drybank.traffic import Work, simulate_counts

    minute = Spread("constant", (60.0,))
    store = Store(
        name="small", arrivals=Arrivals(by_hour=(1.0,) * 168),
        visits=Visits(loads_share=(1.0,), load_kg=(Spread("constant", (3.0,)),), size_share=(1.0,),
                      patience_pocket_s=minute, patience_washer_s=minute),
        buying=Buying(belief=Spread("constant", (1.0,)), away_s=minute, transfer_s=minute),
        washers=(WasherKind(size=1, count=1, cycle_s=minute),), pockets=(Pocket(name="1", capacity_kg=9.0),),
    )  # fmt: skip
    coin = CoinBuying(start_pieces=1, first_time_s=600, piece_time_s=600)
    need = NeedTable(load_kg=(1.0, 9.0), need_s=((600.0,), (900.0,)))
    sold = Settings(banks=(BankSetting(coin=coin, need=need),))
    simulate_counts(store, sold, Work(weeks=1, replications=1, seed=1))
