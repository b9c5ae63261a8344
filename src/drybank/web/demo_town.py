"""The demo as a second Drybank: a book in a folder that is thrown away, served by a process of its own on a port of its own.

The real book's process only starts it and passes its first link on; it never opens the demo's book.
"""

from __future__ import annotations

import atexit
import shutil
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

import msgspec

from drybank.records.errors import InputError
from drybank.web import site


class DemoState(msgspec.Struct, frozen=True, kw_only=True):
    """Whether the demo is being made, where it is once it is, and what went wrong."""

    is_begun: bool = False
    link: str = ""
    fault: str = ""


class _Running:
    state = DemoState()
    process: subprocess.Popen[str] | None = None
    folder: Path | None = None


_door = threading.Lock()


def state() -> DemoState:
    return _Running.state


def begin() -> None:
    """Start making it, once; it is there when `state` has its link."""
    if not site.standing.is_local or site.standing.is_demo:
        raise InputError(
            "The demo runs only where Drybank is open on this computer.", mend="Start it there: drybank demo."
        )
    with _door:
        alive = _Running.process is not None and _Running.process.poll() is None
        if alive or (_Running.state.is_begun and not _Running.state.fault and _Running.process is None):
            return
        _Running.state = DemoState(is_begun=True)
        threading.Thread(target=_run, daemon=True).start()


def _run() -> None:
    folder = Path(tempfile.mkdtemp(prefix="drybank-demo-"))
    _Running.folder = folder
    atexit.register(end)
    words = [
        sys.executable,
        "-m",
        "drybank.web",
        "--demo",
        "--no-browser",
        "--port",
        "0",
        "--book",
        str(folder / "quillmere.book"),
    ]
    try:
        process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    except OSError as bad:
        _Running.state = DemoState(is_begun=True, fault=f"The demo could not be started: {bad.strerror}.")
        return
    _Running.process = process
    assert process.stdout is not None
    for line in process.stdout:
        if line.strip().startswith("http"):
            _Running.state = DemoState(is_begun=True, link=line.strip())
    _Running.state = (
        DemoState() if _Running.state.link else DemoState(is_begun=True, fault="The demo stopped before it was ready.")
    )


def end() -> None:
    """Stop it and throw its folder away."""
    if _Running.process is not None and _Running.process.poll() is None:
        _Running.process.terminate()
        _Running.process.wait(10)
    if _Running.folder is not None:
        shutil.rmtree(_Running.folder, ignore_errors=True)
