"""Clip paths of elements: those of one shape are looked at, anything richer is counted."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Final

from kerfwright.formats.svg.clips import Clips
from kerfwright.formats.svg.drawer import Drawer
from kerfwright.formats.svg.looking import word
from kerfwright.formats.svg.matrices import Matrix, product
from kerfwright.formats.svg.pile import Outlining
from kerfwright.formats.svg.shapes import SHAPES
from kerfwright.formats.svg.spot import Spot
from kerfwright.formats.svg.style import INITIAL
from kerfwright.formats.svg.tree import Element, Tree, local_name

_URL: Final = re.compile(r"""url\(\s*["']?#([^"')\s]*)["']?\s*\)""")
_NOT_SHOWN: Final = ("", "title", "desc", "metadata", "script", "style")


@dataclass(frozen=True, slots=True)
class ClipPaths:
    """Looks up clip paths and adds them to the clips."""

    tree: Tree
    clips: Clips
    drawer: Drawer
    scratch: Outlining

    def clip(self, text: str, spot: Spot, place: str) -> int:
        """Return the clip over an element at a spot whose ``clip-path`` is `text`."""
        notes = self.drawer.looking.notes
        match = _URL.fullmatch(text)
        target = self.tree.ids.get(match[1]) if match else None
        if match and (target is None or local_name(target) != "clipPath"):
            notes.count("SVG-135", f"clip path {match[1][:40]}")  # as if there were none
            return spot.clip
        children = None if target is None else self._children(target)
        if children is None:
            notes.count("SVG-143", place)
            return spot.clip
        return self._clip_of(target, children, spot)

    def _children(self, target: Element) -> list[Element] | None:
        """Return the shapes of a clip path that can be looked at, at most one; else None."""
        cascade = self.drawer.looking.cascade
        of_box = target.get("clipPathUnits") == "objectBoundingBox"
        children = [c for c in target if local_name(c) not in _NOT_SHOWN]
        rich = any(local_name(c) not in SHAPES for c in children) or len(children) > 1
        nested = any("clip-path" in cascade.of(e) for e in (target, *children))
        return None if of_box or rich or nested else children

    def _clip_of(self, target: Element, children: list[Element], spot: Spot) -> int:
        looking = self.drawer.looking
        matrix, even_odd = self._inner(target, spot, spot.matrix), False
        mark = self.scratch.begin(0)
        for child in children:
            declared = looking.cascade.of(child)
            here = replace(spot, style=INITIAL)
            style = looking.style(child, declared, here)
            if style.is_visible and word(declared, "display") != "none":
                self.drawer.draw(child, declared, replace(here, style=style), self.scratch)
                matrix = self._inner(child, spot, matrix)
                even_odd = style.clip_rule == "evenodd"
        clip = self.clips.outlines(spot.clip, matrix, self.scratch, mark, even_odd=even_odd)
        self.scratch.back(mark)
        return clip

    def _inner(self, element: Element, spot: Spot, outer: Matrix) -> Matrix:
        looking = self.drawer.looking
        declared = looking.cascade.of(element)
        return product(looking.matrix(element, declared, spot, spot.style), outer)
