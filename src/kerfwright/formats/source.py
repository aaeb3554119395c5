"""What a path was made from, as one line of text: ``LWPOLYLINE 2F in PLATE > HOLE``.

Kind and handle of the entity, then the blocks it came through, the outermost first. Block names
of DXF hold no ``>``, so the line can be taken apart again.
"""

from __future__ import annotations

from collections.abc import Sequence

_IN, _INSIDE = " in ", " > "


def source_line(kind: str, handle: str, blocks: Sequence[str] = ()) -> str:
    """Return the text for an entity and the blocks around it, outermost first."""
    return f"{kind} {handle}" + (_IN + _INSIDE.join(blocks) if blocks else "")


def block_names(source: str) -> tuple[str, ...]:
    """Return the blocks a path came through, outermost first; empty when there were none.

    Parameters
    ----------
    source : str
        Entry of `Drawing.source`.
    """
    _, found, chain = source.partition(_IN)
    return tuple(chain.split(_INSIDE)) if found else ()
