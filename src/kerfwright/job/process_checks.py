"""What makes an operation impossible for its kind of tool: cutter, wheel, pen, and their cards."""

from __future__ import annotations

from kerfwright import mechanics
from kerfwright.errors import Finding, Severity
from kerfwright.job.context import JobContext
from kerfwright.job.planning_finding import finding_of
from kerfwright.model.material import SettingCard
from kerfwright.model.operation import HeadKind, Operation, Process
from kerfwright.model.tooling import Cutter, Tool, Wheel

FEEDS = {"fine": "feed_fine_mm_s", "standard": "feed_mm_s", "fast": "feed_fast_mm_s"}
"""Name of a card's feed per quality."""
KNIVES = frozenset({HeadKind.TANGENTIAL_KNIFE, HeadKind.OSCILLATING_KNIFE})
"""Heads that hold a blade."""

_HEADS_OF = {
    Process.CUTTING: KNIVES,
    Process.PARTIAL_CUTTING: KNIVES,
    Process.CREASING: frozenset({HeadKind.CREASING_WHEEL}),
    Process.DRAWING: frozenset({HeadKind.PEN}),
    Process.ROUTING: frozenset({HeadKind.ROUTER_SPINDLE}),
}
_BLADE_VALUES = ("lift_angle_rad", "side_offset_mm")
_VALUES_OF = {
    HeadKind.TANGENTIAL_KNIFE: _BLADE_VALUES,
    HeadKind.OSCILLATING_KNIFE: (*_BLADE_VALUES, "stroke_hz"),
    HeadKind.CREASING_WHEEL: ("lift_angle_rad", "lead_in_mm", "lead_out_mm"),
    HeadKind.ROUTER_SPINDLE: ("spindle_hz", "max_step_mm"),
}
_ROUNDING_MM = 1e-9


def check_process(operation: Operation, context: JobContext) -> list[Finding]:
    """Return what is wrong between an operation, its kind of tool and its card."""
    card, tool = context.cards[operation.card_id], context.tools[operation.tool_id]
    found = _check_head(operation) + _check_values(operation, card)
    if found:
        return found
    deep = context.thickness_mm - operation.tip_z_mm(context.thickness_mm)
    if isinstance(tool, Cutter):
        found += _check_length(operation, tool, deep)
        found += _check_step(operation, card, deep)
        found += _check_chip(operation, tool, card)
    if isinstance(tool, Wheel):
        found += _check_share(operation, card, deep, context.thickness_mm)
    return found


def check_inside(operation: Operation, tool: Tool, top_mm: float) -> list[Finding]:
    """Return whether an operation that shall end inside the stock does not."""
    tip = operation.tip_z_mm(top_mm)
    deep = top_mm - tip
    if operation.process is Process.CREASING:
        inside = 0.0 < tip < top_mm
        said = finding_of("JOB-143", Severity.BLOCKS, deep, top_mm, operation=operation.id)
        return [] if inside else [said]
    if operation.process is Process.DRAWING:
        return []  # a pen stands on the top face; what its spring takes up is no depth
    if operation.process is Process.ROUTING and operation.depth_from == "top" and tip <= 0.0:
        return [
            finding_of(
                "JOB-145", Severity.BLOCKS, deep, top_mm, operation=operation.id, tool=tool.id
            )
        ]
    if not 0.0 < tip < top_mm:
        return [finding_of("JOB-126", Severity.BLOCKS, tip, top_mm, operation=operation.id)]
    return []


def _check_head(operation: Operation) -> list[Finding]:
    heads = _HEADS_OF[operation.process]
    if operation.head_kind in heads:
        return []
    return [
        finding_of(
            "JOB-127",
            Severity.BLOCKS,
            operation=operation.id,
            process=operation.process.value,
            head=operation.head_kind.value,
            needs=" or ".join(sorted(h.value for h in heads)),
        )
    ]


def _check_values(operation: Operation, card: SettingCard) -> list[Finding]:
    feed = () if operation.feed_mm_s else (FEEDS[operation.quality],)
    needed = (*feed, "plunge_mm_s", "lift_mm", *_VALUES_OF.get(operation.head_kind, ()))
    return [
        finding_of(
            "JOB-129",
            Severity.BLOCKS,
            card=card.id,
            operation=operation.id,
            value=name,
            head=operation.head_kind.value,
        )
        for name in needed
        if name not in card.values
    ]


def _check_length(operation: Operation, cutter: Cutter, deep: float) -> list[Finding]:
    limit = cutter.length_mm
    if deep <= limit:
        return []
    params = {"operation": operation.id, "tool": cutter.id}
    return [finding_of("JOB-128", Severity.BLOCKS, deep, limit, **params)]


def _check_step(operation: Operation, card: SettingCard, deep: float) -> list[Finding]:
    """Return whether a pass goes deeper than the card's value, and worse, than its range."""
    setting = card.values["max_step_mm"]
    step = deep / operation.passes
    params = {"operation": operation.id, "card": card.id}
    if step > setting.range.high + _ROUNDING_MM:
        return [finding_of("JOB-141", Severity.BLOCKS, step, setting.range.high, **params)]
    if step > setting.value + _ROUNDING_MM:
        return [finding_of("JOB-142", Severity.WARN, step, setting.value, **params)]
    return []


def _check_chip(operation: Operation, cutter: Cutter, card: SettingCard) -> list[Finding]:
    """Return whether the feed makes chips the card does not know."""
    if "chip_load_mm" not in card.values:
        return []
    within = card.values["chip_load_mm"].range
    feed = operation.feed_mm_s or card.value(FEEDS[operation.quality])
    chip = mechanics.chip_load_mm(
        feed, flutes=cutter.flutes, spindle_hz=card.value("spindle_hz")
    )  # fmt: skip
    if within.low - _ROUNDING_MM <= chip <= within.high + _ROUNDING_MM:
        return []
    said = {"operation": operation.id, "tool": cutter.id, "card": card.id}
    return [
        finding_of("JOB-149", Severity.WARN, chip, within.high, feed=feed, low=within.low, **said)
    ]


def _check_share(operation: Operation, card: SettingCard, deep: float, top: float) -> list[Finding]:
    if "depth_share" not in card.values:
        return []
    within = card.values["depth_share"].range
    low, high = within.low * top, within.high * top
    if low - _ROUNDING_MM <= deep <= high + _ROUNDING_MM:
        return []
    params = {"operation": operation.id, "card": card.id}
    return [finding_of("JOB-144", Severity.WARN, deep, high, low=low, **params)]
