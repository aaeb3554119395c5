"""The sheet's label in a picture: read, and compared with the sheet that should lie there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import zxingcpp
from numpy.typing import NDArray

from kerfwright.errors import Finding, Place, Severity, UnreadableError
from kerfwright.formats.sheet_label import SheetLabel, read_label

Grey = NDArray[np.uint8] | NDArray[np.uint16]


def read_labels(image: Grey) -> tuple[str, ...]:
    """Return the texts of all square codes in a picture; untrusted, never a path or an address.

    Parameters
    ----------
    image : ndarray of shape (H, W), uint8 or uint16
        Grey picture.
    """
    grey = image if image.dtype == np.uint8 else (image >> 8).astype(np.uint8)
    codes = zxingcpp.read_barcodes(
        np.ascontiguousarray(grey), formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
    )
    return tuple(sorted({code.text for code in codes if code.valid}))


def check_label(
    texts: Sequence[str], *, job: str, sheet: str, marks: str, side: str = "front"
) -> tuple[Finding, ...]:
    """Return what the labels read say against this sheet; nothing where one agrees.

    Parameters
    ----------
    texts : sequence of str
        Texts of the codes seen.
    job, sheet, marks, side : str
        What the label should say.
    """
    if not texts:
        return (_finding("LOK-140", Severity.WARN),)
    labels, out = [], []
    for text in texts:
        try:
            labels.append(read_label(text))
        except UnreadableError as error:
            out.append(_finding("LOK-141", Severity.NOTE, why=str(error)))
    if not labels:
        return (*out, _finding("LOK-140", Severity.WARN))
    return (*out, *_differences(labels[0], job, sheet, marks, side))


def _differences(
    label: SheetLabel, job: str, sheet: str, marks: str, side: str
) -> tuple[Finding, ...]:
    if (label.job, label.sheet) != (job, sheet):
        return (
            _finding(
                "LOK-142",
                Severity.BLOCKS,
                says=f"{label.job}, sheet {label.sheet}",
                wanted=f"{job}, sheet {sheet}",
            ),
        )
    if label.marks != marks:
        return (_finding("LOK-143", Severity.BLOCKS, says=label.marks, wanted=marks),)
    if label.side != side:
        return (_finding("LOK-144", Severity.BLOCKS, says=label.side, wanted=side),)
    return ()


def _finding(code: str, severity: Severity, **params: str | float) -> Finding:
    return Finding(code=code, severity=severity, where=Place(stage="look"), params=params)
