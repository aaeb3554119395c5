"""G and M words: modal groups of NISTIR 6556 table 4, and what this reader refuses and why."""

from __future__ import annotations

from typing import Final

RAPID, LINE, CW, CCW, CANCEL = 0, 10, 20, 30, 800
"""Codes are ten times the number after G, so that G61.1 is 611."""

DWELL, INCHES, MILLIMETRES = 40, 200, 210
ABSOLUTE, INCREMENTAL, INVERSE_TIME, PER_MINUTE = 900, 910, 930, 940

NON_MODAL, MOTION, UNITS, DISTANCE, FEED = 0, 1, 6, 3, 5

G_GROUP: Final[dict[int, int]] = {
    **dict.fromkeys((40, 100, 280, 300, 530, 920, 921, 922, 923), NON_MODAL),
    **dict.fromkeys((0, 10, 20, 30, 382, *range(800, 900, 10)), MOTION),
    **dict.fromkeys((170, 180, 190), 2),
    **dict.fromkeys((900, 910), DISTANCE),
    **dict.fromkeys((930, 940), FEED),
    **dict.fromkeys((200, 210), UNITS),
    **dict.fromkeys((400, 410, 420), 7),
    **dict.fromkeys((430, 490), 8),
    **dict.fromkeys((980, 990), 10),
    **dict.fromkeys((540, 550, 560, 570, 580, 590, 591, 592, 593), 12),
    **dict.fromkeys((610, 611, 640), 13),
}

G_REFUSED: Final[dict[int, str]] = {
    **dict.fromkeys((280, 300), "PRG-137"),
    530: "PRG-138",
    **dict.fromkeys((100, 920, 921, 922, 923), "PRG-139"),
    **dict.fromkeys((382, *range(810, 900, 10)), "PRG-140"),
    **dict.fromkeys((410, 420), "PRG-141"),
    430: "PRG-142",
    **dict.fromkeys((180, 190), "PRG-143"),
    **dict.fromkeys((550, 560, 570, 580, 590, 591, 592, 593), "PRG-144"),
}

ENDS: Final = frozenset({2, 30})
STOPS: Final = frozenset({0, 1, 60})
M_GROUP: Final[dict[int, int]] = {
    **dict.fromkeys(STOPS | ENDS, 4),
    6: 6,
    **dict.fromkeys((3, 4, 5), 7),
    **dict.fromkeys((7, 8, 9), 8),
    **dict.fromkeys((48, 49), 9),
}
"""M words that are not here belong to the builder of the machine; this reader takes all of those
for one group, so that no two stand on a line."""

BUILDERS_GROUP: Final = -1
MOST_M_WORDS: Final = 4
