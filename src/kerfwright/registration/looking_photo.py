"""How large a picture may be."""

from __future__ import annotations

from typing import Final

MOST_PIXELS: Final = 80_000_000
"""Pixels above which a picture is neither decoded nor searched."""
