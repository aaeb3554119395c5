"""Entities to shapes, block by block, each block once however often it is placed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from math import cos, radians, sin
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from ezdxf.lldxf.const import DXFError

from kerfwright.errors import OutOfResourcesError
from kerfwright.formats.dxf.entities import (
    NO_LINES,
    FromFitPoints,
    UnusableError,
    add_entity,
    is_line,
    kind_of,
)
from kerfwright.formats.dxf.notes import Notes
from kerfwright.formats.dxf.ocs import axes_of, to_world
from kerfwright.formats.dxf.shapes import F64, Run, RunBuilder
from kerfwright.formats.dxf.style import Style, style_of
from kerfwright.formats.text import name_of, printable

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

_MOST_WORDS: Final = 80
MODEL: Final = ""  # key of the model space among the blocks
# What a damaged entity makes ezdxf throw when its values are asked for.
_DAMAGE: Final = (
    DXFError, UnusableError, ValueError, TypeError, LookupError, AttributeError, ArithmeticError,
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Insert:
    """A block placed one or more times."""

    block: str
    name: str
    style: Style
    matrix: F64  # (3, 4), block to the world of the outer block, first copy
    offsets: F64  # (N, 3), of all copies
    handle: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """What a block or the model space holds, in the order of the file."""

    name: str
    items: tuple[Run | Insert, ...]
    left_out: Counter[tuple[str, str]] = field(default_factory=Counter)  # theme, kind
    invisible: int = 0


@dataclass(slots=True)
class Collector:
    """Reads blocks as they are met, starting from the model space."""

    document: Document
    notes: Notes
    file: str
    most_entities: int
    most_copies: int
    seen: int = 0
    blocks: dict[str, Block] = field(default_factory=dict)

    def collect(self) -> dict[str, Block]:
        """Return the model space under `MODEL`, and every block it needs, by its key."""
        self.blocks[MODEL] = self._read(self.document.modelspace(), "model space")
        waiting = [MODEL]
        while waiting:
            for item in self.blocks[waiting.pop()].items:
                if isinstance(item, Insert) and item.block not in self.blocks:
                    layout = self.document.blocks.get(item.block)
                    self.blocks[item.block] = self._read(layout, item.name)
                    waiting.append(item.block)
        return self.blocks

    def _read(self, entities: Iterable[Any], name: str) -> Block:
        items: list[Run | Insert] = []
        left_out: Counter[tuple[str, str]] = Counter()
        run = RunBuilder()
        hidden = 0
        for entity in entities:
            self._count_entity()
            try:
                kind = kind_of(entity)
                if entity.dxf.get("invisible", 0):
                    hidden += 1
                elif kind == "INSERT":
                    left_out["text", "ATTRIB"] += len(entity.attribs)
                    if insert := self._insert(entity):
                        items += ([run.finish()] if len(run) else []) + [insert]
                        run = RunBuilder()
                elif is_line(kind):
                    self._line(run, kind, entity)
                else:
                    left_out[NO_LINES.get(kind, "other"), name_of(kind)] += 1
            except _DAMAGE as error:
                self._unusable(entity, error)
        items += [run.finish()] if len(run) else []
        return Block(name=name, items=tuple(items), left_out=+left_out, invisible=hidden)

    def _unusable(self, entity: Any, error: Exception) -> None:  # noqa: ANN401
        handle = name_of(str(getattr(entity.dxf, "handle", "?")))
        said = printable(str(error))[:_MOST_WORDS]
        self.notes.unusable[f"{name_of(entity.dxftype())} {handle}: {said}"] += 1

    def _count_entity(self) -> None:
        self.seen += 1
        if self.seen > self.most_entities:
            msg = (
                f"{self.file}: the drawing holds more than {self.most_entities} entities, which "
                "is the limit; leave out what is not cut, or raise the limit"
            )
            raise OutOfResourcesError(msg)

    def _line(self, run: RunBuilder, kind: str, entity: Any) -> None:  # noqa: ANN401
        style = style_of(entity)
        mark = add_entity(run, entity)
        run.name(kind, name_of(str(entity.dxf.get("handle", "?"))), style)
        self.notes.from_fit_points += mark is FromFitPoints

    def _insert(self, entity: Any) -> Insert | None:  # noqa: ANN401
        name = name_of(str(entity.dxf.get("name", "")))
        layout: Any = self.document.blocks.get(entity.dxf.get("name", ""))
        if layout is None:
            self.notes.missing_blocks[name] += 1
            return None
        if layout.block_record.is_xref:
            self.notes.outside_files[name] += 1
            return None
        matrix, offsets = self._placing(entity, layout)
        return Insert(
            block=layout.name,
            name=name,
            style=style_of(entity),
            matrix=matrix,
            offsets=offsets,
            handle=name_of(str(entity.dxf.get("handle", "?"))),
        )

    def _placing(self, entity: Any, layout: Any) -> tuple[F64, F64]:  # noqa: ANN401
        """Return the matrix of the first copy and the shifts of all copies.

        Scale first, then the turn about the extrusion, then the place; copies stand on a grid
        that is turned but not scaled (DXF reference, INSERT).
        """
        dxf = entity.dxf
        axes = axes_of(dxf.get("extrusion", (0.0, 0.0, 1.0)))
        own = np.array(axes, dtype=np.float64).T
        angle = radians(float(dxf.get("rotation", 0.0)))
        c, s = _unit_cos(angle), _unit_sin(angle)
        turn = np.array([(c, -s, 0.0), (s, c, 0.0), (0.0, 0.0, 1.0)])
        scale = [float(dxf.get(k, 1.0)) for k in ("xscale", "yscale", "zscale")]
        linear = own @ (turn * np.array(scale))
        if scale[0] == 0.0 or scale[1] == 0.0:
            msg = f"scale ({scale[0]:g}, {scale[1]:g}) leaves nothing of the block"
            raise UnusableError(msg)
        place = to_world(axes, *_three(dxf.get("insert", (0.0, 0.0, 0.0))))
        base = np.array(_three(layout.block.dxf.get("base_point", (0.0, 0.0, 0.0))))
        matrix = np.column_stack((linear, np.array(place) - linear @ base))
        return matrix, self._grid(dxf) @ (own @ turn).T

    def _grid(self, dxf: Any) -> F64:  # noqa: ANN401
        """Return the shifts of all copies before they are turned, row by row."""
        shifts = []
        for count, spacing in (("column_count", "column_spacing"), ("row_count", "row_spacing")):
            step = float(dxf.get(spacing, 0.0))
            # Copies on one spot are one copy.
            number = max(int(dxf.get(count, 1)), 1) if step else 1
            if number > self.most_copies:
                raise self.too_many(number)
            shifts.append(np.arange(number) * step)
        columns, rows = shifts
        if len(columns) * len(rows) > self.most_copies:
            raise self.too_many(len(columns) * len(rows))
        x, y = np.meshgrid(columns, rows)
        return np.column_stack((x.ravel(), y.ravel(), np.zeros(x.size)))

    def too_many(self, count: int) -> OutOfResourcesError:
        """Return the error for blocks that are placed too often."""
        msg = (
            f"{self.file}: the drawing places blocks {count} times, limit {self.most_copies}; "
            "leave out what is not cut, or raise the limit"
        )
        return OutOfResourcesError(msg)


def _three(value: Any) -> tuple[float, float, float]:  # noqa: ANN401 - a vector of ezdxf
    x, y, *rest = (float(v) for v in value)
    return x, y, rest[0] if rest else 0.0


def _unit_cos(angle: float) -> float:
    """Return the cosine, exact at quarter turns, so that turned arcs stay arcs to the last bit."""
    return _snapped(cos(angle))


def _unit_sin(angle: float) -> float:
    """Return the sine, exact at quarter turns."""
    return _snapped(sin(angle))


def _snapped(value: float) -> float:
    for exact in (-1.0, 0.0, 1.0):
        if abs(value - exact) < 1e-15:  # a few units in the last place of 1
            return exact
    return value
