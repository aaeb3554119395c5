"""Wrong values of records of marks, pictures, fits and sheets, and what their refusal says."""

from __future__ import annotations

from typing import Any

import numpy as np

from kerfwright.model.fit import SheetFit
from kerfwright.model.hold import HoldReport
from kerfwright.model.job import Job, JobChoices, JobInput, MarkChoices
from kerfwright.model.marks import FoundMarks, MarkLayout, MarkMatch, Photo, View
from kerfwright.model.prior import PrintPrior
from kerfwright.model.run import Release, SheetRun
from kerfwright.model.verdict import ErrorBudget, PlacedLines, Verdict
from model.samples import FOUND, HOLD, RUN

LOOK_REFUSED: list[tuple[type, dict[str, Any], tuple[str, ...]]] = [
    (JobInput, {"page": 0}, ("order 7.dxf", "0", "1")),
    (JobInput, {"quantity": 0}, ("order 7.dxf", "0", "1")),
    (JobChoices, {"spacing_mm": 0.0}, ("spacing_mm", "0.0", "above 0")),
    (JobChoices, {"layout_time_s": -1.0}, ("layout_time_s", "-1.0", "above 0")),
    (Job, {"runs": (RUN, RUN)}, ("order-7", "[2, 2]", "rise")),
    (MarkChoices, {"diameter_mm": 0.0}, ("0.0", "above 0")),
    (MarkChoices, {"count": 1}, ("1 marks", "2")),
    (MarkChoices, {"throw_rad": 0.0}, ("throw", "0.0", "above 0")),
    (MarkChoices, {"field_of_view_mm": (100.0, 4.0)}, ("100.0 x 4.0", "no mark")),
    (MarkChoices, {"feed_step_sd_mm": -0.1}, ("step", "-0.1", "below 0")),
    (MarkLayout, {"diameter_mm": 0.0}, ("diameter_mm", "0.0", "above 0")),
    (MarkLayout, {"quiet_mm": -1.0}, ("quiet_mm", "-1.0", "above 0")),
    (MarkLayout, {"xy": np.zeros((0, 2))}, ("0 marks", "1")),
    (MarkLayout, {"ambiguity": 5}, ("ambiguity", "5", "1 to 4")),
    (MarkLayout, {"losses_tolerated": 3}, ("losses_tolerated", "3", "1")),
    (MarkLayout, {"worst_sd_mm": -1.0}, ("worst_sd_mm", "below 0")),
    (Photo, {"px_per_mm": 0.0}, ("px_per_mm", "0.0", "above 0")),
    (Photo, {"size_px": (0, 10)}, ("(0, 10)", "empty")),
    (FoundMarks, {"diameter_px": np.array([60.0, 0.0])}, ("diameter_px", "row 1", "above 0")),
    (FoundMarks, {"cov": -FOUND.cov}, ("cov", "row 0", "positive definite")),
    (MarkMatch, {"pairs": np.array([[0, 1], [0, 2]])}, ("pairs", "twice")),
    (View, {"mark": -1}, ("mark", "-1", "0 or more")),
    (View, {"search_mm": 0.0}, ("search_mm", "0.0", "above 0")),
    (PrintPrior, {"growth_sd": -0.1}, ("growth_sd", "-0.1", "0 or more")),
    (PrintPrior, {"mark_sd_mm": 0.0}, ("mark_sd_mm", "0.0", "above 0")),
    (SheetFit, {"used": [True, False, False, False]}, ("used", "1", "2")),
    (SheetFit, {"noise_sd_mm": -0.1}, ("noise_sd_mm", "-0.1", "below 0")),
    (SheetFit, {"leave_one_out": np.zeros((3, 2))}, ("leave_one_out", "3", "4")),
    (ErrorBudget, {"repeat_sd_mm": -1.0}, ("repeat_sd_mm", "-1.0", "below 0")),
    (ErrorBudget, {"head_cov_mm2": np.array([[1.0, 0.5], [0.0, 1.0]])}, ("symmetric",)),
    (PlacedLines, {"fidelity": ("print", "size")}, ("fidelity", "2", "3")),
    (PlacedLines, {"part": np.array([0, 0, 2])}, ("part", "2", "row 2", "0 to 1")),
    (PlacedLines, {"print_mm": np.array([0.5, 0.0, 0.5])}, ("print_mm", "row 1", "above 0")),
    (Verdict, {"p_in_tolerance": 1.5}, ("p_in_tolerance", "1.5", "0 to 1")),
    (Verdict, {"limit_mm": 0.0}, ("limit_mm", "0.0", "above 0")),
    (HoldReport, {"hold_n": -HOLD.hold_n}, ("hold_n", "row 0", "0 or more")),
    (HoldReport, {"friction_low": 0.0}, ("friction", "0.0")),
    (Release, {"reason": "because"}, ("because", "measured_by_hand")),
    (Release, {"initials": " "}, ("initials", "1 to 8")),
    (SheetRun, {"serial": 0}, ("serial", "0", "1")),
    (SheetRun, {"caliper_mm": 0.0}, ("caliper", "0.0", "above 0")),
]
