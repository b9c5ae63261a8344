"""Faults, drawn as a tree.

    DrybankError                what every caller may catch; `sentence()` is fit to show a person
    ├── InputError              something the person gave is wrong: what, where, how to mend it
    │   └── InputErrors         several of those at once, none hidden behind the first
    ├── OutOfRange              a computation was asked for beyond what its source supports
    ├── NoConvergence           an iteration did not settle; says on what
    ├── NotIdentified           the data cannot answer what was asked; says what would
    └── BookError               the book refused
        ├── TipMoved            somebody appended in between; read again and retry
        ├── ChainBroken         the chain of hashes does not hold at a named entry
        ├── DuplicateDiffers    an id came twice with different content
        ├── Missing             no such store, pocket, entry ...
        └── NewerBook           the book was written by a later Drybank

A *finding* (cash short, minutes wrong) is data, never one of these.
"""

from __future__ import annotations

from collections.abc import Sequence


class DrybankError(Exception):
    """Base of every fault that a person may see."""

    code = "fault"

    def sentence(self) -> str:
        return str(self)


class InputError(DrybankError):
    """One thing that the person gave and that cannot stand.

    ``what`` is a plain sentence; ``where`` a file, line, field or command word;
    ``mend`` says what to do; ``allowed`` the range or list of values, in words.
    """

    code = "input"

    def __init__(self, what: str, *, where: str = "", mend: str = "", allowed: str = "") -> None:
        self.what, self.where, self.mend, self.allowed = what, where, mend, allowed
        super().__init__(self.sentence())

    def sentence(self) -> str:
        parts = [f"{self.where}: {self.what}" if self.where else self.what]
        if self.allowed:
            parts.append(f"Allowed: {self.allowed}.")
        if self.mend:
            parts.append(self.mend)
        return " ".join(parts)


class InputErrors(InputError):
    """Every mistake found in one file or form."""

    def __init__(self, errors: Sequence[InputError]) -> None:
        self.errors = tuple(errors)
        noun = "mistake" if len(self.errors) == 1 else "mistakes"
        super().__init__(f"{len(self.errors)} {noun} found.")

    def sentence(self) -> str:
        return "\n".join(e.sentence() for e in getattr(self, "errors", ())) or self.what


class OutOfRange(DrybankError):
    """A value beyond the range that a formula's source supports."""

    code = "out-of-range"

    def __init__(self, name: str, value: float, low: float, high: float, unit: str, why: str = "") -> None:
        self.name, self.value, self.low, self.high, self.unit, self.why = name, value, low, high, unit, why
        super().__init__(
            f"{name} is {value:g} {unit}; it must lie between {low:g} and {high:g} {unit}." + (f" {why}" if why else "")
        )


class NoConvergence(DrybankError):
    code = "no-convergence"


class NotIdentified(DrybankError):
    """The data given cannot tell what was asked."""

    code = "not-identified"


class BookError(DrybankError):
    code = "book"


class TipMoved(BookError):
    code = "tip-moved"


class ChainBroken(BookError):
    code = "chain-broken"


class DuplicateDiffers(BookError):
    code = "duplicate-differs"


class Missing(BookError):
    code = "missing"


class NewerBook(BookError):
    code = "newer-book"
