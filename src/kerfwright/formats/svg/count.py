"""How many copies ``use`` asks for, counted before the first one is made.

Eighteen groups that each show the next one twice ask for a quarter of a million copies in a few
lines. The count follows references once each; one that comes back to itself counts nothing, and
the walk reports it.
"""

from __future__ import annotations

from typing import Final

from kerfwright.errors import OutOfResourcesError
from kerfwright.formats.limits import ReadLimits
from kerfwright.formats.svg.tree import Element, Tree, href_of, local_name

_NOT_DRAWN: Final = frozenset((
    "defs", "symbol", "clipPath", "mask", "marker", "pattern", "linearGradient", "radialGradient",
    "filter", "style", "script", "metadata", "title", "desc",
))  # fmt: skip


def check_copies(tree: Tree, *, file: str, limits: ReadLimits) -> None:
    """Refuse a drawing whose references multiply beyond the limit.

    Raises
    ------
    OutOfResourcesError
        If there would be more copies than `ReadLimits.instances`.
    """
    copies = _copies(tree)
    if copies > limits.instances:
        msg = (
            f"{file}: elements that use others ask for {copies} copies, limit {limits.instances}; "
            "leave out what is not cut, or raise the limit"
        )
        raise OutOfResourcesError(msg)


def _copies(tree: Tree) -> int:
    """Return how many copies the root asks for, those within copies counted each."""
    total: dict[Element, int] = {}
    wants: dict[Element, list[Element]] = {}
    active: set[Element] = set()
    stack = [tree.root]
    while stack:
        element = stack[-1]
        if element in total:
            stack.pop()
            continue
        if element not in active:
            active.add(element)
            wants[element] = _targets(element, tree)
            stack += [t for t in wants[element] if t not in total and t not in active]
            continue
        stack.pop()
        active.discard(element)
        total[element] = sum(1 + total.get(t, 0) for t in wants[element])
    return total[tree.root]


def _targets(element: Element, tree: Tree) -> list[Element]:
    """Return what the uses in an element refer to, each as often as it is shown."""
    found: list[Element] = []
    inner = [element]
    while inner:
        e = inner.pop()
        if local_name(e) == "use":
            reference = href_of(e) or ""
            target = tree.ids.get(reference[1:])
            if target is not None and reference[0] == "#":
                found.append(target)
            continue
        inner += [c for c in e if local_name(c) not in _NOT_DRAWN]
    return found
