"""What stands on every page: a rule to check the print's scale, a head, a foot with the count."""

from __future__ import annotations

from kerfwright.report.flow import Furniture
from kerfwright.report.letters import Letters
from kerfwright.report.look import LEFT_MM, RIGHT_MM, RULE, SMALL_PT, SOFT, WIDTH_MM
from kerfwright.report.pen import Pen
from kerfwright.report.text import wrap
from kerfwright.report.words import say

_RULE_Y_MM = 290.0
_RULE_LENGTH_MM = 100
_HEAD_Y_MM = 282.5
_FOOT_Y_MM = 10.0


def furniture_of(letters: Letters, *, head: str, foot: str) -> Furniture:
    """Return what draws head (from page 2 on) and foot.

    Parameters
    ----------
    letters : Letters
        Makes the texts printable.
    head, foot : str
        Shortened to one line.
    """
    head_line = wrap(letters.clean(head), WIDTH_MM, size_pt=SMALL_PT, bold=True, most=1)[0]
    foot_line = wrap(letters.clean(foot), WIDTH_MM - 30.0, size_pt=SMALL_PT, most=1)[0]

    def draw(pen: Pen, page: int, pages: int) -> None:
        _scale_rule(pen)
        if page > 1:
            pen.text(LEFT_MM, _HEAD_Y_MM, head_line, size_pt=SMALL_PT, bold=True)
        pen.line(
            (LEFT_MM, _FOOT_Y_MM + 3.4), (RIGHT_MM, _FOOT_Y_MM + 3.4), width_mm=0.15, colour=RULE
        )
        pen.text(LEFT_MM, _FOOT_Y_MM, foot_line, size_pt=SMALL_PT, colour=SOFT)
        count = say("ticket", "page", page=page, pages=pages)
        pen.text(RIGHT_MM, _FOOT_Y_MM, count, size_pt=SMALL_PT, bold=True, anchor="end")

    return draw


def _scale_rule(pen: Pen) -> None:
    end = LEFT_MM + _RULE_LENGTH_MM
    pen.line((LEFT_MM, _RULE_Y_MM), (end, _RULE_Y_MM), width_mm=0.3)
    for k in range(_RULE_LENGTH_MM + 1):
        length = 2.6 if k % 10 == 0 else 1.8 if k % 5 == 0 else 1.0
        x = LEFT_MM + k
        pen.line((x, _RULE_Y_MM), (x, _RULE_Y_MM - length), width_mm=0.12)
    words = say("ticket", "rule")
    pen.text(end + 2.0, _RULE_Y_MM - 2.0, words, size_pt=SMALL_PT - 1.0, colour=SOFT)
