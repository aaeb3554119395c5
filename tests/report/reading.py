"""What a PDF shows, read by another library."""

from __future__ import annotations

import numpy as np
import pypdfium2


def pages_of(pdf: bytes) -> list[str]:
    """Text of each page, white space as single spaces."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [" ".join(p.get_textpage().get_text_range().split()) for p in document]
    finally:
        document.close()


def text_of(pdf: bytes) -> str:
    return " ".join(pages_of(pdf))


def picture_of(pdf: bytes, page: int = 0, *, px_per_mm: float = 6.0) -> np.ndarray:
    """A page as colours, shape (H, W, 3)."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        bitmap = document[page].render(scale=px_per_mm * 25.4 / 72.0)
        return bitmap.to_numpy()[:, :, 2::-1].copy()
    finally:
        document.close()
