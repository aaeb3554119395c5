"""The bytes of a picture -> grey levels, with limits."""

from __future__ import annotations

import io
import re
import struct
import warnings
import zlib

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from kerfwright.errors import OutOfResourcesError, UnreadableError
from kerfwright.registration.looking_photo import MOST_PIXELS

_KINDS = ("PNG", "JPEG", "TIFF")
_MOST_LEVEL = 65535
_DAMAGED = (
    OSError, ValueError, SyntaxError, EOFError, IndexError, KeyError, TypeError, struct.error,
    zlib.error, OverflowError,
)  # fmt: skip
"""What the picture library lets out when bytes are wrong."""
_DEEP = {"I;16", "I;16B", "I;16L", "I"}


def decode_photo(data: bytes, *, name: str = "picture") -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Return the grey levels of a PNG, JPEG or TIFF picture, row 0 on top.

    Parameters
    ----------
    data : bytes
        The file.
    name : str
        Its name, for messages.

    Returns
    -------
    ndarray of shape (H, W), uint8 or uint16
        16 bits where the file has them.

    Raises
    ------
    UnreadableError
        If the bytes are no such picture, or end early.
    OutOfResourcesError
        If it has more than 80 million pixels; nothing is decoded then.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what matters of them is said here
        image = _opened(data, name)
        levels = _levels(image, name)
    return _deep(levels, name) if image.mode in _DEEP else np.asarray(levels, np.uint8)


def _opened(data: bytes, name: str) -> Image.Image:
    """Return the picture with nothing but its header read, and its size checked."""
    try:
        image = Image.open(io.BytesIO(data), formats=_KINDS)
    except Image.DecompressionBombError as error:
        pixels = re.search(r"\d+ pixels", str(error))
        raise _too_large(name, pixels[0] if pixels else "far too many pixels") from None
    except _DAMAGED as error:
        msg = f"{name} is no PNG, JPEG or TIFF picture: {error}; take it again"
        raise UnreadableError(msg) from error
    if image.width * image.height > MOST_PIXELS:
        raise _too_large(name, f"{image.width} x {image.height} pixels")
    if image.mode == "F":
        raise UnreadableError(f"{name} holds fractions; save it with 8 or 16 bits")
    return image


def _levels(image: Image.Image, name: str) -> NDArray[np.generic]:
    try:
        return np.asarray(image if image.mode in _DEEP else image.convert("L"))
    except _DAMAGED as error:
        msg = f"{name} is damaged or ends early: {error}; take it again"
        raise UnreadableError(msg) from error


def _deep(levels: NDArray[np.generic], name: str) -> NDArray[np.uint16]:
    """Return 16-bit levels; some pictures of 16 bits come in wider numbers."""
    wide = levels.astype(np.int64)
    if wide.size and (wide.min() < 0 or wide.max() > _MOST_LEVEL):
        msg = f"{name} has levels from {wide.min()} to {wide.max()}; save it with 8 or 16 bits"
        raise UnreadableError(msg)
    return wide.astype(np.uint16)


def _too_large(name: str, what: str) -> OutOfResourcesError:
    return OutOfResourcesError(
        f"{name} has {what}, the limit is {MOST_PIXELS / 1e6:.0f} million; make the picture smaller"
    )
