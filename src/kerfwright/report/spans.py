"""Amounts of money with their range, in whole hundredths, so that sums are exact."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal

from kerfwright.geometry.record import require
from kerfwright.model.material import Setting


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A figure and the range it lies in; none below 0, so that ranges multiply end by end."""

    value: Decimal
    low: Decimal
    high: Decimal

    def __post_init__(self) -> None:
        require(
            Decimal(0) <= self.low <= self.value <= self.high,
            f"{self.value} with the range {self.low} to {self.high}; must be in it and not below 0",
        )

    def __add__(self, other: Span) -> Span:
        return Span(
            value=self.value + other.value, low=self.low + other.low, high=self.high + other.high
        )

    def __mul__(self, other: Span) -> Span:
        return Span(
            value=self.value * other.value, low=self.low * other.low, high=self.high * other.high
        )

    def times(self, factor: Decimal | int) -> Span:
        """Return the span times a number known exactly."""
        return self * exactly(factor)


@dataclass(frozen=True, slots=True, kw_only=True)
class Money:
    """An amount and its range, in hundredths of the currency.

    Parameters
    ----------
    value_cent, low_cent, high_cent : int
        Amount counted with, and the range it lies in [1/100 of the currency].
    """

    value_cent: int
    low_cent: int
    high_cent: int

    def __post_init__(self) -> None:
        low, high = self.low_cent, self.high_cent
        require(
            0 <= low <= self.value_cent <= high,
            f"{self.value_cent} hundredths with the range {low} to {high}; must be in it",
        )

    def __add__(self, other: Money) -> Money:
        return Money(
            value_cent=self.value_cent + other.value_cent,
            low_cent=self.low_cent + other.low_cent,
            high_cent=self.high_cent + other.high_cent,
        )

    def times(self, count: int) -> Money:
        """Return the amount so many times, exactly."""
        return Money(
            value_cent=self.value_cent * count,
            low_cent=self.low_cent * count,
            high_cent=self.high_cent * count,
        )

    def span(self) -> Span:
        """Return the amount as numbers."""
        return Span(
            value=Decimal(self.value_cent), low=Decimal(self.low_cent), high=Decimal(self.high_cent)
        )


NOTHING = Money(value_cent=0, low_cent=0, high_cent=0)


def exactly(value: Decimal | float) -> Span:
    """Return a number without spread."""
    number = as_decimal(value)
    return Span(value=number, low=number, high=number)


def span_of(setting: Setting) -> Span:
    """Return a figure of a book with its range."""
    within = setting.range
    return Span(
        value=as_decimal(setting.value), low=as_decimal(within.low), high=as_decimal(within.high)
    )


def as_decimal(value: Decimal | float) -> Decimal:
    """Return a number as the decimal a person would write."""
    return value if isinstance(value, Decimal) else Decimal(repr(value))


def money_of(span: Span) -> Money:
    """Return a span of hundredths rounded to whole ones, halves up."""
    low, value, high = (
        int(v.to_integral_value(ROUND_HALF_UP)) for v in (span.low, span.value, span.high)
    )
    return Money(value_cent=value, low_cent=low, high_cent=high)


def sum_of(amounts: Iterable[Money]) -> Money:
    """Return the sum, exact to the last hundredth."""
    return sum(amounts, NOTHING)


def shown(cent: int) -> str:
    """Return hundredths as a decimal with two places."""
    return f"{Decimal(cent) / 100:.2f}"


def rounded_to_sum(values: Sequence[float], *, total: float, decimals: int) -> list[str]:
    """Return numbers rounded so that what is shown adds up to the total as shown.

    The largest remainders are rounded up, so that no number moves by a whole unit of its last
    digit.
    """
    unit = Decimal(1).scaleb(-decimals)
    exact = [as_decimal(v) / unit for v in values]
    floors = [int(v.to_integral_value(ROUND_FLOOR)) for v in exact]
    wanted = int((as_decimal(total) / unit).to_integral_value(ROUND_HALF_UP))
    order = sorted(range(len(exact)), key=lambda i: floors[i] - exact[i])
    spare = min(max(wanted - sum(floors), 0), len(floors))
    for i in order[:spare]:
        floors[i] += 1
    return [f"{n * unit:.{decimals}f}" for n in floors]
