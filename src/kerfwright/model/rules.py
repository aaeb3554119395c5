"""How lines of a drawing become operations: the shop's rule table."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwright.geometry.record import Record, require
from kerfwright.model._checks import require_finite
from kerfwright.model.operation import Operation


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One row of the rule table; the first row that matches a line decides.

    Parameters
    ----------
    layer, colour, name : str
        Exact layer, ``#rrggbb`` colour, and ink, step or block name; empty matches any.
    operation : str
        Id of an operation, or empty to leave the line out on purpose.
    """

    layer: str = ""
    colour: str = ""
    name: str = ""
    operation: str

    def __post_init__(self) -> None:
        require(self.colour == self.colour.lower(), f"rule colour {self.colour} must be lower case")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RuleTable(Record):
    """Rules in order, and the operations they name.

    Parameters
    ----------
    rules : tuple of Rule
        Rows, first match wins; a line no row matches is a finding, never a guess.
    operations : tuple of Operation
        Every operation the rows name.
    join_tolerance_mm : float
        Ends closer than this are one point [mm].
    duplicate_tolerance_mm : float
        Lines closer than this along their whole length are the same line [mm].
    """

    rules: tuple[Rule, ...]
    operations: tuple[Operation, ...]
    join_tolerance_mm: float = 0.02
    duplicate_tolerance_mm: float = 0.02

    def __post_init__(self) -> None:
        require_finite(self)
        ids = [operation.id for operation in self.operations]
        known = set(ids)
        twice = sorted({i for i in ids if ids.count(i) > 1})
        require(not twice, f"RuleTable.operations holds {', '.join(twice)} more than once")
        missing = sorted({r.operation for r in self.rules} - known - {""})
        require(not missing, f"rules name operations that are not listed: {', '.join(missing)}")
        for name in ("join_tolerance_mm", "duplicate_tolerance_mm"):
            value = getattr(self, name)
            require(value > 0.0, f"RuleTable.{name} is {value}, must be above 0")
