"""One row of the house rules -> one rule table: operations by id, then rules in order."""

from __future__ import annotations

from collections.abc import Callable

from kerfwright.catalog.cells import (
    Row,
    count_of,
    list_of,
    number_of,
    only_keys,
    table_of,
    text_of,
)
from kerfwright.geometry.record import require
from kerfwright.model.operation import HeadKind, Operation, Process, Tolerance
from kerfwright.model.routing import Routing, Tabs
from kerfwright.model.rules import Rule, RuleTable
from kerfwright.units import RAD_PER_DEG


def rule_table(key: str, row: Row) -> RuleTable:
    """Return the rule table of a row: operations by id, then rules in order."""
    tolerances = ("join_tolerance_mm", "duplicate_tolerance_mm")
    only_keys(row, "operations", "rules", *tolerances)
    require(row.get("operations"), f"rules {key} list no operation")
    operations = table_of(row, "operations")
    return RuleTable(
        rules=tuple(_rule(r) for r in list_of(row, "rules", ())),
        operations=tuple(_operation(k, table_of(operations, k)) for k in operations),
        **{k: number_of(row, k) for k in tolerances if k in row},
    )


def _rule(row: Row) -> Rule:
    only_keys(row, "layer", "colour", "name", "operation")
    words = {name: text_of(row, name, "") for name in ("layer", "colour", "name")}
    return Rule(operation=text_of(row, "operation"), **words)


def _operation(key: str, row: Row) -> Operation:
    names = ("process", "head_kind", "tool", "card", "depth_mm", "depth_from", "tolerance_mm")
    more = ("side", "passes", "fidelity", "quality", "feed_mm_s", "routing", "setup")
    only_keys(row, *names, *more)
    tolerance = table_of(row, "tolerance_mm")
    only_keys(tolerance, "print_mm", "size_mm")
    return Operation(
        id=key,
        process=Process(row["process"]),
        head_kind=HeadKind(row["head_kind"]),
        tool_id=text_of(row, "tool"),
        card_id=text_of(row, "card"),
        side=row.get("side", "on"),
        depth_mm=number_of(row, "depth_mm"),
        depth_from=row["depth_from"],
        passes=count_of(row, "passes") if "passes" in row else 1,
        tolerance_mm=Tolerance(
            print_mm=number_of(tolerance, "print_mm"), size_mm=number_of(tolerance, "size_mm")
        ),
        fidelity=row["fidelity"],
        quality=row.get("quality", "standard"),
        feed_mm_s=number_of(row, "feed_mm_s") if "feed_mm_s" in row else None,
        routing=_routing(table_of(row, "routing")) if "routing" in row else None,
        setup=count_of(row, "setup") if "setup" in row else 1,
    )


def _routing(row: Row) -> Routing:
    """Return the routing figures; what is not said is as the model has it."""
    read: dict[str, Callable[[str], object]] = {
        "sense": lambda k: row[k],
        "allowance_mm": lambda k: number_of(row, k),
        "entry": lambda k: row[k],
        "lead_mm": lambda k: number_of(row, k),
        "tabs": lambda k: _tabs(table_of(row, k)),
    }
    only_keys(row, "entry_deg", *read)
    given = {name: value(name) for name, value in read.items() if name in row}
    if "entry_deg" in row:
        given["entry_rad"] = number_of(row, "entry_deg") * RAD_PER_DEG
    return Routing(**given)  # type: ignore[arg-type] # the record checks words, the cells numbers


def _tabs(row: Row) -> Tabs:
    names = ("length_mm", "height_mm", "spacing_mm")
    only_keys(row, *names)
    return Tabs(**{name: number_of(row, name) for name in names})
