"""TOML text in: syntax, and where each key stands, so that every mistake can name its line.

`tomllib` judges the syntax. A scanner of our own walks the same text once, keeps the line of every key and list item,
and refuses nesting and dotted names so deep that no hand wrote them (they would make the parser crawl).
"""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal, InvalidOperation

import msgspec

from drybank.records.errors import InputError, InputErrors

SIZE_LIMIT = 2_000_000
VALUES_AT_MOST = 30_000
DEEPEST = 12
LONGEST_LINE = 2_000
LINE_AT_MOST = 20_000
"""Characters of any line: the parser keeps a note for each character of a long text or figure."""
Path = tuple[str | int, ...]


class Located(msgspec.Struct, frozen=True):
    """A file's content as plain values, and the line of each path into it (from 1)."""

    name: str
    content: dict[str, object]
    lines: dict[Path, int]

    def line(self, path: Path) -> int:
        """Line of a path; of its nearest parent where the path itself was not written."""
        while path:
            if path in self.lines:
                return self.lines[path]
            path = path[:-1]
        return 1


class _TooMuch(Exception):
    """The text is deeper or longer than any store needs, on this line."""

    def __init__(self, line: int, what: str, allowed: str) -> None:
        self.line, self.what, self.allowed = line, what, allowed


def _too_deep(line: int) -> _TooMuch:
    return _TooMuch(line, "Tables, lists or names are nested deeper than any store needs.", f"{DEEPEST} levels")


def shown(value: object, width: int = 60) -> str:
    """A value as it may stand in a sentence: one line, no control characters, not endless."""
    if isinstance(value, str):
        text = value[: width + 1]
    elif isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, dict):
        return "a table"
    elif isinstance(value, list):
        return "a list"
    elif isinstance(value, int) and value.bit_length() > 200:
        return "a number of over 60 digits"
    else:
        text = str(value)[: width + 1]
    clean = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
    return clean if len(clean) <= width else clean[: width - 1] + "…"


def decoded(data: bytes | str, name: str) -> str:
    """File bytes as text: UTF-8 only, no NUL, not over the size limit."""
    if len(data) > SIZE_LIMIT:
        raise InputError(f"The file has {len(data):,} bytes.", where=name, allowed=f"up to {SIZE_LIMIT:,}")
    text = data if isinstance(data, str) else ""
    if isinstance(data, bytes):
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError as bad:
            line = data.count(b"\n", 0, bad.start) + 1
            raise InputError(
                "The file is not UTF-8 text.", where=f"{name}:{line}",
                mend="Save it as UTF-8 in your editor. A spreadsheet or picture is no store file.",
            ) from bad  # fmt: skip
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise InputError("There is a NUL byte: this is not a text file.", where=f"{name}:{line}",
                         mend="Save it as UTF-8 text.")  # fmt: skip
    return text.removeprefix("\ufeff")


def located(data: bytes | str, name: str) -> Located:
    """The content of a TOML file with the line of every key.

    Raises `InputErrors` with one plain sentence where the text is not TOML.
    """
    text = decoded(data, name).replace("\r\n", "\n")
    try:
        _no_line_beyond(text)
        lines, is_whole = _Scan(text).run()
        if not is_whole:
            _no_endless_lines(text)
        content = tomllib.loads(text, parse_float=_decimal)
    except _TooMuch as much:
        raise InputErrors([InputError(much.what, where=f"{name}:{much.line}", allowed=much.allowed)]) from None
    except RecursionError:
        raise InputErrors([InputError("Lists are nested deeper than any store needs.", where=name,
                                      allowed=f"{DEEPEST} levels")]) from None  # fmt: skip
    except tomllib.TOMLDecodeError as bad:
        raise InputErrors([_syntax(bad, name, text)]) from None
    except ValueError as bad:
        raise InputErrors([InputError("A number or a date in the file cannot be read: it is too long, or no such day.",
                                      where=name, mend=f"The parser said: {shown(str(bad), 90)}.")]) from None  # fmt: skip
    return Located(name, content, lines)


def _decimal(text: str) -> Decimal:
    try:
        return Decimal(text.replace("_", ""))
    except InvalidOperation:
        raise ValueError(f"number {shown(text, 20)}") from None


def _no_line_beyond(text: str) -> None:
    """Looked for without cutting the text apart."""
    start, number = 0, 1
    while start <= len(text):
        end = text.find("\n", start)
        if (end if end >= 0 else len(text)) - start > LINE_AT_MOST:
            raise _TooMuch(number, "This line is longer than any store needs.", f"up to {LINE_AT_MOST:,} characters")
        if end < 0:
            return
        start, number = end + 1, number + 1


def _no_endless_lines(text: str) -> None:
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LONGEST_LINE:
            raise _too_deep(number)


_AT = re.compile(r"(.*?) \(at (?:line (\d+), column (\d+)|end of document)\)", re.DOTALL)
_MENDS = (
    ("overwrite", "The name is given twice in the same table.", "Keep one of the two lines."),
    ("declare", "The table is given twice.", "Join the two, or write [[name]] for a list of them."),
    ("Unescaped '\\'", "A backslash stands alone in a text.", "Write \\\\ for one, or use single quotes."),
    ("Illegal character", "A character that may not stand here: often a missing quotation mark at the end of a text.",
     "Texts stand between two \" on one line."),
    ("Expected '='", "A name without “=” after it.", "Write name = value."),
    ("Invalid initial character for a key", "A line that does not begin with a name.", "Write name = value."),
    ("Invalid value", "A value that cannot be read.",
     "Put texts in quotation marks, such as \"6 min\"; numbers take no unit and no comma."),
    ("Expected newline", "Something stands after the value.", "Put texts in quotation marks; one value a line."),
    ("Unclosed array", "A list is not closed.", "Put ] after its last item."),
    ("Unterminated string", "A text is not closed.", "Put \" at its end."),
)  # fmt: skip


