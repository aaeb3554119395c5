"""What all tests share: the hypothesis profiles and third-party data."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# Derandomised and without a deadline: a shared machine must not turn a slow moment into a
# failure, and a red run must be red again. `nightly` draws other examples, and more of them.
settings.register_profile(
    "ci",
    deadline=None,
    derandomize=True,
    max_examples=60,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile(
    "nightly", parent=settings.get_profile("ci"), derandomize=False, max_examples=1000
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))

DATA_VARIABLE = "KERFWRIGHT_EXTRA_DATA"


@pytest.fixture(scope="session")
def extra_data() -> Path:
    """Folder of third-party files that are no part of the repository."""
    name = os.environ.get(DATA_VARIABLE, "")
    if not name:
        pytest.skip(f"{DATA_VARIABLE} is not set; third-party files are no part of the repository")
    folder = Path(name)
    # Set but wrong is a mistake, and skipping would hide it.
    assert folder.is_dir(), f"{DATA_VARIABLE} names {name}, which is no folder"
    return folder
