"""The last word on each part: the worse of the verdict, the hold-down and the check."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kerfwright.errors.messages import sentence_of
from kerfwright.geometry.record import Record
from kerfwright.job.pipeline import Run
from kerfwright.job.results import FitResult, PlanResult
from kerfwright.model.verdict import Verdict, VerdictState

_RANK = tuple(VerdictState)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartResult(Record):
    """What becomes of one placed part, and why.

    Parameters
    ----------
    placement : int
        Placement in the layout.
    name : str
        Number and outline, for people.
    state : str
        Word of `VerdictState`.
    is_cut : bool
        Whether it is in the program.
    p_in_tolerance : float
        Chance that its worst contour lands in tolerance.
    expected_mm, bound_mm, limit_mm : float
        Median and 95 % bound of the greatest deviation of its worst contour, and its limit [mm].
    kind : str
        print or size: which tolerance decides.
    contours : tuple of str
        Its placed contours.
    reason : str
        One sentence.
    """

    placement: int
    name: str
    state: str
    is_cut: bool
    p_in_tolerance: float
    expected_mm: float
    bound_mm: float
    limit_mm: float
    kind: str
    contours: tuple[str, ...]
    reason: str


def part_results(run: Run) -> tuple[PartResult, ...]:
    """Return the parts of a physical sheet, in the order of the layout.

    Parameters
    ----------
    run : Run
        Of a physical sheet, up to ``fit`` at least.
    """
    fitted: FitResult = run.upstream["fit"]
    plan: PlanResult | None = run.upstream["plan"] if "plan" in run.reached else None
    cut = set(plan.placed.contours) if plan is not None else set()
    why = _because(run)
    groups: dict[int, list[Verdict]] = {}
    for v in fitted.verdicts:
        groups.setdefault(v.part, []).append(v)
    return tuple(_one(p, vs, cut, why) for p, vs in sorted(groups.items()))


def _because(run: Run) -> dict[str, str]:
    """Return why contours are held for other reasons than their verdict."""
    sheet = run.context.sheet_run
    held = () if sheet is None else sheet.held_because
    return {str(f.where.contour): sentence_of(f) for f in held}


def _one(
    placement: int, verdicts: Sequence[Verdict], cut: set[str], why: dict[str, str]
) -> PartResult:
    worst = min(verdicts, key=lambda v: (-_RANK.index(v.state), v.p_in_tolerance))
    contours = tuple(v.contour for v in verdicts)
    other = [why[c] for c in contours if c in why]
    is_cut = contours[0] in cut
    state = worst.state
    if other and state is VerdictState.WILL_CUT:
        state = VerdictState.CHECK
    return PartResult(
        placement=placement,
        name=f"{placement + 1}: {contours[0]}",
        state=state.value,
        is_cut=is_cut,
        p_in_tolerance=worst.p_in_tolerance,
        expected_mm=worst.expected_mm,
        bound_mm=worst.bound_mm,
        limit_mm=worst.limit_mm,
        kind=worst.kind,
        contours=contours,
        reason=other[0] if other else worst.reason,
    )
