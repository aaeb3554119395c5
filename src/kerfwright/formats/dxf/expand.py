"""Place blocks: multiply the matrices of nested inserts, then map all copies of a run at once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from kerfwright.formats.dxf.collect import MODEL, Block
from kerfwright.formats.dxf.notes import Notes
from kerfwright.formats.dxf.shapes import BOOL, F64, I64, Chains, Conics, Run, RunBuilder, Shapes
from kerfwright.formats.dxf.style import Layers, Look
from kerfwright.formats.source import source_line

_IDENTITY = np.eye(3, 4)
_NOTHING = RunBuilder().finish().shapes


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """All shapes of the drawing in its world, with source and look of each path."""

    shapes: Shapes
    source: list[str]
    look: list[Look]


@dataclass(frozen=True, slots=True)
class _Outside:
    """What a copy of a block is inside of: look of the insert and names of the blocks."""

    look: Look | None
    blocks: tuple[str, ...]


@dataclass(slots=True)
class _Copies:
    """Every copy of one run: number of its first path among all, and its matrix."""

    run: Run
    first: list[int] = field(default_factory=list)
    matrix: list[F64] = field(default_factory=list)


def place(
    blocks: Mapping[str, Block], layers: Layers, notes: Notes, *, paths: Mapping[str, int]
) -> Placed:
    """Return every shape of the drawing once per copy, in the order of the file.

    Paths on layers that are off or frozen are counted in `notes` and left out; so are those on
    the layer kept for the points of dimensions. `paths` says what each block comes to.
    """
    work: list[tuple[str | Run, F64, _Outside]] = [(MODEL, _IDENTITY, _Outside(None, ()))]
    copies: dict[int, _Copies] = {}
    told: dict[tuple[int, _Outside], tuple[list[str], list[Look]]] = {}
    source: list[str] = []
    looks: list[Look] = []
    while work:
        item, matrix, outside = work.pop()
        if isinstance(item, str):
            _count_left_out(blocks[item], notes)
            work.extend(reversed(_opened(blocks[item], matrix, outside, layers, notes, paths)))
            continue
        of_run = copies.setdefault(id(item), _Copies(item))
        of_run.first.append(len(source))
        of_run.matrix.append(matrix)
        key = (id(item), outside)
        if key not in told:
            told[key] = _told(item, outside, layers)
        source += told[key][0]
        looks += told[key][1]
    _count_hidden(looks, layers, notes)
    visible = np.array([_is_seen(look, layers) for look in looks], dtype=np.bool_)
    return Placed(
        shapes=_merged([_mapped(c) for c in copies.values()], visible),
        source=[s for s, seen in zip(source, visible, strict=True) if seen],
        look=[k for k, seen in zip(looks, visible, strict=True) if seen],
    )


def _opened(
    block: Block,
    matrix: F64,
    outside: _Outside,
    layers: Layers,
    notes: Notes,
    paths: Mapping[str, int],
) -> list[tuple[str | Run, F64, _Outside]]:
    """Return what a copy of a block holds, each with its matrix to the world."""
    found: list[tuple[str | Run, F64, _Outside]] = []
    for item in block.items:
        if isinstance(item, Run):
            found.append((item, matrix, outside))
            continue
        look = layers.look(item.style, outside.look)
        if layers.get(look.layer).frozen:  # hides all that is inside, whatever its own layer
            notes.hidden[look.layer] += paths[item.block] * len(item.offsets)
            continue
        inside = _Outside(look, (*outside.blocks, item.name))
        found += [(item.block, _shifted(matrix, item.matrix, o), inside) for o in item.offsets]
    return found


def _shifted(outer: F64, inner: F64, offset: F64) -> F64:
    """Return the matrix of one copy in the world: inner first, then its shift, then outer."""
    linear = outer[:, :3] @ inner[:, :3]
    return np.column_stack((linear, outer[:, :3] @ (inner[:, 3] + offset) + outer[:, 3]))


def _count_left_out(block: Block, notes: Notes) -> None:
    notes.invisible += block.invisible
    for (theme, kind), count in block.left_out.items():
        notes.leave_out(theme, kind, count)


def _told(run: Run, outside: _Outside, layers: Layers) -> tuple[list[str], list[Look]]:
    """Return source and look of each path of a run inside a certain insert."""
    source = [source_line(kind, handle, outside.blocks) for kind, handle in run.entity]
    looks = {style: layers.look(style, outside.look) for style in set(run.style)}
    return source, [looks[style] for style in run.style]


def _is_seen(look: Look, layers: Layers) -> bool:
    layer = layers.get(look.layer)
    return not (layer.off or layer.frozen or layer.points_only)


def _count_hidden(looks: list[Look], layers: Layers, notes: Notes) -> None:
    for name, count in Counter(look.layer for look in looks).items():
        layer = layers.get(name)
        if layer.points_only:
            notes.points_only += count
        elif layer.off or layer.frozen:
            notes.hidden[name] += count


def _mapped(copies: _Copies) -> Shapes:
    """Return the shapes of all copies of a run in the world."""
    shapes, n = copies.run.shapes, len(copies.first)
    matrix = np.stack(copies.matrix)
    first = np.array(copies.first, dtype=np.int64)
    if n == 1 and np.array_equal(matrix[0], _IDENTITY):  # as drawn, to the last bit
        return shapes if first[0] == 0 else _renumbered(shapes, int(first[0]))
    with np.errstate(over="ignore", invalid="ignore"):  # refused later, by the entity's name
        return _mapped_by(shapes, matrix[:, :, :3], matrix[:, :, 3], first)


def _renumbered(shapes: Shapes, first: int) -> Shapes:
    return replace(
        shapes,
        chains=replace(shapes.chains, path=shapes.chains.path + first),
        conics=replace(shapes.conics, path=shapes.conics.path + first),
        splines=tuple(replace(s, path=s.path + first) for s in shapes.splines),
    )


def _mapped_by(shapes: Shapes, linear: F64, shift: F64, first: I64) -> Shapes:
    n = len(first)
    return Shapes(
        count=shapes.count * n,
        chains=_mapped_chains(shapes.chains, linear, shift, first),
        conics=_mapped_conics(shapes.conics, linear, shift, first),
        splines=tuple(
            replace(s, path=s.path + int(first[i]), control=_points(s.control, linear[i], shift[i]))
            for i in range(n)
            for s in shapes.splines
        ),
    )


def _points(points: F64, linear: F64, shift: F64) -> F64:
    """Return points under one map or N maps, shape (..., M, 3)."""
    mapped: F64 = points @ np.swapaxes(linear, -1, -2) + shift[..., None, :]
    return mapped


def _mapped_chains(chains: Chains, linear: F64, shift: F64, first: I64) -> Chains:
    n, sizes = len(first), np.diff(chains.starts)
    return Chains(
        path=(chains.path + first[:, None]).ravel(),
        points=_points(chains.points, linear, shift).reshape(-1, 3),
        bulges=np.tile(chains.bulges, n),
        starts=np.concatenate(([0], np.cumsum(np.tile(sizes, n)))),
        closed=np.tile(chains.closed, n),
        axes=np.einsum("nij,kaj->nkai", linear, chains.axes).reshape(-1, 2, 3),
        planar=np.tile(chains.planar, n),
    )


def _mapped_conics(conics: Conics, linear: F64, shift: F64, first: I64) -> Conics:
    n = len(first)
    frame = np.einsum("nij,kaj->nkai", linear, conics.frame)
    frame[:, :, 0] += shift[:, None]
    return Conics(
        path=(conics.path + first[:, None]).ravel(),
        frame=frame.reshape(-1, 3, 3),
        start=np.tile(conics.start, n),
        sweep=np.tile(conics.sweep, n),
    )


def _merged(parts: list[Shapes], visible: BOOL) -> Shapes:
    """Return visible shapes of all runs in one record, paths numbered anew."""
    number = np.cumsum(visible) - 1
    chains = [_seen_chains(p.chains, visible, number) for p in parts]
    conics = [_seen_conics(p.conics, visible, number) for p in parts]
    sizes = np.concatenate([np.zeros(0, np.int64), *(np.diff(c.starts) for c in chains)])
    return Shapes(
        count=int(visible.sum()),
        chains=Chains(
            starts=np.concatenate(([0], np.cumsum(sizes))).astype(np.int64),
            **{
                name: np.concatenate([getattr(_NOTHING.chains, name), *columns])
                for name in ("path", "points", "bulges", "closed", "axes", "planar")
                for columns in [[getattr(c, name) for c in chains]]
            },
        ),
        conics=Conics(
            **{
                name: np.concatenate([getattr(_NOTHING.conics, name), *columns])
                for name in ("path", "frame", "start", "sweep")
                for columns in [[getattr(c, name) for c in conics]]
            }
        ),
        splines=tuple(
            replace(s, path=int(number[s.path]))
            for p in parts
            for s in p.splines
            if visible[s.path]
        ),
    )


def _seen_chains(chains: Chains, visible: BOOL, number: I64) -> Chains:
    keep = visible[chains.path]
    sizes = np.diff(chains.starts)
    rows = np.repeat(keep, sizes)
    return Chains(
        path=number[chains.path[keep]],
        points=chains.points[rows],
        bulges=chains.bulges[rows],
        starts=np.concatenate(([0], np.cumsum(sizes[keep]))),
        closed=chains.closed[keep],
        axes=chains.axes[keep],
        planar=chains.planar[keep],
    )


def _seen_conics(conics: Conics, visible: BOOL, number: I64) -> Conics:
    keep = visible[conics.path]
    return Conics(
        path=number[conics.path[keep]],
        frame=conics.frame[keep],
        start=conics.start[keep],
        sweep=conics.sweep[keep],
    )
