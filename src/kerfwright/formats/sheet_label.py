"""The sheet's label: which job, which sheet, which piece, which side, which marks, as a QR code.

The text is ``kw=1;j=JOB;s=SHEET;n=SERIAL;f=SIDE;m=MARKS;c=CHECKSUM``: version first, then short
keys, the side as ``f`` or ``b``, last a CRC-32 over all before it. What a camera reads is
untrusted: names hold letters, digits, dot, dash and underscore only, so that none is a path or
an address, and whoever gets them looks them up, never opens them.
"""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from kerfwright.errors import UnreadableError, UsageError
from kerfwright.formats.text import printable
from kerfwright.geometry.record import Record, require
from kerfwright.model._checks import require_word

LABEL_VERSION: Final = 1
MOST_CHARACTERS: Final = 74
"""Bytes of a QR code of version 6 at level Q, ISO/IEC 18004, table of data capacity."""
QUIET_MODULES: Final = 4
"""Width of the quiet zone around a QR code in modules, ISO/IEC 18004."""

_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)
_SIDES: Final = ("front", "back")
_MOST_SERIAL: Final = 999_999
_FORM: Final = re.compile(
    r"kw=(?P<version>[0-9]{1,3});j=(?P<job>[^;=]+);s=(?P<sheet>[^;=]+);n=(?P<serial>[0-9]{1,6});"
    r"f=(?P<side>[fb]);m=(?P<marks>[^;=]+)",
    re.ASCII,
)
_SHOWN: Final = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLabel(Record):
    """What one printed sheet says of itself.

    Parameters
    ----------
    job : str
        Id of the job.
    sheet : str
        Id of the nominal sheet.
    serial : int
        Number of the physical piece, from 0; 0 where every print of a run is the same.
    side : str
        ``front`` or ``back``.
    marks : str
        Id of the mark layout.

    Raises
    ------
    ModelError
        If a name holds anything but letters, digits, dot, dash and underscore, or a value is out
        of range.
    """

    job: str
    sheet: str
    serial: int
    side: Literal["front", "back"]
    marks: str

    def __post_init__(self) -> None:
        for name in ("job", "sheet", "marks"):
            value = getattr(self, name)
            require(
                _is_name(value),
                f"SheetLabel.{name} is {printable(str(value))[:_SHOWN]!r}, must be 1 to 64 "
                "letters, digits, dots, dashes or underscores and begin with a letter or digit",
            )
        require(
            0 <= self.serial <= _MOST_SERIAL,
            f"SheetLabel.serial is {self.serial}, must be from 0 to {_MOST_SERIAL}",
        )
        require_word("SheetLabel.side", self.side, _SIDES)


def label_text(label: SheetLabel) -> str:
    """Return the text of a label, for its QR code.

    Raises
    ------
    UsageError
        If it is longer than a QR code of version 6 at level Q holds.
    """
    body = (
        f"kw={LABEL_VERSION};j={label.job};s={label.sheet};n={label.serial};"
        f"f={label.side[0]};m={label.marks}"
    )
    text = f"{body};c={_checksum(body)}"
    if len(text) > MOST_CHARACTERS:
        over = len(text) - MOST_CHARACTERS
        msg = (
            f"the label of job {label.job}, sheet {label.sheet} has {len(text)} characters, limit "
            f"{MOST_CHARACTERS}; shorten the ids of job, sheet or marks by {over}"
        )
        raise UsageError(msg)
    return text


def read_label(text: str) -> SheetLabel:
    """Return the label that a QR code's text holds.

    Raises
    ------
    UnreadableError
        If the text is of another kind, of another version, damaged, or holds a name that is
        none.
    """
    shown = printable(text[:_SHOWN])
    body, found, checksum = text.rpartition(";c=")
    form = _FORM.fullmatch(body)
    if not found or form is None or len(text) > MOST_CHARACTERS:
        msg = f"the code reads {shown!r}, which is no sheet label; show the sheet's own code"
        raise UnreadableError(msg)
    if checksum != _checksum(body):
        msg = (
            f"the sheet label {shown!r} is damaged: its checksum is not {_checksum(body)}; look "
            "again, or type job and sheet"
        )
        raise UnreadableError(msg)
    if int(form["version"]) != LABEL_VERSION:
        msg = f"the sheet label is of version {form['version']}, this reader knows {LABEL_VERSION}"
        raise UnreadableError(msg)
    bad = next((form[k] for k in ("job", "sheet", "marks") if not _is_name(form[k])), None)
    if bad is not None:
        msg = f"the sheet label names {printable(bad)[:_SHOWN]!r}, which is no id; label it anew"
        raise UnreadableError(msg)
    return SheetLabel(
        job=form["job"],
        sheet=form["sheet"],
        serial=int(form["serial"]),
        side="front" if form["side"] == "f" else "back",
        marks=form["marks"],
    )


def label_modules(text: str) -> NDArray[np.uint8]:
    """Return the QR code of a text: ISO/IEC 18004, error correction level Q, no quiet zone.

    Parameters
    ----------
    text : str
        ASCII text.

    Returns
    -------
    ndarray of shape (n, n), uint8
        1 for dark, row 0 on top; n is 17 + 4 times the version, at most 41.

    Raises
    ------
    UsageError
        If the text is not ASCII, empty or too long.
    """
    import segno  # noqa: PLC0415 - labels are read where no code is drawn

    if not (text.isascii() and 0 < len(text) <= MOST_CHARACTERS):
        msg = f"a label has 1 to {MOST_CHARACTERS} ASCII characters, this text has {len(text)}"
        raise UsageError(msg)
    code = segno.make(text, error="q", boost_error=False, micro=False)
    return np.array([list(row) for row in code.matrix], dtype=np.uint8)


def _is_name(value: str) -> bool:
    return _NAME.fullmatch(value) is not None and ".." not in value


def _checksum(body: str) -> str:
    return f"{zlib.crc32(body.encode('utf-8', 'surrogatepass')):08x}"
