"""What can go wrong, in two kinds only.

Exceptions: a call cannot be answered. Every one inherits `KerfwrightError` and a builtin::

    KerfwrightError
    +-- ModelError(ValueError)          a value breaks an invariant of the model
    +-- GeometryError(ValueError)       a shape for which the question has no answer
    +-- UnknownNameError(LookupError)   a name that no book or table holds
    +-- UnreadableError(ValueError)     a file cannot be read                     (exit code 3)
    |   +-- ProgramSyntaxError          a program line breaks the grammar
    +-- CannotWriteError(OSError)       a result cannot be written                (exit code 4)
    +-- OutOfResourcesError(RuntimeError)  a limit of time or memory was reached  (exit code 4)
    +-- StaleVersionError(RuntimeError) somebody else stored a newer version
    +-- BlockedError(RuntimeError)      a finding blocks the step that was asked  (exit code 1)
    +-- UsageError(ValueError)          a command or an argument is wrong         (exit code 2)
    +-- CancelledError(RuntimeError)    somebody stopped the work                 (exit code 130)

Findings: the *job* has something wrong, and the work goes on around it. A `Finding` has a
stable code; `messages` turns the code into a sentence and a cure.
"""

from kerfwright.errors.findings import Finding, Place, Severity, worst_severity
from kerfwright.errors.tree import (
    BlockedError,
    CancelledError,
    CannotWriteError,
    GeometryError,
    KerfwrightError,
    ModelError,
    OutOfResourcesError,
    ProgramSyntaxError,
    StaleVersionError,
    UnknownNameError,
    UnreadableError,
    UsageError,
)

__all__ = [
    "BlockedError",
    "CancelledError",
    "CannotWriteError",
    "Finding",
    "GeometryError",
    "KerfwrightError",
    "ModelError",
    "OutOfResourcesError",
    "Place",
    "ProgramSyntaxError",
    "Severity",
    "StaleVersionError",
    "UnknownNameError",
    "UnreadableError",
    "UsageError",
    "worst_severity",
]
