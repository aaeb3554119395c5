"""One line, sorted: motion, other modes, M words, and the words they use."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwright.program.read.codes import (
    BUILDERS_GROUP,
    G_GROUP,
    G_REFUSED,
    M_GROUP,
    MOST_M_WORDS,
    MOTION,
)
from kerfwright.program.read.refuse import refusal
from kerfwright.program.read.words import Words, split_words

Settings = dict[int, int]
_NOTHING: Settings = {}
_PLAIN_MOTION = {0.0: 0, 1.0: 10, 2.0: 20, 3.0: 30}
_AN_INTEGER = 1e-4
"""How far off a whole number may be, NISTIR 6556 section 3.3.2 (from memory)."""


@dataclass(slots=True)
class Block:
    """A line whose words are each known and none of whose modal groups is named twice.

    Parameters
    ----------
    line : int
        Number of the line.
    motion : int or None
        Code of group 1, if the line gives one.
    settings : dict of int to int
        Codes of the other groups, by group.
    ms : list of int
        M words.
    words : dict of str to float
        All other words.
    """

    line: int
    motion: int | None
    settings: Settings
    ms: list[int]
    words: Words


def parse_block(code: str, line: int) -> Block:
    """Return a line as a block."""
    gs, ms, words = split_words(code, line)
    if "A" in words or "B" in words:
        raise refusal("PRG-145", line, letter="A" if "A" in words else "B")
    if not ms and len(gs) <= 1:
        if not gs:
            return Block(line, None, _NOTHING, [], words)
        motion = _PLAIN_MOTION.get(gs[0])
        if motion is not None:
            return Block(line, motion, _NOTHING, [], words)
    settings = _g_groups(gs, line)
    return Block(line, settings.pop(MOTION, None), settings, _m_words(ms, line), words)


def _g_groups(gs: list[float], line: int) -> Settings:
    groups: Settings = {}
    for value in gs:
        code = round(10.0 * value)
        if code not in G_GROUP or abs(10.0 * value - code) > 10.0 * _AN_INTEGER:
            raise refusal("PRG-130", line, word=f"G{value:g}")
        group = G_GROUP[code]
        if group in groups:
            raise refusal("PRG-131", line, first=_g(groups[group]), second=_g(code))
        groups[group] = code
    for code in groups.values():
        if code in G_REFUSED:
            raise refusal(G_REFUSED[code], line, word=_g(code))
    return groups


def _m_words(values: list[float], line: int) -> list[int]:
    if len(values) > MOST_M_WORDS:
        raise refusal("PRG-134", line, measured=len(values), limit=MOST_M_WORDS)
    groups: dict[int, int] = {}
    for value in values:
        code = round(value)
        if abs(value - code) > _AN_INTEGER or not 0 <= code <= 99:
            raise refusal("PRG-132", line, word=f"M{value:g}")
        group = M_GROUP.get(code, BUILDERS_GROUP)
        if group in groups:
            raise refusal("PRG-133", line, first=f"M{groups[group]}", second=f"M{code}")
        groups[group] = code
    return list(groups.values())


def _g(code: int) -> str:
    return f"G{code / 10:g}"
