"""Content streams to operators with their operands, by one pass of two patterns.

Almost all of a page of lines is numbers and an operator: one pattern takes them together. All
else (names, strings, arrays, dictionaries, pictures in the stream) goes token by token.
Operands are floats, `Name`, lists; strings and dictionaries are `STRING` and `DICTIONARY`, since
what they hold draws no line. Whatever is no token at all becomes `JUNK`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from enum import Enum
from typing import Any, Final


class Name(bytes):
    """A name without its slash, its number signs resolved."""

    __slots__ = ()


class Stand(Enum):
    """Stand-ins for operands of which only the kind matters."""

    STRING = "string"
    DICTIONARY = "dictionary"
    JUNK = "junk"


Operator = tuple[bytes, list[Any]]
INLINE_IMAGE: Final = b"BI"
_WHITE: Final = rb"\0\t\n\f\r "
_NUMBERS_AND_OPERATOR: Final = re.compile(
    rb"[\t\n\f\r ]*+((?:[-+]?(?:[0-9]++\.?[0-9]*+|\.[0-9]++)[\t\n\f\r ]++)*+)"
    rb"(?:([A-Za-z][A-Za-z0-9*]*+)(?=[" + _WHITE + rb"\[(<{/%]|\Z))?+"
)
_TOKEN: Final = re.compile(
    rb"(?:[" + _WHITE + rb"]++|%[^\r\n]*+)*+(?:"
    rb"(?P<number>[-+]?(?:[0-9]++\.?[0-9]*+|\.[0-9]++)(?=[" + _WHITE + rb"\[\]()<>{}/%]|\Z))"
    rb"|/(?P<name>[^" + _WHITE + rb"\[\]()<>{}/%]*+)"
    rb"|(?P<open><<|\[)|(?P<close>>>|\])|(?P<hex><[^<>]*+>)|(?P<string>\()"
    rb"|(?P<word>[^" + _WHITE + rb"\[\]()<>{}/%]++)|(?P<junk>[)<>{}])|\Z)"
)
_IN_STRING: Final = re.compile(rb"\\.|[()]", re.DOTALL)
_SIGN: Final = re.compile(rb"#([0-9A-Fa-f]{2})")
_END_OF_IMAGE: Final = re.compile(rb"[" + _WHITE + rb"]EI(?=[" + _WHITE + rb"]|\Z)")
_IS_OPERATOR: Final = re.compile(rb"[A-Za-z'\"][A-Za-z0-9*'\"]*\Z")
_VALUES: Final = (b"true", b"false", b"null")
_LOOK_AHEAD: Final = 24
_TEXT: Final = frozenset(b"\t\n\f\r " + bytes(range(32, 127)))


def operators(data: bytes) -> Iterator[Operator]:
    """Yield each operator of a content stream with its operands.

    A picture in the stream is one operator `INLINE_IMAGE`. Operands without an operator at the
    end of the stream are left out.
    """
    place = 0
    operands: list[Any] = []
    stack: list[tuple[bytes, list[Any]]] = []  # what is open, with the operands around it
    fast, token = _NUMBERS_AND_OPERATOR.match, _TOKEN.match
    while True:
        if not stack:
            found = fast(data, place)
            if found is not None:
                place = found.end(1) if found[2] in _VALUES else found.end()
                operands += map(float, found[1].split())
                if found[2] and found[2] not in _VALUES:
                    if found[2] == INLINE_IMAGE:
                        place = _end_of_image(data, place)
                    yield found[2], operands
                    operands = []
                    continue
        found = token(data, place)
        if found is None or found.lastgroup is None:
            return
        place = found.end()
        kind, word = found.lastgroup, found[found.lastgroup]
        if kind == "string":
            place = _end_of_string(data, place)
        if kind in ("open", "close"):
            operands = _nest(word, operands, stack)
        elif kind == "word" and not stack and _IS_OPERATOR.match(word) and word not in _VALUES:
            if word == INLINE_IMAGE:
                place = _end_of_image(data, place)
            yield word, operands
            operands = []
        else:
            operands.append(_operand(kind, word))


def _operand(kind: str, word: bytes) -> object:
    if kind == "number":
        return float(word)
    if kind == "name":
        return Name(_SIGN.sub(_signed, word) if b"#" in word else word)
    return Stand.STRING if kind in ("hex", "string") else Stand.JUNK


def _signed(found: re.Match[bytes]) -> bytes:
    return bytes((int(found[1], 16),))


def _nest(mark: bytes, operands: list[Any], stack: list[tuple[bytes, list[Any]]]) -> list[Any]:
    """Open or close an array or a dictionary; return the operands to go on with."""
    if mark in (b"<<", b"["):
        stack.append((mark, operands))
        return []
    if not stack:
        operands.append(Stand.JUNK)
        return operands
    opened, outer = stack.pop()
    outer.append(operands if opened == b"[" else Stand.DICTIONARY)
    return outer


def _end_of_string(data: bytes, place: int) -> int:
    depth = 1
    for found in _IN_STRING.finditer(data, place):
        if found[0] == b"(":
            depth += 1
        elif found[0] == b")":
            depth -= 1
            if not depth:
                return found.end()
    return len(data)


def _end_of_image(data: bytes, place: int) -> int:
    """Return where a picture in the stream ends: at an end mark with text after it."""
    begin = data.find(b"ID", place)
    if begin < 0:
        return len(data)
    for found in _END_OF_IMAGE.finditer(data, begin + 2):
        if _TEXT.issuperset(data[found.end() : found.end() + _LOOK_AHEAD]):
            return found.end()
    return len(data)
