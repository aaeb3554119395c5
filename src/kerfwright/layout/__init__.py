"""Parts on sheets: where each copy lies, and an exact check that it may lie there."""

from kerfwright.layout.checking import check_layout
from kerfwright.layout.nesting import nest

__all__ = ["check_layout", "nest"]
