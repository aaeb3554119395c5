"""Published formats in and out; each is read exactly, and what could not be read is said.

Nothing is repaired here: ends that do not meet stay apart. The names below are
loaded when they are first used, so that the reading child process starts without the rest.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kerfwright.formats.artwork_file import read_artwork, read_artwork_pages
    from kerfwright.formats.limits import ReadLimits
    from kerfwright.formats.print.records import CutLayer, PlacedArt, PrintFile
    from kerfwright.formats.print_file import compose_print, print_keep_outs, print_pdf
    from kerfwright.formats.render import render_page
    from kerfwright.formats.sheet_label import SheetLabel, label_modules, label_text, read_label
    from kerfwright.formats.source import block_names

__all__ = [
    "CutLayer",
    "PlacedArt",
    "PrintFile",
    "ReadLimits",
    "SheetLabel",
    "block_names",
    "compose_print",
    "label_modules",
    "label_text",
    "print_keep_outs",
    "print_pdf",
    "read_artwork",
    "read_artwork_pages",
    "read_label",
    "render_page",
]

_HOME = {
    "render_page": "kerfwright.formats.render",
    "CutLayer": "kerfwright.formats.print.records",
    "PlacedArt": "kerfwright.formats.print.records",
    "PrintFile": "kerfwright.formats.print.records",
    "compose_print": "kerfwright.formats.print_file",
    "print_keep_outs": "kerfwright.formats.print_file",
    "print_pdf": "kerfwright.formats.print_file",
    "SheetLabel": "kerfwright.formats.sheet_label",
    "label_modules": "kerfwright.formats.sheet_label",
    "label_text": "kerfwright.formats.sheet_label",
    "read_label": "kerfwright.formats.sheet_label",
    "ReadLimits": "kerfwright.formats.limits",
    "block_names": "kerfwright.formats.source",
    "read_artwork": "kerfwright.formats.artwork_file",
    "read_artwork_pages": "kerfwright.formats.artwork_file",
}


def __getattr__(name: str) -> object:
    """Load a public name from the file that defines it."""
    if name not in _HOME:
        msg = f"kerfwright.formats has no {name}; it offers {', '.join(__all__)}"
        raise AttributeError(msg)
    return getattr(import_module(_HOME[name]), name)
