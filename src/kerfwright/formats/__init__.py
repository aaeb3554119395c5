"""Published formats in; each is read exactly, and what could not be read is said.

Nothing is repaired here: ends that do not meet stay apart. Only DXF so far. The names below are
loaded when they are first used, so that the reading child process starts without the rest.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kerfwright.formats.artwork_file import read_artwork
    from kerfwright.formats.limits import ReadLimits
    from kerfwright.formats.source import block_names

__all__ = ["ReadLimits", "block_names", "read_artwork"]

_HOME = {
    "ReadLimits": "kerfwright.formats.limits",
    "block_names": "kerfwright.formats.source",
    "read_artwork": "kerfwright.formats.artwork_file",
}


def __getattr__(name: str) -> object:
    """Load a public name from the file that defines it."""
    if name not in _HOME:
        msg = f"kerfwright.formats has no {name}; it offers {', '.join(__all__)}"
        raise AttributeError(msg)
    return getattr(import_module(_HOME[name]), name)
