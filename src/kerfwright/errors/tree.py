"""The exception tree; drawn in the package's docstring."""

from __future__ import annotations


class KerfwrightError(Exception):
    """Base of all exceptions raised on purpose.

    Parameters
    ----------
    message : str
        One sentence that names place, value, limit and cure.
    """

    exit_code = 1

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message

    def __str__(self) -> str:
        """Return the sentence; KeyError and OSError would decorate it."""
        return self.message


class ModelError(KerfwrightError, ValueError):
    """A value breaks an invariant of the model."""


class GeometryError(KerfwrightError, ValueError):
    """A shape for which the question has no answer."""


class UnknownNameError(KerfwrightError, LookupError):
    """A name that no book, table or catalogue holds."""

    exit_code = 2


class UnreadableError(KerfwrightError, ValueError):
    """A file cannot be read."""

    exit_code = 3


class ProgramSyntaxError(UnreadableError):
    """A line of a machine program breaks the grammar or a modal rule.

    Parameters
    ----------
    message : str
        One sentence; it begins with the line number.
    line : int
        Number of the offending line, counted from one.
    code : str
        Stable code of the rule that was broken.
    """

    def __init__(self, message: str, *, line: int, code: str) -> None:
        super().__init__(message)
        self.line = line
        self.code = code

    def __reduce__(self) -> tuple[object, ...]:
        """Return what rebuilds the error in another process, keyword arguments included."""
        return _rebuild_syntax_error, (type(self), self.message, self.line, self.code)


def _rebuild_syntax_error(
    kind: type[ProgramSyntaxError], message: str, line: int, code: str
) -> ProgramSyntaxError:
    return kind(message, line=line, code=code)


class CannotWriteError(KerfwrightError, OSError):
    """A result cannot be written."""

    exit_code = 4


class OutOfResourcesError(KerfwrightError, RuntimeError):
    """A limit of time, memory or size was reached."""

    exit_code = 4


class StaleVersionError(KerfwrightError, RuntimeError):
    """Somebody else stored a newer version.

    Parameters
    ----------
    message : str
        One sentence.
    version : int
        Version that is stored now.
    stored : object
        What is stored now, so that both can be shown; None where nothing is.
    """

    def __init__(self, message: str, *, version: int, stored: object = None) -> None:
        super().__init__(message)
        self.version = version
        self.stored = stored

    def __reduce__(self) -> tuple[object, ...]:
        """Return what rebuilds the error in another process, keyword arguments included."""
        return _rebuild_stale_error, (type(self), self.message, self.version, self.stored)


def _rebuild_stale_error(
    kind: type[StaleVersionError], message: str, version: int, stored: object
) -> StaleVersionError:
    return kind(message, version=version, stored=stored)


class BlockedError(KerfwrightError, RuntimeError):
    """A finding blocks the step that was asked for."""


class UsageError(KerfwrightError, ValueError):
    """A command or an argument is wrong."""

    exit_code = 2


class CancelledError(KerfwrightError, RuntimeError):
    """Somebody stopped the work."""

    exit_code = 130
