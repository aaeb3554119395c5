"""Words of the dialect for what happens between blocks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from kerfwright.model.motion import Event, EventCode, ToolMotion
from kerfwright.units import S_PER_MIN

_ON_OFF = {EventCode.OSCILLATION: "oscillation", EventCode.SPINDLE: "spindle"}


def word_key(event: Event, words: Mapping[str, str]) -> str:
    """Return which of the dialect's words says an event."""
    match event.code:
        case EventCode.TOOL:
            return "tool_off" if event.value == 0.0 and "tool_off" in words else "tool"
        case EventCode.VACUUM:
            return "vacuum_on" if event.value > 0.0 else "vacuum_off"
        case EventCode.PAUSE:
            return "pause"
        case _:
            return f"{_ON_OFF[event.code]}_{'on' if event.value > 0.0 else 'off'}"


def event_line(event: Event, words: Mapping[str, str]) -> str:
    """Return the line that says an event."""
    text, value = words[word_key(event, words)], abs(event.value)
    return text.replace("{value}", _number(value)).replace(
        "{per_minute}", _number(value * S_PER_MIN)
    )


def events_to_write(motion: ToolMotion) -> tuple[Event, ...]:
    """Return the events, led by the call of the first block's station where none calls it.

    The plan's own record of which station cuts must not be lost in the text.
    """
    called = any(e.code is EventCode.TOOL and e.before_block == 0 for e in motion.events)
    if called or not len(motion) or motion.tool[0] == 0:
        return motion.events
    first = Event(before_block=0, code=EventCode.TOOL, value=float(motion.tool[0]))
    return (first, *motion.events)


def stations_called(motion: ToolMotion) -> Iterator[tuple[int, int]]:
    """Yield block and station of each tool change, in order."""
    for event in events_to_write(motion):
        if event.code is EventCode.TOOL:
            yield event.before_block, int(event.value)


def _number(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")
