"""Order, direction and entries of the cuts, tool changes, and the ways between cuts.

`order` chooses, `link` joins the motions of the operations in that order. Neither knows how a
tool cuts: they see where a cut may begin and end, how long it takes, and what it must wait for.
"""

from kerfwright.sequence.linking import link
from kerfwright.sequence.ordering import order

__all__ = ["link", "order"]
