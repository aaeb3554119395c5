"""Lines: limits of the control, percent signs, comments, blanks."""

from __future__ import annotations

import re
from collections.abc import Iterator

from kerfwright.model.dialect import Dialect
from kerfwright.program.read.refuse import refusal, shown

LONGEST_LINE = 256
"""Characters of a line, NISTIR 6556 section 3.3."""

_PRINTABLE = re.compile(r"[\t\x20-\x7e]*")


def is_marked(text: str) -> bool:
    """Return whether the first line that is not blank begins with a percent sign."""
    return text.lstrip(" \t\r\n").startswith("%")


def useful_lines(text: str, dialect: Dialect) -> Iterator[tuple[int, str]]:
    """Yield number and code of every line that holds code, up to the closing percent sign.

    Code is upper case, without comments and blanks. A line ends with carriage return, line feed
    or both.
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    codes = _codes(lines)
    first, last = _ends(codes)
    longest = min(dialect.max_line_chars, LONGEST_LINE)
    is_marked_here = codes[first] == "%"
    for index in range(first + is_marked_here, last + 1):
        code, raw = codes[index], lines[index]
        if index >= dialect.max_lines:
            raise refusal("PRG-102", index + 1, limit=dialect.max_lines)
        if len(raw) > longest:
            raise refusal("PRG-101", index + 1, measured=len(raw), limit=longest)
        if "(" in code or ")" in code:
            code = _codes([_without_comments(raw, index + 1)])[0]
        if code == "%" and is_marked_here:
            return
        if code:
            yield index + 1, code
    if is_marked_here:
        raise refusal("PRG-105", last + 1)


def _codes(lines: list[str]) -> list[str]:
    """Return lines without blanks and with a to z in upper case, whatever else they hold."""
    raw = "\n".join(lines).encode("utf-8", "surrogatepass")
    return raw.upper().translate(None, b" \t").decode("utf-8", "surrogatepass").split("\n")


def _ends(codes: list[str]) -> tuple[int, int]:
    filled = [index for index, code in enumerate(codes) if code]
    if not filled:
        raise refusal("PRG-104", 1)
    return filled[0], filled[-1]


def _without_comments(raw: str, line: int) -> str:
    parts, rest = [], raw
    while "(" in rest:
        before, _, rest = rest.partition("(")
        comment, closed, rest = rest.partition(")")
        _check_comment(comment, line, is_closed=bool(closed))
        _refuse_closing(before, line)
        parts.append(before)
    _refuse_closing(rest, line)
    return "".join((*parts, rest))


def _check_comment(comment: str, line: int, *, is_closed: bool) -> None:
    if "(" in comment:
        raise refusal("PRG-111", line)
    if not is_closed:
        raise refusal("PRG-110", line)
    strange = _PRINTABLE.sub("", comment)
    if strange:
        raise refusal("PRG-103", line, character=shown(strange[0]))


def _refuse_closing(part: str, line: int) -> None:
    if ")" in part:
        raise refusal("PRG-112", line)