def _syntax(bad: tomllib.TOMLDecodeError, name: str, text: str) -> InputError:
    found = _AT.match(str(bad))
    said, line = (found[1], found[2]) if found else (str(bad), None)
    at = int(line) if line else text.count("\n") + 1
    for start, what, mend in _MENDS:
        if start.lower() in said.lower():
            return InputError(what, where=f"{name}:{at}", mend=mend)
    return InputError(f"This line cannot be read ({shown(said)}).", where=f"{name}:{at}",
                      mend="See the examples in docs/reference.")  # fmt: skip


_BLANK = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_TEXTS = re.compile(
    r'"""(?:[^"\\]++|\\.|"(?!""))*+"{3,5}|\'\'\'(?:[^\']++|\'(?!\'\'))*+\'{3,5}|"(?:[^"\\\n]++|\\[^\n])*+"|\'[^\'\n]*+\'',
    re.DOTALL,
)
_PLAIN = re.compile(r"[^\s,\]}#]+(?: \d[^\s,\]}#]*)?")


class _Halt(Exception):
    pass


class _Scan:
    """One pass over the text. Stops quietly where the text is not TOML: tomllib will say what is wrong there."""

    def __init__(self, text: str) -> None:
        self.text, self.at, self.lines = text, 0, {}  # type: str, int, dict[Path, int]
        self.count: dict[Path, int] = {}
        self._line, self._line_at = 1, 0

    def run(self) -> tuple[dict[Path, int], bool]:
        table: Path = ()
        try:
            while True:
                self.skip(_BLANK)
                if self.at >= len(self.text):
                    return self.lines, True
                if self.text[self.at] == "[":
                    table = self.header()
                else:
                    self.pair(table)
        except _Halt:
            return self.lines, False

    def line(self) -> int:
        self._line += self.text.count("\n", self._line_at, self.at)
        self._line_at = self.at
        return self._line

    def skip(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.at)
        if found is None:
            raise _Halt
        self.at = found.end()
        return found[0]

    def expect(self, mark: str) -> None:
        if not self.text.startswith(mark, self.at):
            raise _Halt
        self.at += len(mark)

    def key(self) -> tuple[str, ...]:
        parts: list[str] = []
        while True:
            self.skip(_SPACE)
            is_quoted = self.text[self.at : self.at + 1] in ('"', "'")
            word = self.skip(_TEXTS if is_quoted else _BARE)
            parts.append(_unquoted(word) if is_quoted else word)
            if len(parts) > DEEPEST:
                raise _too_deep(self.line())
            self.skip(_SPACE)
            if self.text[self.at : self.at + 1] != ".":
                return tuple(parts)
            self.at += 1

    def header(self) -> Path:
        is_list = self.text.startswith("[[", self.at)
        line = self.line()
        self.at += 2 if is_list else 1
        path: Path = ()
        parts = self.key()
        for part in parts[:-1]:
            path = self._into((*path, part))
        self.expect("]]" if is_list else "]")
        path = (*path, parts[-1])
        if is_list:
            self.count[path] = self.count.get(path, -1) + 1
            self.keep(path, line)
            path = (*path, self.count[path])
        self.keep(path, line)
        return path

    def keep(self, path: Path, line: int) -> None:
        self.lines.setdefault(path, line)
        if len(self.lines) > VALUES_AT_MOST:
            raise _TooMuch(
                line, "The file holds more keys and values than any store needs.", f"up to {VALUES_AT_MOST:,}"
            )

    def _into(self, path: Path) -> Path:
        return (*path, self.count[path]) if path in self.count else path

    def pair(self, table: Path, depth: int = 0) -> None:
        line = self.line()
        path = (*table, *self.key())
        if len(path) > 3 * DEEPEST:
            raise _too_deep(line)
        self.expect("=")
        self.keep(path, line)
        self.skip(_SPACE)
        self.value(path, depth)

    def value(self, path: Path, depth: int) -> None:
        if depth > DEEPEST:
            raise _too_deep(self.line())
        first = self.text[self.at : self.at + 1]
        if first == "[":
            self.items(path, depth)
        elif first == "{":
            self.table(path, depth)
        elif first in ('"', "'"):
            self.skip(_TEXTS)
        else:
            self.skip(_PLAIN)

    def items(self, path: Path, depth: int) -> None:
        self.at += 1
        index = 0
        while True:
            self.skip(_BLANK)
            if self.text[self.at : self.at + 1] == "]":
                self.at += 1
                return
            self.keep((*path, index), self.line())
            self.value((*path, index), depth + 1)
            index += 1
            self.skip(_BLANK)
            if self.text[self.at : self.at + 1] == ",":
                self.at += 1
            elif self.text[self.at : self.at + 1] != "]":
                raise _Halt

    def table(self, path: Path, depth: int) -> None:
        self.at += 1
        self.skip(_SPACE)
        if self.text[self.at : self.at + 1] == "}":
            self.at += 1
            return
        while True:
            self.pair(path, depth + 1)
            self.skip(_SPACE)
            if self.text[self.at : self.at + 1] == "}":
                self.at += 1
                return
            self.expect(",")


def _unquoted(word: str) -> str:
    try:
        return str(next(iter(tomllib.loads(word + "=1"))))
    except (tomllib.TOMLDecodeError, ValueError):
        return word
