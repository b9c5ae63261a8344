"""The interface made from the table of calls, and its description: every answer's shape, every refusal that may come."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from importlib import import_module
from typing import Any, TypeVar

import msgspec
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from ninja import NinjaAPI
from ninja.errors import ValidationError

from drybank.web.api.guard import guarded
from drybank.web.api.said import Refusal, Refused, refuse
from drybank.web.rights import CALLS, Call

View = TypeVar("View", bound=Callable[..., Any])
REFUSALS = {
    400: "The request cannot be read.",
    401: "Nobody is logged in, or the token does not hold.",
    404: "No such thing, or none for this person.",
    413: "More than is taken at once.",
    422: "What was sent cannot stand; the sentence says why.",
    429: "Too many requests; Retry-After says how long to wait.",
    503: "The book cannot be read or written just now; nothing was half stored.",
}
OF_ANYONE = (400, 429)
REF = "#/components/schemas/{name}"


class Described(msgspec.Struct, frozen=True, kw_only=True):
    """What a call takes and gives beyond its address: the type of its answer, of its body, other kinds of content."""

    gives: Any = None
    takes: Any = None
    gives_kinds: tuple[str, ...] = ("application/json",)
    takes_kinds: tuple[str, ...] = ("application/json",)
    headers: dict[str, str] = {}


def describes(**said: Any) -> Callable[[View], View]:
    """Write a call's description onto its function."""

    def keep(view: View) -> View:
        view.described = Described(**said)  # type: ignore[attr-defined]
        return view

    return keep


def _view(call: Call) -> Callable[..., Any]:
    module, _, name = call.view.partition(".")
    return getattr(import_module(f"drybank.web.api.calls.{module}"), name)  # type: ignore[no-any-return]


@cache
def api() -> NinjaAPI:
    """The interface, once for this process."""
    made = NinjaAPI(
        title="Drybank", version="1", urls_namespace="api", docs_url=None, openapi_url=None,
        description="The desk's functions for phones and programs. Money is whole minor units, moments are in UTC.",
    )  # fmt: skip
    for call in CALLS:
        view = _view(call)
        made.api_operation(
            [call.method], call.path, operation_id=call.name, summary=_first_line(view), url_name=call.name
        )(guarded(call, view))
    made.add_exception_handler(ValidationError, _unread)
    made.add_exception_handler(Exception, refuse)
    return made


def _unread(request: HttpRequest, bad: Any) -> HttpResponse:
    first = bad.errors[0] if bad.errors else {}
    where = ".".join(str(part) for part in first.get("loc", ())[1:])
    return refuse(request, Refused(422, f"{where}: {first.get('msg', 'cannot be read')}.", code="input"))


def _first_line(view: Any) -> str:
    return (view.__doc__ or "").strip().splitlines()[0].rstrip(".")


# The description


@cache
def description() -> dict[str, Any]:
    """The OpenAPI document: paths as registered, shapes as the desk's own records have them."""
    made = dict(api().get_openapi_schema(path_prefix="/api/v1"))
    views = {call.name: (call, getattr(_view(call), "described", Described())) for call in CALLS}
    types = [t for _, d in views.values() for t in (d.gives, d.takes) if t is not None]
    shapes, parts = msgspec.json.schema_components([Refusal, *types], schema_hook=_shape_of_exact, ref_template=REF)
    shape_of = dict(zip(map(repr, [Refusal, *types]), shapes, strict=True))
    for methods in made["paths"].values():
        for said in methods.values():
            call, described = views[said["operationId"]]
            _describe(said, call, described, shape_of)
    _entries_by_themselves(parts)
    made["components"] = {
        "schemas": parts,
        "securitySchemes": {
            "token": {
                "type": "http",
                "scheme": "bearer",
                "description": "A device token, made on the page of devices.",
            },
            "session": {"type": "apiKey", "in": "cookie", "name": settings.SESSION_COOKIE_NAME},
        },
    }
    return made


def _describe(said: dict[str, Any], call: Call, described: Described, shape_of: dict[str, Any]) -> None:
    shape = shape_of.get(repr(described.gives), {})
    content = {k: {"schema": shape if k == "application/json" else {}} for k in described.gives_kinds}
    said["responses"] = {"200": {"description": "Done.", "content": content}}
    refusal = {"application/json": {"schema": shape_of[repr(Refusal)]}}
    for status, why in REFUSALS.items():
        if call.scope != "anyone" or status in OF_ANYONE:
            said["responses"][str(status)] = {"description": why, "content": refusal}
    if described.takes is not None or described.takes_kinds != ("application/json",):
        shape = shape_of.get(repr(described.takes), {"type": "string", "format": "binary"})
        said["requestBody"] = {"required": True, "content": {k: {"schema": shape} for k in described.takes_kinds}}
    for name, why in described.headers.items():
        header = {"name": name, "in": "header", "required": True, "description": why, "schema": {"type": "string"}}
        said.setdefault("parameters", []).append(header)
    if call.scope != "anyone":
        said["security"] = [{"token": []}, {"session": []}]
    if call.roles:
        said["description"] = f"{said.get('description', '')}\n\nFor: {', '.join(call.roles)}.".strip()


def _entries_by_themselves(parts: dict[str, Any]) -> None:
    """An entry that is none is refused by itself, so the sending as a whole may hold anything in its place."""
    entries = parts["Sending"]["properties"]["entries"]
    entries["items"] = {
        "anyOf": [entries["items"], {}],
        "description": "Each as Sent; what is not is answered “refused”.",
    }


def _shape_of_exact(kind: Any) -> dict[str, Any]:
    """Shapes of what JSON has no word for; see `drybank.desk.plainly`."""
    if getattr(kind, "__name__", "") == "ndarray":
        return {"type": "array"}
    return {"type": "string"}
