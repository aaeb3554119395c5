"""Runs one line: modes, words of the machine, dwell, motion, stop.

The order is that of NISTIR 6556 table 8, save that a feed on the line that first sets the units
counts in those units.
"""

from __future__ import annotations

from math import isnan

from kerfwright.model.motion import EventCode, FeedKind, Kind
from kerfwright.program.read.block import Block
from kerfwright.program.read.codes import (
    ABSOLUTE,
    DISTANCE,
    DWELL,
    ENDS,
    FEED,
    INCHES,
    INVERSE_TIME,
    M_GROUP,
    NON_MODAL,
    STOPS,
    UNITS,
)
from kerfwright.program.read.meanings import Meaning, Meanings
from kerfwright.program.read.moves import move
from kerfwright.program.read.refuse import refusal
from kerfwright.program.read.state import State
from kerfwright.program.read.words import Words
from kerfwright.units import MM_PER_INCH

_TOOL_CHANGE = 6
_SPINDLE_WORDS = frozenset({3, 4, 5})


def execute(state: State, block: Block, meanings: Meanings) -> None:
    """Run one line.

    Raises
    ------
    ProgramSyntaxError
        If it breaks a rule that depends on what came before.
    """
    line, words, settings = block.line, block.words, block.settings
    if state.ended:
        raise refusal("PRG-108", line)
    state.last_line = line
    builders = next((m for m in block.ms if m not in M_GROUP), None)
    if builders is not None:
        _builders_line(state, block, meanings, m=builders)
        return
    if settings:
        _set_feed_mode(state, settings.get(FEED))
    has_feed = "F" in words
    if has_feed:
        _set_feed(state, words.pop("F"), line)
    if block.ms or "T" in words or "S" in words:
        _standard_words(state, block, meanings)
    if settings:
        _set_modes(state, block, has_feed=has_feed)
    used = move(state, block)
    if has_feed and state.is_inverse and not used:
        raise refusal("PRG-135", line, letter="F")
    for m in block.ms:
        if m in STOPS:
            _emit(state, meanings.candidates(m, line)[0], {}, line)
        state.ended = state.ended or m in ENDS


def _set_feed_mode(state: State, code: int | None) -> None:
    if code is not None and (code == INVERSE_TIME) != state.is_inverse:
        state.is_inverse = code == INVERSE_TIME
        state.feed = 0.0


def _set_feed(state: State, feed: float, line: int) -> None:
    if feed < 0.0:
        raise refusal("PRG-162", line, measured=feed, limit=0.0)
    state.feed, state.feed_line = feed, line


def _set_modes(state: State, block: Block, *, has_feed: bool) -> None:
    settings = block.settings
    if settings.get(NON_MODAL) == DWELL:
        _dwell(state, block)
    if UNITS in settings:
        mm = MM_PER_INCH if settings[UNITS] == INCHES else 1.0
        if mm != state.mm and not (isnan(state.mm) and has_feed):
            state.feed = 0.0
        state.mm = mm
    if DISTANCE in settings:
        state.is_absolute = settings[DISTANCE] == ABSOLUTE


def _dwell(state: State, block: Block) -> None:
    if "P" not in block.words:
        raise refusal("PRG-150", block.line)
    seconds = block.words.pop("P")
    if seconds < 0.0:
        raise refusal("PRG-151", block.line, measured=seconds, limit=0.0, unit="s")
    place = (state.x, state.y, state.z, state.c)
    nothing = (0.0, 0.0, 0.0, 0.0, float(FeedKind.NONE))
    state.add_row((float(Kind.DWELL), *place, *nothing, seconds, float(state.tool)))


def _builders_line(state: State, block: Block, meanings: Meanings, *, m: int) -> None:
    """Read a line of the dialect's own: one M word and exactly the words that go with it."""
    fitting = [c for c in meanings.candidates(m, block.line) if c.fits(block.words)]
    alone = len(block.ms) == 1 and block.motion is None and not block.settings
    if not alone or not fitting or fitting[0].letters() != block.words.keys():
        raise refusal("PRG-148", block.line, word=f"M{m}")
    _emit(state, fitting[0], block.words, block.line)


def _standard_words(state: State, block: Block, meanings: Meanings) -> None:
    """Take T and S, then run M3 to M9; T and S stand until they are given again."""
    line, given = block.line, set()
    for letter in meanings.standing_letters & block.words.keys():
        state.standing[letter] = block.words.pop(letter)
        given.add(letter)
        if state.standing[letter] < 0.0:
            raise refusal("PRG-154", line, letter=letter, measured=state.standing[letter])
    for m in sorted(block.ms, key=lambda m: m != _TOOL_CHANGE):
        if m in ENDS or m in STOPS:
            continue
        candidates = meanings.candidates(m, line)
        fitting = [c for c in candidates if c.fits(state.standing)]
        if not fitting:
            raise refusal("PRG-149", line, word=f"M{m}", letter=candidates[-1].letter)
        _emit(state, fitting[0], state.standing, line)
    if "S" in given and state.spindle and not _SPINDLE_WORDS & set(block.ms):
        _emit(state, state.spindle, state.standing, line)


def _emit(state: State, meaning: Meaning, words: Words, line: int) -> None:
    code, value = meaning.event(words, line)
    state.events.append((state.blocks, code, value))
    if code is EventCode.TOOL:
        state.tool = int(value)
        state.placed.clear()
        state.is_loose = True
    if code is EventCode.SPINDLE:
        state.spindle = meaning if value > 0.0 else None
