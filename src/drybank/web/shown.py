"""Desk results kept while the book stands still: worked out once for a store's tip and day, by one thread at a time."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import Any, TypeVar

from drybank.web import site

T = TypeVar("T")
KEPT = 120
_kept: OrderedDict[tuple[Any, ...], Any] = OrderedDict()
_busy: dict[tuple[Any, ...], threading.Lock] = {}
_door = threading.Lock()


def _key(store: str, what: str, *more: Any) -> tuple[Any, ...]:
    book = site.book()
    return (book.name, store, book.tip(store), f"{site.now():%Y-%m-%d}", what, *more)


def is_ready(store: str, what: str, *more: Any) -> bool:
    """Whether an answer is at hand, so that the page need not say what is being worked out."""
    return _key(store, what, *more) in _kept


def kept(store: str, what: str, work: Callable[[], T], *more: Any) -> T:
    """The result of ``work``, from the last time where nothing was entered since."""
    key = _key(store, what, *more)
    with _door:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]  # type: ignore[no-any-return]
        lock = _busy.setdefault(key, threading.Lock())
    with lock:
        if key not in _kept:
            made = work()
            with _door:
                _kept[key] = made
                while len(_kept) > KEPT:
                    _kept.popitem(last=False)
        with _door:
            _busy.pop(key, None)
        return _kept[key]  # type: ignore[no-any-return]
