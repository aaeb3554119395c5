"""G0 to G3: where the axes go, how fast, along which arc."""

from __future__ import annotations

from math import hypot, isnan, sqrt

from kerfwright.model.motion import FeedKind, Kind
from kerfwright.program.read.arcs import arc_of
from kerfwright.program.read.block import Block
from kerfwright.program.read.codes import CANCEL, CCW, CW, LINE, RAPID
from kerfwright.program.read.refuse import refusal
from kerfwright.program.read.state import State
from kerfwright.program.read.words import Words
from kerfwright.units import S_PER_MIN

_STILL = 1e-9
"""Moves shorter than this are rounding of binary numbers [mm, deg]."""

_LEAST_FEED = 1e-9
_AXES = frozenset("XYZC")
_LENGTHS = frozenset("XYZIJKR")
_ARC_WORDS = frozenset("XYZCIJKR")
_USES: dict[int | None, frozenset[str]] = {
    RAPID: _AXES,
    LINE: _AXES,
    CW: _ARC_WORDS,
    CCW: _ARC_WORDS,
}
_RAPID, _LINE, _ARC = float(Kind.RAPID), float(Kind.LINE), float(Kind.ARC)
_NONE, _PATH, _ROTARY = float(FeedKind.NONE), float(FeedKind.PATH), float(FeedKind.ROTARY)

Place = tuple[float, float, float, float]


def move(state: State, block: Block) -> bool:
    """Run the motion of a line; return whether it has one."""
    words, line = block.words, block.line
    if not _choose_motion(state, block):
        return False
    if isnan(state.mm) and not _LENGTHS.isdisjoint(words):
        raise refusal("PRG-146", line)
    mode = state.motion
    new = _new_places(state, words) if state.is_absolute else _added_places(state, words, line)
    if state.is_loose and mode in {CW, CCW} and not {"X", "Y"} <= state.placed:
        raise refusal("PRG-163", line, axis="X and Y")
    if mode == RAPID:
        _rapid(state, new)
    elif mode == LINE:
        _line(state, new, line)
    else:
        _arc(state, new, block)
    state.x, state.y, state.z, state.c = new
    if state.is_loose:
        _note_places(state, words, new)
    return True


def _note_places(state: State, words: Words, new: Place) -> None:
    """Note which axes are known now, and where each was first."""
    for axis, place in zip("XYZC", new, strict=True):
        if axis in words:
            state.placed.add(axis)
            if isnan(state.first[axis]):
                state.first[axis] = place
    state.is_loose = state.placed != _AXES


def _choose_motion(state: State, block: Block) -> bool:
    """Set the motion mode; return whether the line moves anything."""
    words, motion = block.words, block.motion
    if motion is None and not words:
        return False
    if motion is not None:
        state.motion = motion
    mode = state.motion
    usable = _USES.get(mode, _AXES)
    if not words.keys() <= usable:
        raise refusal("PRG-135", block.line, letter=min(words.keys() - usable))
    has_axes = not _AXES.isdisjoint(words)
    if mode is None or mode == CANCEL:
        if has_axes:
            raise refusal("PRG-136", block.line)
        return False
    if not has_axes:
        if motion is None:
            raise refusal("PRG-135", block.line, letter=min(words))
        raise refusal("PRG-147" if mode in {RAPID, LINE} else "PRG-170", block.line)
    return True


def _new_places(state: State, words: Words) -> Place:
    mm = state.mm
    return (
        words["X"] * mm if "X" in words else state.x,
        words["Y"] * mm if "Y" in words else state.y,
        words["Z"] * mm if "Z" in words else state.z,
        words.get("C", state.c),
    )


def _added_places(state: State, words: Words, line: int) -> Place:
    """Return the places after G91; an axis that is nowhere cannot be moved on from there."""
    unknown = (_AXES & words.keys()) - state.placed if state.is_loose else set()
    if unknown:
        raise refusal("PRG-163", line, axis=min(unknown))
    mm = state.mm
    x, y, z = (words.get(axis, 0.0) * mm if axis in words else 0.0 for axis in "XYZ")
    return state.x + x, state.y + y, state.z + z, state.c + words.get("C", 0.0)


def _rapid(state: State, new: Place) -> None:
    moved = (
        abs(new[0] - state.x) > _STILL
        or abs(new[1] - state.y) > _STILL
        or abs(new[2] - state.z) > _STILL
        or abs(new[3] - state.c) > _STILL
    )
    if moved:
        state.add_row((_RAPID, *new, 0.0, 0.0, 0.0, 0.0, _NONE, 0.0, state.tool))


def _line(state: State, new: Place, line: int) -> None:
    dx, dy, dz, dc = new[0] - state.x, new[1] - state.y, new[2] - state.z, new[3] - state.c
    arrives = turns_in = False
    if state.is_loose:
        # A difference from nowhere is NaN: it counts as a move of unknown length.
        arrives = any(isnan(d) and not isnan(n) for d, n in zip((dx, dy, dz), new, strict=False))
        turns_in = isnan(dc) and not isnan(new[3])
        dx, dy, dz, dc = (0.0 if isnan(d) else d for d in (dx, dy, dz, dc))
    length = sqrt(dx * dx + dy * dy + dz * dz)
    per_minute = _feed_word(state, line)
    if length > _STILL or arrives:
        feed = _path_feed(state, per_minute, length, line)
        state.add_row((_LINE, *new, 0.0, 0.0, 0.0, feed, _PATH, 0.0, state.tool))
    elif abs(dc) > _STILL or turns_in:
        feed = _path_feed(state, per_minute, abs(dc), line, unit=1.0)
        state.add_row((_LINE, *new, 0.0, 0.0, 0.0, feed, _ROTARY, 0.0, state.tool))


def _arc(state: State, new: Place, block: Block) -> None:
    line = block.line
    x, y, sweep = arc_of(
        block.words,
        line,
        start=(state.x, state.y),
        end=(new[0], new[1]),
        is_ccw=state.motion == CCW,
        mm=state.mm,
    )
    per_minute = _feed_word(state, line)
    rise = new[2] - state.z
    length = hypot(hypot(x - new[0], y - new[1]) * sweep, 0.0 if isnan(rise) else rise)
    feed = _path_feed(state, per_minute, length, line)
    state.add_row((_ARC, *new, x, y, sweep, feed, _PATH, 0.0, state.tool))


def _feed_word(state: State, line: int) -> float:
    """Return F; G93 wants one on each line."""
    if state.is_inverse and state.feed_line != line:
        raise refusal("PRG-161", line)
    if state.feed <= 0.0:
        raise refusal("PRG-160", line)
    return state.feed


def _path_feed(
    state: State, per_minute: float, length: float, line: int, *, unit: float | None = None
) -> float:
    """Return the feed per second; G93 counts whole blocks per minute.

    `unit` is what F counts under G94 where that is not the unit of lengths.
    """
    if state.is_inverse:
        if length <= _STILL:
            raise refusal("PRG-163", line, axis="its axes")
        factor = length
    else:
        factor = state.mm if unit is None else unit
    feed = per_minute * factor / S_PER_MIN
    if feed < _LEAST_FEED:
        raise refusal("PRG-160", line)
    return feed
