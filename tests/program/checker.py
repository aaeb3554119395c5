"""A third, tiny reader: the arc rule on the text alone, in decimal arithmetic.

NISTIR 6556 section 3.5.3: radii to start and end differ by at most 0.002 mm.
"""

from __future__ import annotations

import re
from decimal import Decimal, localcontext

WORD = re.compile(r"([A-Z])(-?\d+\.?\d*)")
RULE_MM = Decimal("0.002")


def worst_arc_mm(text: str) -> Decimal:
    """Return the greatest difference of radii in a text of ours: absolute, I and J, modal X, Y."""
    at = {"X": Decimal(0), "Y": Decimal(0)}
    worst = Decimal(0)
    with localcontext(prec=50):
        for line in text.splitlines():
            words = dict(WORD.findall(re.sub(r"\(.*?\)", "", line)))
            end = {axis: Decimal(words.get(axis, at[axis])) for axis in "XY"}
            if words.get("G") in {"2", "3"}:
                i, j = Decimal(words["I"]), Decimal(words["J"])
                x, y = end["X"] - at["X"] - i, end["Y"] - at["Y"] - j
                assert i or j, f"zero radius: {line}"
                worst = max(worst, abs((i * i + j * j).sqrt() - (x * x + y * y).sqrt()))
            at = end
    return worst
