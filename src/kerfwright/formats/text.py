"""Words of a file or a parser, made fit to be printed and stored."""

from __future__ import annotations

from typing import Final

_MOST: Final = 300


def printable(text: str) -> str:
    """Return text on one line, with "?" for what cannot be printed."""
    return "".join(c if c.isprintable() else "?" for c in " ".join(text.split()))


def name_of(text: str) -> str:
    """Return a name unchanged but for characters that cannot be printed or stored."""
    return "".join(c if c.isprintable() else "?" for c in text)


def one_line(error: BaseException) -> str:
    """Return type and message of an exception on one printable line."""
    return f"{type(error).__name__}: {printable(str(error))[:_MOST]}"
