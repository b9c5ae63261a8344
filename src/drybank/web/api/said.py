"""Answers and refusals of the programming interface, as JSON with a sentence for a person and a code for a program."""

from __future__ import annotations

import logging
from typing import Any

import msgspec
from django.http import Http404, HttpRequest, HttpResponse

from drybank.desk.plainly import as_json
from drybank.records.errors import BookError, DrybankError, InputError, InputErrors, Missing

log = logging.getLogger("drybank.web")
JSON = "application/json"


class Refusal(msgspec.Struct, frozen=True, kw_only=True):
    """Why nothing was done: a sentence, how to mend it, a code for programs; several mistakes at once stand in ``errors``."""

    error: str
    mend: str = ""
    code: str = ""
    errors: tuple[str, ...] = ()


class Refused(Exception):
    """Raised by a call or its guard; becomes the answer."""

    def __init__(self, status: int, error: str, *, mend: str = "", code: str = "", wait_s: int = 0) -> None:
        super().__init__(error)
        self.status, self.wait_s = status, wait_s
        self.refusal = Refusal(error=error, mend=mend, code=code)


def answer(result: Any, status: int = 200) -> HttpResponse:
    """A desk result; what is a response already stays as it is."""
    if isinstance(result, HttpResponse):
        return result
    return HttpResponse(
        as_json(result), status=status, content_type=JSON, headers={"Cache-Control": "private, no-store"}
    )


def too_large(most: int) -> Refused:
    return Refused(413, f"This is larger than {most:,} bytes.", mend="Send less at once.", code="too-large")


def not_found() -> Refused:
    """No such thing, or none for this person: the same words for both."""
    return Refused(404, "There is no such thing for you here.", mend="Check the address, or ask the store's owner.", code="not-found")  # fmt: skip


def _refusal(fault: Exception) -> tuple[int, Refusal]:
    if isinstance(fault, Refused):
        return fault.status, fault.refusal
    if isinstance(fault, Http404):
        return 404, not_found().refusal
    if isinstance(fault, Missing):
        return 404, Refusal(error=fault.sentence(), code=fault.code)
    if isinstance(fault, InputErrors):
        said = tuple(e.sentence() for e in fault.errors)
        return 422, Refusal(error=said[0] if said else fault.what, code=fault.code, errors=said)
    if isinstance(fault, InputError):
        bare = InputError(fault.what, where=fault.where, allowed=fault.allowed).sentence()
        return 422, Refusal(error=bare, mend=fault.mend, code=fault.code)
    if isinstance(fault, DrybankError):
        return 503 if type(fault) is BookError else 422, Refusal(error=fault.sentence(), code=fault.code)
    log.error("a call failed: %s", type(fault).__name__, exc_info=fault)
    return 500, Refusal(
        error="Something failed that Drybank did not foresee. Nothing was half stored.", mend="Try again; if it stays, see the log.", code="fault"
    )  # fmt: skip


def refuse(_request: HttpRequest, fault: Any) -> HttpResponse:
    """Every fault as its answer."""
    status, said = _refusal(fault)
    response = answer(said, status)
    if status == 401:
        response.headers["WWW-Authenticate"] = 'Bearer realm="drybank"'
    if isinstance(fault, Refused) and fault.wait_s:
        response.headers["Retry-After"] = str(fault.wait_s)
    return response
