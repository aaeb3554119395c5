"""Plan, check and hand over jobs for multi-head flatbed cutting tables.

Importing the package loads nothing but this file: every room is imported by name, so that a
command line that only prints its help never pays for compiled code.
"""

from __future__ import annotations

__all__ = ["__version__"]

__version__ = "0.1.0"
