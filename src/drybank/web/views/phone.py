"""The phone page: its shell, its words in both languages, its files under one mark, its worker and manifest.

Nothing here is anybody's: the shell is the same for everyone, so that it may lie on a phone. Who is there, what may be
done and the round itself come from the programming interface, to whoever is logged in.
"""

from __future__ import annotations

import hashlib
import json
import mimetypes
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation.trans_real import DjangoTranslation

from drybank.web.templatetags.drybank import FOLDERS, asset

if TYPE_CHECKING:
    from drybank.web.guard import Seat

STATIC = Path(__file__).parent.parent / "static"
OURS = STATIC / "phone"
FONTS = ("AtkinsonHyperlegibleNext-400.ttf", "AtkinsonHyperlegibleNext-700.ttf")
WORKER = "worker.js"
TYPES = {".js": "text/javascript", ".css": "text/css", ".json": "application/json"}


@cache
def words() -> bytes:
    """Every phrase of the phone's catalogue in each language but English, which the phrases are in themselves."""
    table = {}
    for code, _name in settings.LANGUAGES:
        if code == "en":
            continue
        found = DjangoTranslation(code, domain="djangojs", localedirs=[str(p) for p in settings.LOCALE_PATHS])
        table[code] = {said: turned for said, turned in found._catalog.items() if isinstance(said, str) and said}  # type: ignore[attr-defined]
    return json.dumps(table, ensure_ascii=False, sort_keys=True).encode()


def _files() -> dict[str, bytes]:
    """Every file of the phone page by its name, the words among them; the worker stands apart."""
    found = {p.relative_to(OURS).as_posix(): p for p in sorted(OURS.rglob("*")) if p.is_file()}
    out = {name: p.read_bytes() for name, p in found.items() if name != WORKER and not name.endswith(".txt")}
    return out | {"words.json": words()}


@cache
def standing() -> tuple[str, dict[str, bytes], str]:
    """Mark, files and shell, as they are while this process runs. The mark changes with any byte of any of them."""
    files = _files()
    digest = hashlib.sha256()
    for name, content in sorted(files.items()):
        digest.update(name.encode() + b"\0" + hashlib.sha256(content).digest())
    for name in (
        asset("look.css"),
        (OURS / WORKER).read_text(),
        (STATIC.parent / "templates/web/phone.html").read_text(),
    ):
        digest.update(name.encode())
    mark = digest.hexdigest()[:12]
    with translation.override("en"):
        shell = render_to_string("web/phone.html", {"mark": mark, "files": f"/phone/files/{mark}/"})
    return mark, files, shell


def _answer(content: str | bytes, kind: str, *, keeps: bool = False) -> HttpResponse:
    response = HttpResponse(content, content_type=kind)
    response["Cache-Control"] = "public, max-age=31536000, immutable" if keeps else "no-cache"
    return response


def shell(request: HttpRequest, seat: Seat) -> HttpResponse:
    return _answer(standing()[2], "text/html; charset=utf-8")


def file(request: HttpRequest, seat: Seat, mark: str, name: str) -> HttpResponse:
    """A file of the page under the mark of its version; one of another version is not there."""
    now, files, _shell = standing()
    if mark != now or name not in files:
        raise Http404
    suffix = Path(name).suffix
    return _answer(files[name], TYPES.get(suffix) or mimetypes.guess_type(name)[0] or "text/plain", keeps=True)


@cache
def _worker() -> str:
    """The worker's text behind its mark and the list of what it keeps, each with its hash."""
    mark, files, page = standing()
    kept = {f"/phone/files/{mark}/{name}": content for name, content in files.items()}
    kept |= {"/phone/": page.encode(), asset("look.css"): (STATIC / "look.css").read_bytes()}
    kept |= {f"/static/fonts/{name}": (FOLDERS["fonts"] / name).read_bytes() for name in FONTS}
    kept |= {"/phone/manifest.json": _manifest()}
    listed = [[path, hashlib.sha256(content).hexdigest()] for path, content in sorted(kept.items())]
    return f"const MARK = {json.dumps(mark)};\nconst FILES = {json.dumps(listed)};\n{(OURS / WORKER).read_text()}"


def worker(request: HttpRequest, seat: Seat) -> HttpResponse:
    return _answer(_worker(), "text/javascript; charset=utf-8")


@cache
def _manifest() -> bytes:
    mark = standing()[0]
    icons = [
        {"src": f"/phone/files/{mark}/icons/{name}.png", "sizes": size, "type": "image/png", "purpose": purpose}
        for name, size, purpose in (
            ("icon-192", "192x192", "any"), ("icon-512", "512x512", "any"), ("mask-512", "512x512", "maskable"),
        )
    ]  # fmt: skip
    said = {
        "id": "/phone/", "name": "Drybank", "short_name": "Drybank", "start_url": "/phone/", "scope": "/", "display": "standalone",
        "background_color": "#FBFAF7", "theme_color": "#1F5D6B", "icons": icons,
    }  # fmt: skip
    return json.dumps(said).encode()


def manifest(request: HttpRequest, seat: Seat) -> HttpResponse:
    return _answer(_manifest(), "application/manifest+json")
