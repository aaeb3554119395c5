"""Vacuum, leaks, and the force of the tool against what holds each part once it is cut free.

Until the last web of its outline is cut a part is held by the sheet and is not looked at. From
the last few millimetres of its outline on, every touch of the tool must be borne by the vacuum
below the part alone.
"""

from kerfwright.holddown.check import check

__all__ = ["check"]
