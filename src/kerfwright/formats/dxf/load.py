"""From text to entities, with a second try for files that break the rules of the format."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from ezdxf import recover
from ezdxf.filemanagement import readfile

from kerfwright.errors import UnreadableError
from kerfwright.formats.dxf.notes import Notes
from kerfwright.formats.text import one_line, printable

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

# First bytes of the binary form of the format, by its reference.
BINARY_MARK: Final = b"AutoCAD Binary DXF\r\n\x1a\x00"
_TAIL_BYTES: Final = 4096
_MOST_REPAIRS, _MOST_WORDS = 3, 120


def load(path: Path, *, file: str, notes: Notes) -> Document:
    """Return the document of a file; repairs are noted.

    Raises
    ------
    UnreadableError
        If the file is cut short or cannot be repaired.
    """
    refuse_cut_short(path, file)
    try:
        return readfile(path)
    except MemoryError:
        raise
    except Exception as error:  # noqa: BLE001 - the second reader decides
        first = one_line(error)
    try:
        document, auditor = recover.readfile(path)
    except MemoryError:
        raise
    except Exception as error:
        reason = _reason(error).replace(str(path), file)
        msg = (
            f"{file}: this is no sound DXF file ({reason}); open it where it was made and save it "
            "again as DXF"
        )
        raise UnreadableError(msg) from error
    said = [str(e.message) for e in [*auditor.errors, *auditor.fixes]]
    listed = "; ".join(printable(message)[:_MOST_WORDS] for message in said[:_MOST_REPAIRS])
    first = first.replace(str(path), file)
    notes.add("DXF-140", params={"count": max(len(said), 1), "names": listed or first})
    return document


def _reason(error: Exception) -> str:
    """Return what a parser says, without the names of its exceptions where it has words."""
    return one_line(error).partition(": ")[2] or type(error).__name__


def refuse_cut_short(path: Path, file: str) -> None:
    """Refuse a file without the mark that ends every DXF: what is missing cannot be known."""
    with path.open("rb") as stream:
        head = stream.read(len(BINARY_MARK))
        size = stream.seek(0, 2)
        stream.seek(max(0, size - _TAIL_BYTES))
        tail = stream.read()
    lines = [line.strip() for line in tail.rstrip(b"\x00\x1a \t\r\n").splitlines()]
    whole = b"EOF" in tail[-16:] if head == BINARY_MARK else b"EOF" in lines
    if not whole:
        msg = (
            f"{file}: the file ends at byte {size} without its end mark EOF, so it is cut short "
            "or no DXF; have it sent again"
        )
        raise UnreadableError(msg)
