"""Run one study of studies/ and print what it found.

A study is a module with a docstring (its first line says what is measured), `DEFAULT_SIZE`,
`SMALL_SIZE` (what the tests run, at most 20 s) and ``run(seed, size, progress) -> dict``. The
result is JSON-able and holds ``failures``: a list, empty when everything held.
"""

from __future__ import annotations

import argparse
import importlib
import json
import sys
import time
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).resolve().parents[2]
EXIT_FAILURES, EXIT_WRONG_USE = 1, 2


def study_names(root: Path = ROOT) -> list[str]:
    """Return the names of all studies, sorted."""
    return sorted(f.stem for f in (root / "studies").glob("*.py") if not f.stem.startswith("_"))


def load_study(name: str) -> ModuleType:
    """Import one study by its name."""
    if str(ROOT) not in sys.path:
        sys.path.insert(0, str(ROOT))
    return importlib.import_module(f"studies.{name}")


def show_progress(done: int, total: int) -> None:
    """Rewrite one line of the terminal; say nothing to a file."""
    if sys.stderr.isatty():
        end = "\n" if done >= total else ""
        print(f"\r{done} of {total}", end=end, file=sys.stderr, flush=True)


def run_study(name: str, *, seed: int, size: int | None) -> int:
    """Run one study, print seed, size, time and result; return the exit code."""
    study = load_study(name)
    size = study.DEFAULT_SIZE if size is None else size
    print(f"study {name}: seed {seed}, size {size}", flush=True)
    start = time.perf_counter()
    result = study.run(seed, size, show_progress)
    print(json.dumps(result, indent=2))
    failures = result["failures"]
    print(f"{time.perf_counter() - start:.1f} s, {len(failures)} failures")
    return EXIT_FAILURES if failures else 0


def main() -> int:
    """Read the arguments and run or list."""
    parser = argparse.ArgumentParser(prog="scripts/study", description="Run one large sample.")
    parser.add_argument("name", nargs="?", help="which study; see --list")
    parser.add_argument("--seed", type=int, default=0, help="seed of the sample (default 0)")
    parser.add_argument("--size", type=int, help="size of the sample (default: the study's own)")
    parser.add_argument("--list", action="store_true", help="list the studies and their sizes")
    options = parser.parse_args()
    if options.list:
        for name in study_names():
            study = load_study(name)
            print(f"{name} (size {study.DEFAULT_SIZE}): {(study.__doc__ or '').splitlines()[0]}")
        return 0
    if options.name not in study_names():
        known = ", ".join(study_names()) or "none yet"
        print(f"there is no study {options.name!r}; known: {known}", file=sys.stderr)
        return EXIT_WRONG_USE
    if options.size is not None and options.size < 1:
        print(f"--size {options.size} must be at least 1", file=sys.stderr)
        return EXIT_WRONG_USE
    return run_study(options.name, seed=options.seed, size=options.size)


if __name__ == "__main__":
    sys.exit(main())
