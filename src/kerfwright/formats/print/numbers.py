"""Numbers as a page description writes them: no exponent, no minus zero, no idle zeros."""

from __future__ import annotations

from collections.abc import Iterable


def number(value: float, decimals: int = 6) -> str:
    """Return a number with at most so many decimals."""
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def numbers(values: Iterable[float], decimals: int = 6) -> str:
    """Return numbers with a space between them."""
    return " ".join(number(float(v), decimals) for v in values)
