"""What the dialect's own words mean: text like ``T{value} M6`` turned into a rule to read by."""

from __future__ import annotations

import re
from dataclasses import dataclass

from kerfwright.errors import ModelError
from kerfwright.model.dialect import Dialect
from kerfwright.model.motion import EventCode
from kerfwright.program.read.codes import ENDS, M_GROUP, STOPS
from kerfwright.program.read.refuse import refusal
from kerfwright.program.read.words import Words

_PART = re.compile(r"([A-Z])(?:(\d+(?:\.\d+)?)|\{(value|per_minute)\})")
_SAME = 1e-4
_EVENTS = {
    "tool": EventCode.TOOL,
    "tool_off": EventCode.TOOL,
    "oscillation_on": EventCode.OSCILLATION,
    "oscillation_off": EventCode.OSCILLATION,
    "spindle_on": EventCode.SPINDLE,
    "spindle_off": EventCode.SPINDLE,
    "vacuum_on": EventCode.VACUUM,
    "vacuum_off": EventCode.VACUUM,
    "pause": EventCode.PAUSE,
}
_LEAST_WHOLE = {"tool": 0, "vacuum_on": 1, "vacuum_off": 1}
_VALUED = frozenset({"tool", "oscillation_on", "spindle_on", "vacuum_on", "vacuum_off"})


@dataclass(frozen=True, slots=True)
class Meaning:
    """One event word: its M number, the words it fixes, the letter that carries the value."""

    key: str
    m: int
    fixed: tuple[tuple[str, float], ...]
    letter: str
    scale: float

    def fits(self, words: Words) -> bool:
        """Return whether the words of a line are those of this meaning."""
        held = all(abs(words.get(name, float("inf")) - v) <= _SAME for name, v in self.fixed)
        return held and (not self.letter or self.letter in words)

    def letters(self) -> set[str]:
        """Return the letters it uses, M aside."""
        return {name for name, _ in self.fixed} | ({self.letter} if self.letter else set())

    def event(self, words: Words, line: int) -> tuple[EventCode, float]:
        """Return the event that a line with these words is."""
        value = words[self.letter] * self.scale if self.letter else 0.0
        if value < 0.0:
            raise refusal("PRG-154", line, letter=self.letter, measured=words[self.letter])
        least = _LEAST_WHOLE.get(self.key)
        if least is not None:
            whole = round(value)
            if abs(value - whole) > _SAME or whole < least:
                raise refusal("PRG-153", line, letter=self.letter, measured=value, limit=least)
            value = float(whole)
        return _EVENTS[self.key], -value if self.key == "vacuum_off" else value


class Meanings:
    """All event words of a dialect, by M number; those that fix more words come first.

    Raises
    ------
    ModelError
        If a word of the dialect could not be read back.
    """

    def __init__(self, dialect: Dialect) -> None:
        found = [_meaning(k, t, dialect.id) for k, t in dialect.words.items() if k in _EVENTS]
        self.by_m: dict[int, list[Meaning]] = {}
        for meaning in sorted(found, key=lambda m: -len(m.fixed)):
            self.by_m.setdefault(meaning.m, []).append(meaning)
        self.standing_letters = frozenset(
            name for m in found if m.m in M_GROUP and m.m not in STOPS for name in m.letters()
        )

    def candidates(self, m: int, line: int) -> list[Meaning]:
        """Return what an M word may mean."""
        if m not in self.by_m:
            raise refusal("PRG-132", line, word=f"M{m}")
        return self.by_m[m]


def _meaning(key: str, text: str, dialect_id: str) -> Meaning:
    parsed = [_PART.fullmatch(part) for part in text.split()]
    parts = [(p[1], p[2], p[3]) for p in parsed if p is not None]
    ms = [number for letter, number, _ in parts if letter == "M"]
    values = [(letter, value) for letter, _, value in parts if value]
    good = None not in parsed and len(ms) == 1 and len(values) == (key in _VALUED)
    if not good or not (ms[0] or "").isdigit() or int(ms[0]) in ENDS:
        msg = (
            f"dialect {dialect_id}: its word {key} = {text!r} cannot be read back; give one M "
            "word, and one letter with {value} or {per_minute} where the event carries a value"
        )
        raise ModelError(msg)
    letter, value = values[0] if values else ("", "")
    return Meaning(
        key=key,
        m=int(ms[0]),
        fixed=tuple((name, float(number)) for name, number, _ in parts if number and name != "M"),
        letter=letter,
        scale=1.0 / 60.0 if value == "per_minute" else 1.0,
    )
