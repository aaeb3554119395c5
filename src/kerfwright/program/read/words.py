"""Words of a line: a letter and a number each."""

from __future__ import annotations

import re

from kerfwright.program.read.refuse import refusal, shown

_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_WORDS = re.compile(rf"([A-Z])({_NUMBER})")
_LINE = re.compile(rf"(?:[A-Z]{_NUMBER})*")
_LETTERS = re.compile(r"([A-Z])")
_PLAIN_LETTERS = frozenset("GXYZCIJF")
_LINE_NUMBER = re.compile(r"N([0-9]{1,5})(?![0-9.])")

_LENGTH, _OTHER = 1e5, 1e9
_LIMITS = dict.fromkeys("ABCDFHKLPQST", _OTHER) | dict.fromkeys("XYZIJR", _LENGTH)
_LIMITS |= {"G": _LENGTH, "M": _LENGTH}
"""Greatest number after each letter: 100 m for lengths, else far above any machine."""

Words = dict[str, float]


def split_words(code: str, line: int) -> tuple[list[float], list[float], Words]:
    """Return the numbers of the G words, of the M words, and the other words by letter.

    Parameters
    ----------
    code : str
        The line in upper case, without blanks and comments.
    line : int
        Its number.
    """
    quick = _plain_words(code)
    return careful_words(code, line) if quick is None else quick


def _plain_words(code: str) -> tuple[list[float], list[float], Words] | None:
    """Return the words of a line that needs no second look, None for any other.

    `float` takes all numbers of the grammar and little else; what else it takes (underscores,
    control characters and other digits around) is excluded here. Letters split a line, so that
    exponents never reach it.
    """
    parts = _LETTERS.split(code)
    letters = parts[1::2]
    try:
        values = [float(number) for number in parts[2::2]]
    except ValueError:
        return None
    words = dict(zip(letters, values, strict=True))
    if len(words) != len(letters) or parts[0] or not words.keys() <= _PLAIN_LETTERS:
        return None
    if not code.isascii() or not code.isprintable() or "_" in code:
        return None
    if max(values) > _LENGTH or min(values) < -_LENGTH:
        return None
    g = words.pop("G", None)
    return ([] if g is None else [g]), [], words


def careful_words(code: str, line: int) -> tuple[list[float], list[float], Words]:
    """Return what `split_words` returns, by the grammar, or say what is wrong."""
    if code[0] == "N":
        numbered = _LINE_NUMBER.match(code)
        if numbered is None:
            raise refusal("PRG-113", line, text=shown(code))
        code = code[numbered.end() :]
    if _LINE.fullmatch(code) is None:
        raise _misfit(code, line)
    many: dict[str, list[float]] = {"G": [], "M": []}
    words: Words = {}
    for letter, number in _WORDS.findall(code):
        if letter not in _LIMITS:
            raise refusal("PRG-114" if letter == "N" else "PRG-117", line, letter=letter)
        value, limit = float(number), _LIMITS[letter]
        if not -limit <= value <= limit:
            raise refusal("PRG-121", line, letter=letter, text=shown(number), limit=limit)
        if letter in words:
            raise refusal("PRG-120", line, letter=letter)
        if letter in many:
            many[letter].append(value)
        else:
            words[letter] = value
    return many["G"], many["M"], words


_SIGNS = {"/": "PRG-109", "#": "PRG-118", "[": "PRG-119", "]": "PRG-119", ";": "PRG-122"}


def _misfit(code: str, line: int) -> Exception:
    """Say what the first misfit of a line is."""
    good = re.match(rf"(?:[A-Z]{_NUMBER})*", code)
    rest = code[good.end() :] if good else code
    head = rest[0]
    at = rest[1:2] if head.isascii() and head.isalpha() else head
    if at in _SIGNS:
        return refusal(_SIGNS[at], line, text=shown(rest))
    if head == "%" or at == "%":
        return refusal("PRG-106", line)
    if head.isascii() and head.isalpha():
        return _bad_word(rest, line)
    if head in "0123456789.+-":
        return refusal("PRG-116", line, text=shown(rest))
    return refusal("PRG-103", line, character=shown(head))


def _bad_word(rest: str, line: int) -> Exception:
    at = rest[1:2]
    if at and not (at.isascii() and (at.isalnum() or at in "+-.")):
        return refusal("PRG-103", line, character=shown(at))
    if rest[0] not in _LIMITS and rest[0] != "N":
        return refusal("PRG-117", line, letter=rest[0])
    return refusal("PRG-115", line, text=shown(rest))
