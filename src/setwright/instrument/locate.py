"""Lines of a TOML file: on which line every key stands. The text is valid TOML already (tomllib has read it)."""

from __future__ import annotations

import re
from dataclasses import dataclass

Path = tuple[str | int, ...]
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}\s#][^,\]}\n#]*")
_RUN = re.compile(r"[^\"'\\]+")  # of a quoted string: nothing that could end or escape
_QUOTES = ('"""', "'''", '"', "'")
_ESCAPE = re.compile(r'\\(?:u[0-9A-Fa-f]{4}|U[0-9A-Fa-f]{8}|["\\bfnrt])')
_PLAIN = {"b": "\b", "f": "\f", "n": "\n", "r": "\r", "t": "\t", '"': '"', "\\": "\\"}


@dataclass
class _Scanner:
    """Where the scan stands (kept while one file is scanned, then dropped)."""

    text: str
    at: int = 0
    line: int = 1

    def step(self, count: int) -> str:
        """Pass over `count` characters and return them."""
        passed = self.text[self.at : self.at + count]
        self.at += count
        self.line += passed.count("\n")
        return passed

    def blank(self) -> None:
        """Pass over space, line ends and comments."""
        while self.at < len(self.text):
            here = self.text[self.at]
            if here == "#":
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            elif here in " \t\r\n":
                self.step(1)
            else:
                return

    def sees(self, what: str) -> bool:
        """Whether `what` comes next."""
        return self.text.startswith(what, self.at)

    def string(self) -> str:
        """Pass over a quoted string and return it, escapes resolved."""
        quote = next(q for q in _QUOTES if self.sees(q))
        self.step(len(quote))
        start = self.at
        while self.at < len(self.text) and not self.sees(quote):
            run = _RUN.match(self.text, self.at)
            self.step(len(run.group()) if run else 2 if quote[0] == '"' and self.sees("\\") else 1)
        inside = self.text[start : self.at]
        self.step(len(quote))
        while len(quote) == 3 and self.sees(quote[0]):  # up to two quotes may touch the closing three
            self.step(1)
        return _ESCAPE.sub(_unescape, inside) if quote[0] == '"' else inside

    def key(self) -> Path:
        """Pass over a key, dotted or not."""
        parts: list[str | int] = []
        while True:
            self.blank()
            if self.sees('"') or self.sees("'"):
                parts.append(self.string())
            else:
                found = _BARE.match(self.text, self.at)
                parts.append(self.step(len(found.group()) if found else 1))
            self.blank()
            if not self.sees("."):
                return tuple(parts)
            self.step(1)


def _unescape(found: re.Match[str]) -> str:
    code = found.group()[1:]
    return _PLAIN[code] if code in _PLAIN else chr(int(code[1:], 16))


def _value(scan: _Scanner, path: Path, lines: dict[Path, int]) -> None:
    """Pass over a value, noting the lines of what lies in it."""
    lines.setdefault(path, scan.line)
    if scan.sees('"') or scan.sees("'"):
        scan.string()
    elif scan.sees("[") or scan.sees("{"):
        closing = "]" if scan.step(1) == "[" else "}"
        count = 0
        scan.blank()
        while scan.at < len(scan.text) and not scan.sees(closing):
            if closing == "]":
                _value(scan, (*path, count), lines)
            else:
                _pair(scan, path, lines)
            count += 1
            scan.blank()
            if scan.sees(","):
                scan.step(1)
            scan.blank()
        scan.step(1)
    else:
        found = _SCALAR.match(scan.text, scan.at)
        scan.step(len(found.group()) if found else 1)


def _pair(scan: _Scanner, path: Path, lines: dict[Path, int]) -> None:
    """Pass over key = value."""
    line = scan.line
    whole = path
    for part in scan.key():
        whole = (*whole, part)
        lines.setdefault(whole, line)
    scan.step(1)  # =
    scan.blank()
    _value(scan, whole, lines)


def key_lines(text: str) -> dict[Path, int]:
    """Line of every key, table and list element of a TOML text.

    Args:
        text: valid TOML.
    Returns: path, such as ("found", "shims", 0, "thickness"), -> line, counted from 1; () -> 1.
    """
    scan = _Scanner(text)
    lines: dict[Path, int] = {(): 1}
    counts: dict[Path, int] = {}
    table: Path = ()
    scan.blank()
    while scan.at < len(text):
        if not scan.sees("["):
            _pair(scan, table, lines)
        else:
            line = scan.line
            many = scan.sees("[[")
            scan.step(2 if many else 1)
            table = _open(scan.key(), many, counts, lines, line)
            scan.step(2 if many else 1)
        scan.blank()
    return lines


def _open(key: Path, many: bool, counts: dict[Path, int], lines: dict[Path, int], line: int) -> Path:
    """Path of a table just opened: elements of arrays of tables on the way are the latest ones."""
    path: Path = ()
    for i, part in enumerate(key):
        path = (*path, part)
        lines.setdefault(path, line)
        if many and i == len(key) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
            lines.setdefault(path, line)
    return path


def line_of(lines: dict[Path, int], path: Path) -> int:
    """Line of a path, or of the nearest table around it.

    Args:
        lines: from `key_lines`.
        path: what is looked for.
    Returns: the line, counted from 1.
    """
    while path not in lines:
        path = path[:-1]
    return lines[path]
