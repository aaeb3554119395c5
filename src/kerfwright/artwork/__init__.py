"""What each line of a drawing means, and what is wrong with it.

Lines that meet are joined, each line gets the operation its rule names, contours inside contours
become parts. Nothing is guessed: what no rule covers, what is open, drawn twice or crosses itself
is said.
"""

from kerfwright.artwork.checking import check
from kerfwright.artwork.joining import join_lines
from kerfwright.artwork.parts import make_parts
from kerfwright.artwork.printed import drop_printed_art
from kerfwright.artwork.sorting import COPY, LEFT_OUT, NO_RULE, NOTHING_TO_CUT, sort_lines

__all__ = [
    "COPY",
    "LEFT_OUT",
    "NOTHING_TO_CUT",
    "NO_RULE",
    "check",
    "drop_printed_art",
    "join_lines",
    "make_parts",
    "sort_lines",
]
