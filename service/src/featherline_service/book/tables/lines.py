"""The line of each key of a TOML file."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

_BLANK: Final = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_KEY: Final = re.compile(r"\"(?:[^\"\\]|\\.)*\"|'[^']*'|[A-Za-z0-9_-]+")
_STRING: Final = re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'', re.DOTALL)
_BARE: Final = re.compile(r"[^,\]}#\n]*")


def key_lines(text: str) -> Mapping[str, int]:
    """Return the line of each key of a TOML text that can be parsed, from 1: of ``record[0].layers[1].name``, say.

    References:
        TOML v1.0.0 (toml.io, 2021).
    """
    return _Scanner(text).lines


class _Scanner:
    def __init__(self, text: str) -> None:
        self.lines: dict[str, int] = {}
        self._text = text
        self._at = 0
        self._rows: dict[str, int] = {}
        table = ""
        while self._skip() < len(text):
            if text[self._at] == "[":
                table = self._header()
            else:
                self._pair(table)

    def _skip(self) -> int:
        blank = _BLANK.match(self._text, self._at)
        self._at = blank.end() if blank else self._at
        return self._at

    def _mark(self, path: str) -> None:
        self.lines.setdefault(path, self._text.count("\n", 0, self._at) + 1)

    def _names(self) -> list[str]:
        names = []
        while key := _KEY.match(self._text, self._skip()):
            names.append(key[0].strip("\"'"))
            self._at = key.end()
            if self._text[self._skip()] != ".":
                break
            self._at += 1
        return names

    def _header(self) -> str:
        is_row = self._text.startswith("[[", self._at)
        brackets = 1 + is_row
        start, self._at = self._at, self._at + brackets
        *above, name = self._names()
        path = ""
        for part in above:
            path = _below(path, part)
            path = f"{path}[{self._rows[path]}]" if path in self._rows else path
        path = _below(path, name)
        end, self._at = self._at + brackets, start
        if is_row:
            self._rows[path] = self._rows.get(path, -1) + 1
            path = f"{path}[{self._rows[path]}]"
        self._mark(path)
        self._at = end
        return path

    def _pair(self, table: str) -> None:
        start = self._at
        path = table
        for name in self._names():
            path = _below(path, name)
        end, self._at = self._at + 1, start
        self._mark(path)
        self._at = end
        self._skip()
        self._value(path)

    def _value(self, path: str) -> None:
        opening = self._text[self._at]
        if opening not in "[{":
            value = (_STRING if opening in "\"'" else _BARE).match(self._text, self._at)
            self._at = value.end() if value else len(self._text)
            return
        self._at += 1
        row = 0
        while self._text[self._skip()] not in "]}":
            if opening == "{":
                self._pair(path)
            else:
                self._mark(f"{path}[{row}]")
                self._value(f"{path}[{row}]")
                row += 1
            if self._text[self._skip()] == ",":
                self._at += 1
        self._at += 1


def _below(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name
