"""Work on other computers: the same function over many items, here or on a Dask cluster, answers in the items' order.

Every item is worked out by itself, so the answers do not depend on where that was. What a worker that died was working on, and
answers that were lost with it, are worked out again by another.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Final, TypeVar

from drybank.records.errors import InputError

A = TypeVar("A")
B = TypeVar("B")

AHEAD: Final = 32
"""Items sent ahead of the answer that is waited for: bounds what lies in memory here and there."""
ANSWERS_WITHIN_S = 5.0
TRIES: Final = 5
"""Times that an item is begun anew after its worker died."""


def each_on(cluster: str, work: Callable[[A], B], items: Iterable[A]) -> Iterator[B]:
    """``work`` over each item, in order; on the cluster at an address (tcp://host:port), or here where it is empty.

    Raises `InputError` where the extra is not installed, no scheduler answers, or workers keep dying.
    """
    if not cluster:
        yield from map(work, items)
        return
    client = _client(cluster)
    try:
        yield from _far(client, work, items)
    finally:
        client.close()


def _far(client: Any, work: Callable[[A], B], items: Iterable[A]) -> Iterator[B]:
    from distributed import KilledWorker

    waiting: deque[Any] = deque()
    every = iter(items)
    try:
        for item in every:
            waiting.append(client.submit(work, item, pure=False, retries=TRIES))
            if len(waiting) >= AHEAD:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    except KilledWorker as dead:
        raise InputError(
            "The cluster's workers died again and again over one piece of the work.",
            mend="See their logs; give them more memory, or leave --cluster out.",
        ) from dead


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError as missing:
        raise InputError(
            "Working on a cluster needs the “cluster” extra.", mend="Install drybank[cluster]."
        ) from missing
    try:
        connect: Any = Client
        return connect(address, timeout=ANSWERS_WITHIN_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as away:
        raise InputError(f"No scheduler answers at {address}.", mend="Start one, or leave --cluster out.") from away
