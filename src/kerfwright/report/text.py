"""Lines of text that fit a width: broken at spaces, and inside a word that is too long."""

from __future__ import annotations

from kerfwright.report.pen import text_width_mm

LINE_HEIGHT = 1.28
"""Distance of base lines over the size of the letters."""
_MM_PER_PT = 25.4 / 72.0
_NARROWEST = 0.19
"""Width of the narrowest letter, the apostrophe, over the size of the letters."""


def line_mm(size_pt: float) -> float:
    """Return the distance of base lines [mm]."""
    return size_pt * LINE_HEIGHT * _MM_PER_PT


def wrap(
    text: str, width_mm: float, *, size_pt: float, bold: bool = False, most: int = 12
) -> list[str]:
    """Return a text as lines; past the most it ends with how many letters are missing.

    Parameters
    ----------
    text : str
        One line of printable letters.
    width_mm : float
        Greatest width of a line [mm].
    size_pt : float
        Size of the letters [pt].
    bold : bool
        Whether the letters are bold.
    most : int
        Most lines.

    Returns
    -------
    list of str
        At least one line, empty for an empty text.
    """
    lines: list[str] = []
    line, rest = "", text.split(" ")
    while rest:
        word = rest.pop(0)
        longer = f"{line} {word}" if line else word
        if _fits(longer, width_mm, size_pt, bold=bold):
            line = longer
        elif line:
            lines.append(line)
            line = ""
            rest.insert(0, word)
        else:
            head = _fitting(word, width_mm, size_pt, bold=bold)
            lines.append(word[:head])
            rest.insert(0, word[head:])
        if len(lines) > most:  # no page is filled by one text
            break
    lines.append(line)
    return lines if len(lines) <= most else _cut(text, lines[:most], width_mm, size_pt, bold=bold)


def _most_letters(width_mm: float, size_pt: float) -> int:
    """Return how many letters fit at most, so that a huge word is never measured whole."""
    return int(width_mm / (_NARROWEST * size_pt * _MM_PER_PT)) + 1


def _fits(text: str, width_mm: float, size_pt: float, *, bold: bool) -> bool:
    if len(text) > _most_letters(width_mm, size_pt):
        return False
    return text_width_mm(text, size_pt=size_pt, bold=bold) <= width_mm


def _fitting(word: str, width_mm: float, size_pt: float, *, bold: bool) -> int:
    """Return how many letters of a word fit, at least one."""
    low, high = 1, min(len(word), _most_letters(width_mm, size_pt))
    while low < high:
        middle = (low + high + 1) // 2
        fits = _fits(word[:middle], width_mm, size_pt, bold=bold)
        low, high = (middle, high) if fits else (low, middle - 1)
    return low


def _cut(text: str, lines: list[str], width_mm: float, size_pt: float, *, bold: bool) -> list[str]:
    """Return the lines with an end that says how many letters are missing."""
    whole = len(text.replace(" ", ""))
    before = sum(len(line.replace(" ", "")) for line in lines[:-1])
    for end in range(len(lines[-1]), -1, -1):
        kept = lines[-1][:end].rstrip()
        left = whole - before - len(kept.replace(" ", ""))
        line = f"{kept}... (+{left})"
        if text_width_mm(line, size_pt=size_pt, bold=bold) <= width_mm:
            return [*lines[:-1], line]
    return lines  # a column narrower than the remark itself
