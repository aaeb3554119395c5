"""Which operation each line gets: the first rule that matches decides."""

from __future__ import annotations

from typing import Final

import numpy as np

from kerfwright.artwork.copies import earlier_copies
from kerfwright.formats import block_names
from kerfwright.geometry.record import I64
from kerfwright.model.drawing import Drawing
from kerfwright.model.rules import Rule, RuleTable

LEFT_OUT: Final = -1
"""A rule leaves the line out on purpose."""
NO_RULE: Final = -2
"""No rule matches the line."""
COPY: Final = -3
"""The same line was drawn before with the same operation; it is cut once."""
NOTHING_TO_CUT: Final = -4
"""The line is a point or has no length."""


def sort_lines(drawing: Drawing, rules: RuleTable) -> I64:
    """Return what becomes of each line.

    Parameters
    ----------
    drawing : Drawing
        K lines.
    rules : RuleTable
        The rules, in order.

    Returns
    -------
    ndarray of shape (K,), int
        Index into ``rules.operations``, or `LEFT_OUT`, `NO_RULE`, `COPY`, `NOTHING_TO_CUT`.
    """
    index = {operation.id: i for i, operation in enumerate(rules.operations)}
    decided: dict[tuple[str, ...], int] = {}
    found = np.full(len(drawing.paths), NO_RULE, np.int64)
    for k in range(len(drawing.paths)):
        features = features_of(drawing, k)
        if features not in decided:
            decided[features] = _decide(features, rules, index)
        found[k] = decided[features]
    no_length = drawing.paths.lengths_mm() == 0.0
    found[no_length & (found != LEFT_OUT)] = NOTHING_TO_CUT
    first = earlier_copies(drawing.paths, found, tolerance_mm=rules.duplicate_tolerance_mm)
    found[first >= 0] = COPY
    return found


def features_of(drawing: Drawing, k: int) -> tuple[str, ...]:
    """Return what rules look at in a line: layer, colour, then every name it goes by."""
    names = (drawing.separation[k], drawing.step[k], *block_names(drawing.source[k]))
    return (drawing.layer[k], drawing.stroke[k].colour, *(n for n in names if n))


def _decide(features: tuple[str, ...], rules: RuleTable, index: dict[str, int]) -> int:
    rule = rule_of(features, rules)
    if rule is None:
        return NO_RULE
    return index[rule.operation] if rule.operation else LEFT_OUT


def rule_of(features: tuple[str, ...], rules: RuleTable) -> Rule | None:
    """Return the first rule that matches what `features_of` says of a line."""
    return next((rule for rule in rules.rules if _matches(rule, features)), None)


def _matches(rule: Rule, features: tuple[str, ...]) -> bool:
    layer, colour, *names = features
    return (
        rule.layer in ("", layer)
        and rule.colour in ("", colour)
        and (not rule.name or rule.name in names)
    )
