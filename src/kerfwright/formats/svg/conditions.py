"""Conditions on elements, and which child of a ``switch`` is drawn (SVG 2, 5.9)."""

from __future__ import annotations

from typing import Final

from kerfwright.formats.svg.tree import Element, local_name

LANGUAGE: Final = "en"
"""Language texts and choices are read in; a reader has no user whose language it could ask."""

_LANGUAGES: Final = "systemLanguage"
_EXTENSIONS: Final = "requiredExtensions"
_DRAWABLE: Final = frozenset((
    "g", "a", "svg", "switch", "use", "path", "rect", "circle", "ellipse", "line", "polyline",
    "polygon", "text", "image", "foreignObject", "video", "audio", "canvas", "iframe",
))  # fmt: skip


def depends_on_language(element: Element) -> bool:
    """Return whether it is a matter of language that an element is drawn."""
    return element.get(_LANGUAGES) is not None


def holds(element: Element) -> bool:
    """Return whether the conditions of an element hold; features are always there (SVG 2)."""
    languages = element.get(_LANGUAGES)
    if languages is not None:
        asked = [part.strip().lower() for part in languages.split(",")]
        if not any(a == LANGUAGE or a.startswith(f"{LANGUAGE}-") for a in asked):
            return False
    return element.get(_EXTENSIONS) is None


def chosen(switch: Element) -> Element | None:
    """Return the child of a switch that is drawn: the first drawable one whose conditions hold."""
    for child in switch:
        if local_name(child) in _DRAWABLE and holds(child):
            return child
    return None
