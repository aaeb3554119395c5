"""Contours to motion the tool can follow, one file per family of processes.

`choices` says in which ways each contour may be cut; `plan` makes the motion of the ways chosen.
"""

from kerfwright.toolpath.doors import choices, plan

__all__ = ["choices", "plan"]
