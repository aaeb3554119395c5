"""First fill of the shop's books: an invented table, blades, materials, cards, rules, rates.

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
from kerfwright.catalog.rates import Rates, load_rates

__all__ = [
    "Rates",
    "load_cards",
    "load_materials",
    "load_rates",
    "load_rule_tables",
    "load_tables",
    "load_tools",
]
