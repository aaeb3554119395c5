"""Which letters the pages can show, and what is said of the others.

The pages use the standard fonts every PDF reader has, with the letters of Windows code page
1252. Any other letter is shown by a near one or by ``?``, and the page says so; nothing is
dropped in silence. Line ends and tabs become spaces.
"""

from __future__ import annotations

import unicodedata

UNKNOWN = "?"
_NEAR = {
    "\u2212": "-",
    "\u2010": "-",
    "\u2011": "-",
    "\u2264": "<=",
    "\u2265": ">=",
    "\u2248": "~",
    "\u2192": "->",
    "\u2190": "<-",
    "\u2032": "'",
    "\u2033": '"',
    "\u2300": "\u00f8",
    "\u03bc": "\u00b5",
}
_MOST_NAMED = 12


class Letters:
    """Makes texts printable and remembers every letter it had to replace."""

    def __init__(self) -> None:
        self._replaced: dict[str, str] = {}

    def clean(self, text: str) -> str:
        """Return a text of letters the fonts have, on one line, without spaces at its ends."""
        if text.isascii() and text.isprintable():
            return " ".join(text.split())
        return " ".join("".join(map(self._letter, text)).split())

    def _letter(self, letter: str) -> str:
        if letter.isspace():
            return " "
        if letter.isascii() and letter.isprintable():
            return letter
        if _is_shown(letter):
            return letter
        near = _NEAR.get(letter) or _plain(letter) or UNKNOWN
        self._replaced[letter] = near
        return near

    def sentence(self) -> str:
        """Return what was replaced by what, empty where nothing was."""
        named = [
            f"U+{ord(letter):04X} {_name(letter)} as {near}"
            for letter, near in sorted(self._replaced.items())
        ]
        if not named:
            return ""
        more = len(named) - _MOST_NAMED
        rest = f"; and {more} more" if more > 0 else ""
        return f"Letters these pages cannot show: {'; '.join(named[:_MOST_NAMED])}{rest}."


def _is_shown(letter: str) -> bool:
    if unicodedata.category(letter) in {"Cc", "Cf", "Cs", "Co", "Cn"}:
        return False
    try:
        letter.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return True


def _plain(letter: str) -> str:
    """Return the letter without accents, or its usual parts, where the fonts have those."""
    parts = unicodedata.normalize("NFKD", letter)
    kept = "".join(p for p in parts if not unicodedata.combining(p))
    return kept if kept and kept != letter and all(map(_is_shown, kept)) else ""


def _name(letter: str) -> str:
    return unicodedata.name(letter, "without a name").lower()
