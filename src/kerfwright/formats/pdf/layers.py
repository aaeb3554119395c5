"""Optional content: which layer marked content belongs to, and what the layer declares.

A group (OCG) is known by its object, never by its name, which may be anything and need not be
unique. A membership (OCMD) belongs to its groups; those for which it is shown only while they
are off are left out. Whether a layer is switched off changes nothing but a note: the geometry is
read all the same.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Final

from kerfwright.formats.notes import Notes
from kerfwright.formats.pdf.steps import step_of
from kerfwright.formats.pdf.values import (
    entry,
    identity,
    is_dictionary,
    items_of,
    name_bytes,
)
from kerfwright.formats.text import name_of

_MOST_NODES: Final = 1000
_NAMELESS: Final = "layer without a name"


@dataclass(frozen=True, slots=True)
class Layer:
    """Where content stands: innermost layer, step, and whether a viewer hides it."""

    name: str = ""
    step: str = ""
    is_off: bool = False


NO_LAYER: Final = Layer()


@dataclass(slots=True)
class Layers:
    """The layers of one file, each read when it is met first.

    Parameters
    ----------
    catalog : pikepdf.Object
        Root of the file.
    notes : Notes
        Where faults are counted.
    """

    catalog: Any
    notes: Notes
    known: dict[tuple[int, int], Layer] = field(default_factory=dict)
    off: frozenset[tuple[int, int]] = frozenset()
    on: frozenset[tuple[int, int]] = frozenset()
    base_is_off: bool = False

    def __post_init__(self) -> None:
        """Look which layers the file opens with."""
        start = entry(entry(self.catalog, "/OCProperties"), "/D")
        self.off = _identities(entry(start, "/OFF"))
        self.on = _identities(entry(start, "/ON"))
        self.base_is_off = name_bytes(entry(start, "/BaseState")) == b"OFF"

    def layer_of(self, value: Any) -> Layer | None:  # noqa: ANN401 - whatever the file holds
        """Return the layer of a group or membership, None if the value is neither."""
        if not is_dictionary(value):
            return None
        key = identity(value)
        if key is not None and key in self.known:
            return self.known[key]
        kind = name_bytes(entry(value, "/Type"))
        if kind == b"OCMD":
            layer = self._membership(value)
        elif kind == b"OCG" or (kind is None and entry(value, "/Name") is not None):
            layer = self._group(value)
        else:
            return None
        if key is not None:
            self.known[key] = layer
        return layer

    def inside(self, outer: Layer, inner: Layer) -> Layer:
        """Return where content of a layer inside another one stands."""
        if outer.step and inner.step and outer.step != inner.step:
            self.notes.count("PDF-124", f"{inner.step} inside {outer.step}")
        return replace(inner, step=inner.step or outer.step, is_off=inner.is_off or outer.is_off)

    def _group(self, group: Any) -> Layer:  # noqa: ANN401
        title = entry(group, "/Name")
        try:
            name = name_of(str(title)) if title is not None else ""
        except (ValueError, UnicodeError):
            name = ""
        step = step_of(group)
        name = name or _NAMELESS
        if step.code:
            self.notes.count(step.code, f"{name}: {step.fault}")
        key = identity(group)
        is_off = key in self.off or (self.base_is_off and key not in self.on)
        return Layer(name=name, step=step.text, is_off=is_off)

    def _membership(self, value: Any) -> Layer:  # noqa: ANN401
        shown, hidden = self._members(value)
        layers = [self.layer_of(g) for g in shown]
        members = [found for found in layers if found is not None]
        if hidden:
            names = ", ".join(m.name for m in map(self.layer_of, hidden) if m is not None)
            self.notes.count("PDF-124", f"shown only while {names or 'no layer'} is off")
        if not members:
            return NO_LAYER
        steps = {m.step for m in members if m.step}
        first = next((m for m in members if m.step), members[0])
        if len(steps) > 1:
            self.notes.count("PDF-124", "one membership of " + " and ".join(sorted(steps)))
            first = replace(first, step="")
        return replace(first, is_off=all(m.is_off for m in members))

    def _members(self, value: Any) -> tuple[list[Any], list[Any]]:  # noqa: ANN401
        """Return the groups a membership is shown with, and those it is shown without."""
        expression = items_of(entry(value, "/VE"))
        if expression:
            return _expressed(expression)
        found = entry(value, "/OCGs")
        groups = [found] if is_dictionary(found) else items_of(found)
        groups = [g for g in groups[:_MOST_NODES] if name_bytes(entry(g, "/Type")) != b"OCMD"]
        if name_bytes(entry(value, "/P")) in (b"AllOff", b"AnyOff"):
            return [], groups
        return groups, []


def _expressed(expression: list[Any]) -> tuple[list[Any], list[Any]]:
    """Return the groups a visibility expression names, and those it negates."""
    groups: tuple[list[Any], list[Any]] = ([], [])
    waiting = [(expression, 0)]
    for _ in range(_MOST_NODES):
        if not waiting:
            break
        (first, *rest), negated = waiting.pop()
        if name_bytes(first) == b"Not":
            negated = 1 - negated
        for value in rest:
            if is_dictionary(value) and name_bytes(entry(value, "/Type")) != b"OCMD":
                groups[negated].append(value)
            elif items := items_of(value):
                waiting.append((items, negated))
    return groups


def _identities(value: object) -> frozenset[tuple[int, int]]:
    keys = (identity(g) for g in items_of(value) if is_dictionary(g))
    return frozenset(k for k in keys if k is not None)
