"""What a line is called: its layer, and every other name that rules can speak of.

The layer is the nearest group that has a name: a label for people (``aria-label``, ``data-name``,
an attribute ``label`` of any program, a title) before an id. What a copy shows lies on the layers
around the copy, unless it has groups with names of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from kerfwright.formats.svg.tree import Element, bare_name, local_name
from kerfwright.formats.text import name_of

_LABELS: Final = ("aria-label", "data-name")
_MOST: Final = 120


def label_of(element: Element) -> str:
    """Return the name people gave a group; empty when they gave it none."""
    for name in _LABELS:
        if found := _clean(element.get(name)):
            return found
    for name, value in element.attrib.items():
        if name.endswith("}label") and (found := _clean(value)):
            return found
    for child in element:
        if local_name(child) == "title":
            return _clean(child.text)
    return ""


def layer_of(element: Element) -> str:
    """Return the name a group gives to a layer; empty when it has none."""
    return label_of(element) or _clean(element.get("id"))


@dataclass(frozen=True, slots=True)
class Naming:
    """Names of elements, each looked up once."""

    known: dict[Element, tuple[str, tuple[str, ...]]] = field(default_factory=dict)

    def layer(self, element: Element) -> str:
        """Return the name a group gives to a layer; empty when it has none."""
        return self._of(element)[0]

    def names(self, element: Element) -> tuple[str, ...]:
        """Return label, id and classes of an element around a line, or of the line itself."""
        return self._of(element)[1]

    def _of(self, element: Element) -> tuple[str, tuple[str, ...]]:
        found = self.known.get(element)
        if found is None:
            found = self.known[element] = layer_of(element), names_of(element)
        return found


def names_of(element: Element) -> tuple[str, ...]:
    """Return label, id and classes of an element around a line, or of the line itself."""
    classes = (element.get("class") or "").split()
    found = (label_of(element), element.get("id"), *classes)
    return tuple(dict.fromkeys(name for part in found if (name := _clean(part))))


def handle_of(element: Element, number: int) -> tuple[str, str]:
    """Return kind and id of a shape, its number where it has no id."""
    name = "_".join(_clean(element.get("id")).split()) or str(number)
    return bare_name(element).upper(), name


def _clean(text: str | None) -> str:
    """Return a name on one line, without the sign that parts names in the source of a line."""
    return name_of(" ".join((text or "").split())).replace(">", "?")[:_MOST]
