"""First fill of the shop's books: an invented table, blades, materials, setting cards, rules.

Every figure carries a range, a source and a date; where nothing is published it says so. The
store copies these books once; from then on the shop's own copies count.
"""

from kerfwright.catalog.load import (
    load_cards,
    load_materials,
    load_rule_tables,
    load_tables,
    load_tools,
)

__all__ = ["load_cards", "load_materials", "load_rule_tables", "load_tables", "load_tools"]
