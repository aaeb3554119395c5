"""Which optional content of a customer's file is printed: neither steps nor hidden groups.

ISO 32000-2, 8.11: a group is on or off by the default configuration and, for printing, by its
own usage where an ``AS`` entry says so; a membership dictionary is on by its policy or
expression. Groups are told apart by object number, for their names need not differ.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import pikepdf

from kerfwright.errors import UnreadableError
from kerfwright.formats.print.names import name_text

_DEEPEST: Final = 12
_Key = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Why:
    """Why content is left out of the print.

    Parameters
    ----------
    kind : str
        ``step``, ``ink`` or ``hidden``.
    name : str
        Step, ink or group.
    """

    kind: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Visibility:
    """States of the groups of one file, for printing."""

    off: frozenset[_Key]
    base_is_off: bool = False
    on: frozenset[_Key] = field(default_factory=frozenset)

    def why_hidden(self, content: Any) -> Why | None:  # noqa: ANN401 - a group or membership
        """Return why content of a group or membership dictionary is not printed; None if it is."""
        step = self._step(content, 0)
        if step:
            return Why(kind="step", name=step)
        if not self._is_on(content, 0):
            return Why(kind="hidden", name=_label(content))
        return None

    def _step(self, content: Any, depth: int) -> str:  # noqa: ANN401
        if depth > _DEEPEST or not isinstance(content, pikepdf.Object):
            return ""
        if not _is_membership(content):
            return step_of(content)
        for member in _members(content):
            if step := self._step(member, depth + 1):
                return step
        return ""

    def _is_on(self, content: Any, depth: int) -> bool:  # noqa: ANN401
        if depth > _DEEPEST:
            msg = f"optional content is nested deeper than {_DEEPEST}; export the file anew"
            raise UnreadableError(msg)
        if not _is_membership(content):
            return self._group_is_on(content)
        if "/VE" in content:
            return self._holds(content["/VE"], depth + 1)
        states = [self._group_is_on(g) for g in _members(content)]
        if not states:
            return True
        policy = name_text(content.get("/P")) or "AnyOn"
        answers = {"AllOn": all(states), "AnyOff": not all(states), "AllOff": not any(states)}
        return answers.get(policy, any(states))

    def _holds(self, expression: Any, depth: int) -> bool:  # noqa: ANN401
        if not isinstance(expression, pikepdf.Array):
            return self._is_on(expression, depth)
        if depth > _DEEPEST:
            msg = f"an optional content expression is nested deeper than {_DEEPEST}"
            raise UnreadableError(msg)
        items = list(expression)
        word = name_text(items[0]) if items else ""
        values = [self._holds(item, depth + 1) for item in items[1:]]
        if word == "Not":
            return not all(values)
        return any(values) if word == "Or" else all(values)

    def _group_is_on(self, group: Any) -> bool:  # noqa: ANN401
        key = group.objgen if isinstance(group, pikepdf.Object) else (0, 0)
        return key in self.on if self.base_is_off else key not in self.off


def visibility_of(pdf: pikepdf.Pdf) -> Visibility:
    """Return the states that the file's default configuration gives its groups in print."""
    properties = pdf.Root.get("/OCProperties")
    if not isinstance(properties, pikepdf.Dictionary):
        return Visibility(off=frozenset())
    default = properties.get("/D", pikepdf.Dictionary())
    base_is_off = name_text(default.get("/BaseState")) == "OFF"
    on, off = _keys(default.get("/ON")), _keys(default.get("/OFF"))
    for group, state in _print_states(default):
        (on if state == "ON" else off).add(group)
        (off if state == "ON" else on).discard(group)
    return Visibility(off=frozenset(off), on=frozenset(on - off), base_is_off=base_is_off)


def step_of(group: pikepdf.Object) -> str:
    """Return the ISO 19593-1 step of a group, ``Structural/Cutting``; "" when it has none."""
    if not isinstance(group, pikepdf.Dictionary):
        return ""
    data = group.get("/GTS_Metadata")
    if not isinstance(data, pikepdf.Dictionary) or "/GTS_ProcStepsGroup" not in data:
        return ""
    kind, which = (name_text(data.get(f"/GTS_ProcSteps{k}")) for k in ("Group", "Type"))
    return f"{kind or 'unnamed'}/{which}" if which else kind or "unnamed"


def _print_states(default: pikepdf.Object) -> list[tuple[_Key, str]]:
    """Return the groups whose own usage decides when printing, with that state."""
    states = []
    for rule in _array(default.get("/AS")):
        if not isinstance(rule, pikepdf.Dictionary) or name_text(rule.get("/Event")) != "Print":
            continue
        if "Print" not in {name_text(c) for c in _array(rule.get("/Category"))}:
            continue
        for group in _array(rule.get("/OCGs")):
            usage = group.get("/Usage") if isinstance(group, pikepdf.Dictionary) else None
            usage = usage.get("/Print") if isinstance(usage, pikepdf.Dictionary) else None
            if isinstance(usage, pikepdf.Dictionary) and "/PrintState" in usage:
                states.append((group.objgen, name_text(usage["/PrintState"])))
    return states


def _is_membership(content: Any) -> bool:  # noqa: ANN401
    return isinstance(content, pikepdf.Dictionary) and name_text(content.get("/Type")) == "OCMD"


def _members(membership: pikepdf.Object) -> list[Any]:
    """Return the groups a membership dictionary names, those of its expression included."""
    groups = membership.get("/OCGs")
    listed = [groups] if isinstance(groups, pikepdf.Dictionary) else list(_array(groups))
    return [g for g in listed + _leaves(membership.get("/VE"), 0) if _is_group(g)]


def _leaves(expression: Any, depth: int) -> list[Any]:  # noqa: ANN401
    if depth > _DEEPEST or not isinstance(expression, pikepdf.Array):
        return [expression]
    return [leaf for item in list(expression)[1:] for leaf in _leaves(item, depth + 1)]


def _is_group(value: Any) -> bool:  # noqa: ANN401
    return isinstance(value, pikepdf.Dictionary)


def _array(value: Any) -> list[Any]:  # noqa: ANN401
    return list(value) if isinstance(value, pikepdf.Array) else []


def _keys(value: Any) -> set[_Key]:  # noqa: ANN401
    return {g.objgen for g in _array(value) if isinstance(g, pikepdf.Object)}


def _label(content: Any) -> str:  # noqa: ANN401
    try:
        return str(content.get("/Name", "unnamed"))
    except (UnicodeDecodeError, AttributeError):
        return "unnamed"
