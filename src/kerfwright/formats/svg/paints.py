"""Colours and paint servers: what fills or strokes a shape (SVG 2, 13.2; CSS Color level 4)."""

from __future__ import annotations

import re
from colorsys import hls_to_rgb
from dataclasses import dataclass, replace
from typing import Any, Final

import tinycss2  # type: ignore[import-untyped]
from tinycss2 import color4

_URL: Final = re.compile(
    r"""\s*url\(\s*(?:"([^"]*)"|'([^']*)'|([^)"'\s]*))\s*\)\s*(.*)""", re.DOTALL
)
_INK: Final = re.compile(r"\s(icc-color|icc-named-color|device-\w+)\s*\(([^()]*)\)\s*$")
_NAMED_INK: Final = "icc-named-color"
# Colours of CSS whose look no plain screen colour tells; they paint all the same.
_OTHER_SPACES: Final = re.compile(r"(?:ok)?l(?:ab|ch)\(.*\)|(?:device-cmyk|color)\(.*\)", re.DOTALL)


class PaintError(ValueError):
    """A paint that cannot be read; its text is the argument."""


@dataclass(frozen=True, slots=True)
class Paint:
    """What an area or a stroke is painted with.

    Parameters
    ----------
    colour : str
        ``#rrggbb``; empty where there is none or no one can tell it.
    alpha : float
        From 0, not seen, to 1.
    is_none : bool
        Whether nothing is painted, unless by the paint server.
    is_current : bool
        Whether it is the current colour.
    server : str or None
        Reference of a paint server; the rest is its fallback.
    is_stated : bool
        Whether a paint server has a fallback at all.
    ink : str
        Name of an ink; empty when it has none.
    """

    colour: str = ""
    alpha: float = 1.0
    is_none: bool = False
    is_current: bool = False
    server: str | None = None
    is_stated: bool = True
    ink: str = ""


NOTHING: Final = Paint(is_none=True)
BLACK: Final = Paint("#000000")


def colour_of(text: str) -> tuple[str, float] | None:
    """Return a colour as ``#rrggbb`` and alpha, None for the current colour.

    Raises
    ------
    PaintError
        If it is no colour that is read.
    """
    try:
        found = color4.parse_color(tinycss2.parse_one_component_value(text, skip_comments=True))
        if found == "currentcolor":
            return None
        if found is None:
            raise PaintError(text[:40])
        red, green, blue = _channels(found)
    except (NotImplementedError, ValueError, TypeError, AttributeError) as error:
        raise PaintError(text[:40]) from error
    channels = (min(max(v or 0.0, 0.0), 1.0) for v in (red, green, blue))
    code = "".join(f"{int(v * 255.0 + 0.5):02x}" for v in channels)
    return f"#{code}", min(max(float(found.alpha), 0.0), 1.0)


def _channels(found: Any) -> tuple[float, float, float]:  # noqa: ANN401 - tinycss2 has no types
    """Return red, green and blue; saturation and lightness beyond 100 % count as 100 %."""
    if found.space == "hsl":
        hue, saturation, lightness = (float(v or 0.0) for v in found.coordinates)
        s, l = (min(max(v / 100.0, 0.0), 1.0) for v in (saturation, lightness))  # noqa: E741
        return hls_to_rgb(hue / 360.0 % 1.0, l, s)
    red, green, blue = found.to("srgb").coordinates
    return red, green, blue


def paint_of(text: str) -> Paint:
    """Return the paint a value names.

    Raises
    ------
    PaintError
        If it names none that is read.
    """
    url = _URL.match(text)
    if url is not None:
        reference, rest = next((g for g in url.groups()[:3] if g is not None), ""), url[4].strip()
        fallback = paint_of(rest) if rest else Paint(is_none=True, is_stated=False)
        return replace(fallback, server=reference)
    text, ink = _without_ink(text.strip())
    word = text.lower()
    if word in ("none", "context-fill", "context-stroke"):
        return NOTHING
    try:
        found = colour_of(text)
    except PaintError:
        if _OTHER_SPACES.fullmatch(word):
            return Paint(ink=ink)
        raise
    if found is None:
        return Paint(is_current=True, ink=ink)
    return Paint(found[0], found[1], ink=ink)


def _without_ink(text: str) -> tuple[str, str]:
    """Part a colour from the ink behind it (SVG 1.1, 11.2; draft colour module of SVG 2)."""
    match = _INK.search(text)
    if match is None:
        return text, ""
    words = [w.strip(" \"'") for w in match[2].split(",")]
    ink = words[1] if match[1] == _NAMED_INK and len(words) > 1 else ""
    return text[: match.start()].strip(), ink
