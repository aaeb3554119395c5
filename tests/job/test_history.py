"""Undo and redo over versions that are only ever added lead where an editor's two stacks lead."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from kerfwright.errors import UsageError
from kerfwright.job.history import redo_target, undo_target


@given(st.lists(st.sampled_from(["save", "undo", "undo", "redo"]), max_size=30))
@example(["save", "undo", "save", "undo", "undo"])
@example(["save", "save", "undo", "undo", "redo", "save", "undo", "undo", "redo", "redo"])
def test_steps_are_those_of_two_stacks(steps):
    basis, done, undone = [1], [1], []
    for step in steps:
        if step == "save":
            basis.append(len(basis) + 1)
            done.append(basis[-1])
            undone.clear()
            continue
        target, source, least = (
            (undo_target, done, 2) if step == "undo" else (redo_target, undone, 1)
        )
        if len(source) < least:
            with pytest.raises(UsageError, match=f"nothing to {step}"):
                target(basis)
            continue
        (undone if step == "undo" else done).append(source.pop())
        basis.append(target(basis))
        assert basis[-1] == done[-1]
