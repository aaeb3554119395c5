"""How much a drawing comes to, known before the first block is placed.

The blocks of a drawing are a graph without cycles, or the drawing is refused.
"""

from __future__ import annotations

from collections.abc import Mapping

from kerfwright.errors import OutOfResourcesError, UnreadableError
from kerfwright.formats.dxf.collect import MODEL, Block, Insert
from kerfwright.formats.dxf.shapes import Run
from kerfwright.formats.limits import ReadLimits


def check_counts(blocks: Mapping[str, Block], *, file: str, limits: ReadLimits) -> dict[str, int]:
    """Return how many paths each block comes to; refuse what would be too much.

    Raises
    ------
    UnreadableError
        If a block holds itself.
    OutOfResourcesError
        If there would be more copies or vertices than the limits allow.
    """
    copies: dict[str, int] = {}
    points: dict[str, int] = {}
    paths: dict[str, int] = {}
    for key in _inner_first(blocks, file):
        inner = [(i.block, len(i.offsets)) for i in blocks[key].items if isinstance(i, Insert)]
        runs = [i for i in blocks[key].items if isinstance(i, Run)]
        copies[key] = sum(n * (1 + copies[b]) for b, n in inner)
        points[key] = sum(_vertices(r) for r in runs) + sum(n * points[b] for b, n in inner)
        paths[key] = sum(r.shapes.count for r in runs) + sum(n * paths[b] for b, n in inner)
    # Whole numbers of Python: thirty doublings do not overflow.
    _refuse_above(copies[MODEL], limits.instances, "copies of blocks", file)
    _refuse_above(points[MODEL], limits.points, "vertices", file)
    return paths


def _vertices(run: Run) -> int:
    shapes = run.shapes
    splines = sum(len(s.control) for s in shapes.splines)
    return len(shapes.chains.points) + 2 * len(shapes.conics.path) + splines


def _refuse_above(count: int, limit: int, what: str, file: str) -> None:
    if count > limit:
        msg = (
            f"{file}: the drawing comes to {count} {what}, limit {limit}; leave out what is not "
            "cut, or raise the limit"
        )
        raise OutOfResourcesError(msg)


def _inner_first(blocks: Mapping[str, Block], file: str) -> list[str]:
    """Return the keys of all blocks so that each comes after those it holds."""
    done: dict[str, None] = {}
    trail: dict[str, None] = {MODEL: None}
    work = [(MODEL, iter(_held(blocks[MODEL])))]
    while work:
        key, rest = work[-1]
        inner = next((b for b in rest if b not in done), None)
        if inner is None:
            work.pop()
            trail.pop(key)
            done[key] = None
        elif inner in trail:
            ring = [*trail, inner]
            names = [blocks[b].name for b in ring[ring.index(inner) :]]
            msg = (
                f"{file}: block {blocks[inner].name} holds itself ({' > '.join(names[-8:])}); "
                "explode it in the drawing and save again"
            )
            raise UnreadableError(msg)
        else:
            trail[inner] = None
            work.append((inner, iter(_held(blocks[inner]))))
    return list(done)


def _held(block: Block) -> list[str]:
    return list(dict.fromkeys(i.block for i in block.items if isinstance(i, Insert)))
