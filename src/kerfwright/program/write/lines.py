"""Lines of text from rows, events and modes, inside the limits of the control."""

from __future__ import annotations

from itertools import starmap

import numpy as np

from kerfwright.geometry.record import BOOL, I64
from kerfwright.model.dialect import Dialect
from kerfwright.model.motion import EventCode, Kind, ToolMotion
from kerfwright.program.write.axes import Axes
from kerfwright.program.write.events import event_line, events_to_write
from kerfwright.program.write.header import header
from kerfwright.program.write.refuse import ProgramRefusedError, blocking
from kerfwright.program.write.rows import (
    DWELL_DECIMALS,
    FEED_DECIMALS,
    INVERSE_DECIMALS,
    Rows,
)

GREATEST_LINE_NUMBER = 99_999
_LINE_NUMBER_CHARS = len(f"N{GREATEST_LINE_NUMBER} ")


def assemble(
    rows: Rows,
    motion: ToolMotion,
    axes: Axes,
    dialect: Dialect,
    *,
    title: str,
    z_zero_mm: float,
) -> str:
    """Return the whole text."""
    room = dialect.max_line_chars - (_LINE_NUMBER_CHARS if dialect.line_numbers else 0)
    before, whole = _between(rows, motion, axes)
    body = _row_lines(rows, dialect, whole=whole, room=room)
    lines = header(dialect, title=title, z_zero_mm=z_zero_mm, room=max(room, 20))
    done = 0
    for place in sorted(before):
        lines += body[done:place]
        lines += before[place]
        done = place
    lines += body[done:]
    lines.append(dialect.words["end"])
    return _limited("\n".join(lines).split("\n"), dialect)


def _limited(lines: list[str], dialect: Dialect) -> str:
    """Give lines their numbers where the dialect wants it, and refuse what passes a limit."""
    limit = dialect.max_lines
    if dialect.line_numbers:
        limit = min(limit, GREATEST_LINE_NUMBER)
        lines = list(starmap("N{} {}".format, enumerate(lines, start=1)))
    if len(lines) > limit:
        raise ProgramRefusedError(blocking("PRG-211", measured=len(lines), limit=limit))
    longest = max(map(len, lines))
    if longest > dialect.max_line_chars:
        finding = blocking("PRG-212", measured=longest, limit=dialect.max_line_chars)
        raise ProgramRefusedError(finding)
    return "\n".join(lines) + "\n"


def _between(rows: Rows, motion: ToolMotion, axes: Axes) -> tuple[dict[int, list[str]], BOOL]:
    """Return the lines that go before rows, by row, and which rows name every axis."""
    words = axes.dialect.words
    before: dict[int, list[str]] = {}
    whole = np.zeros(len(rows), bool)
    movers = np.flatnonzero(rows.kind != Kind.DWELL)
    changes = []
    for event in events_to_write(motion):
        row = int(np.searchsorted(rows.block, event.before_block))
        before.setdefault(row, []).append(event_line(event, words))
        if event.code is EventCode.TOOL and row > 0:
            changes.append(row)
    before.setdefault(0, []).extend(_way_to_start(rows, motion, axes))
    for place in np.unique(np.searchsorted(movers, changes)) if changes else ():
        if place < len(movers):
            row = int(movers[place])
            whole[row] = True
            if rows.kind[row] != Kind.RAPID:
                x_y_c, z = _rapids(rows.begin[row], axes.dialect)
                before.setdefault(row, []).extend((x_y_c, z))
    return before, whole


def _way_to_start(rows: Rows, motion: ToolMotion, axes: Axes) -> tuple[str, str]:
    """Return the lines that bring the machine to where the motion begins, Z first."""
    if len(rows):
        start = rows.begin[0]
    else:
        start = axes.counts(
            motion.start[None, :], motion.tool[:1] if len(motion) else np.zeros(1, np.int64)
        )[0]
    x_y_c, z = _rapids(start, axes.dialect)
    return z, x_y_c


def _rapids(place: I64, dialect: Dialect) -> tuple[str, str]:
    """Return a rapid of X, Y and C, and one of Z, to a place in counts."""
    x, y, z = (f"{n / 10**dialect.decimals_mm:.{dialect.decimals_mm}f}" for n in place[:3].tolist())
    c = f"{int(place[3]) / 10**dialect.decimals_deg:.{dialect.decimals_deg}f}"
    return f"G0 X{x} Y{y} C{c}", f"G0 Z{z}"


def _row_lines(rows: Rows, dialect: Dialect, *, whole: BOOL, room: int) -> list[str]:
    """Return the text of each row; some hold several lines."""
    arcs = rows.kind == Kind.ARC
    changed = (rows.begin != rows.end) | whole[:, None]
    changed[:, :2] |= arcs[:, None]
    mm, deg = dialect.decimals_mm, dialect.decimals_deg
    columns = [_g_words(rows)]
    for axis, letter in enumerate("XYZC"):
        decimals = deg if letter == "C" else mm
        columns.append(_column(letter, rows.end[:, axis], changed[:, axis], decimals))
    columns += [_column(letter, rows.centre[:, k], arcs, mm) for k, letter in enumerate("IJ")]
    columns.append(_dwells(rows))
    texts = list(map("".join, zip(*columns, strict=True)))
    return _with_feeds(texts, rows, room=room)


def _g_words(rows: Rows) -> list[str]:
    names = np.array(["G0", "G1", "G2", "G4", "G3"])
    code = np.where(rows.is_ccw & (rows.kind == Kind.ARC), 4, rows.kind)
    return [str(name) for name in names[code].tolist()]


def _column(letter: str, counts: I64, mask: BOOL, decimals: int) -> list[str]:
    """Return words for the rows that have one, '' for others."""
    out = [""] * len(counts)
    form = f" {letter}%.{decimals}f"
    values = (counts[mask] / 10**decimals).tolist()
    for row, value in zip(np.flatnonzero(mask).tolist(), values, strict=True):
        out[row] = form % value
    return out


def _dwells(rows: Rows) -> list[str]:
    out = [""] * len(rows)
    for row in np.flatnonzero(rows.kind == Kind.DWELL).tolist():
        out[row] = f" P{rows.dwell_s[row]:.{DWELL_DECIMALS}f}"
    return out


def _with_feeds(texts: list[str], rows: Rows, *, room: int) -> list[str]:
    """Add F where it changes, and G93 and G94 on lines of their own.

    A feed does not outlive a change of its mode. One for which the line has no room goes on a
    line before.
    """
    fed = np.flatnonzero(rows.feed > 0.0)
    inverse = rows.is_inverse[fed]
    scale = np.where(inverse, 10**INVERSE_DECIMALS, 10**FEED_DECIMALS)
    counts = np.rint(rows.feed[fed] * scale)
    switch = np.diff(inverse.astype(np.int64), prepend=0)
    fresh = inverse | (switch != 0) | (np.diff(counts, prepend=-1.0) != 0.0)
    columns = (fed, counts / scale, inverse, switch)
    for row, feed, is_inverse, turn in zip(*(c[fresh].tolist() for c in columns), strict=True):
        text = texts[row]
        word = f"F{feed:.{INVERSE_DECIMALS if is_inverse else FEED_DECIMALS}f}"
        word = word.rstrip("0").rstrip(".")
        if is_inverse or len(text) + 1 + len(word) <= room:
            text = f"{text} {word}"
        else:
            text = f"{word}\n{text}"
        texts[row] = f"{'G93' if turn > 0 else 'G94'}\n{text}" if turn else text
    return texts
