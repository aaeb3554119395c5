"""Compare the public names of the package with docs/nomenclature.md.

Public are: fields of public dataclasses of model and geometry and the parameters of their public
methods; parameters of public functions of geometry; parameters of the functions that a room
offers in its ``__all__`` (the command line aside, whose help documents itself).
"""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import pkgutil
import re
import sys
from collections import defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import kerfwright

PAGE = Path(__file__).resolve().parents[2] / "docs" / "nomenclature.md"
HEAD = "| name | meaning | unit | source |"
WHOLE_ROOMS = ("kerfwright.geometry", "kerfwright.model")
OTHER_FACES = ("kerfwright.cli", "kerfwright.web")
NOT_ARGUMENTS = {"self", "cls", "args", "kwargs"}

Names = dict[str, list[str]]


def modules_of(package: str) -> Iterator[ModuleType]:
    """Yield a package and all modules below it."""
    top = importlib.import_module(package)
    yield top
    for info in pkgutil.walk_packages(getattr(top, "__path__", []), f"{package}."):
        if not info.name.rpartition(".")[2].startswith("_"):
            yield importlib.import_module(info.name)


def own_members(module: ModuleType) -> dict[str, object]:
    """Return the public classes and functions that a module defines."""
    return {
        name: value
        for name, value in vars(module).items()
        if not name.startswith("_") and getattr(value, "__module__", None) == module.__name__
    }


def parameters(function: Callable[..., object]) -> list[str]:
    """Return the names of a function's parameters."""
    return [p for p in inspect.signature(function).parameters if p not in NOT_ARGUMENTS]


def add_function(names: Names, where: str, function: Callable[..., object]) -> None:
    """Note each parameter of a function."""
    for name in parameters(function):
        if not name.startswith("_"):
            names[name].append(f"{where}()")


def add_class(names: Names, where: str, kind: type) -> None:
    """Note each field of a dataclass and each parameter of its public methods."""
    if not dataclasses.is_dataclass(kind):
        return
    for field in dataclasses.fields(kind):
        if not field.name.startswith("_"):
            names[field.name].append(where)
    for name, member in vars(kind).items():
        function = getattr(member, "__func__", member)
        if not name.startswith("_") and inspect.isfunction(function):
            add_function(names, f"{where}.{name}", function)


def add_member(names: Names, where: str, member: object) -> None:
    """Note what one public class or function names."""
    if inspect.isclass(member):
        add_class(names, where, member)
    elif inspect.isfunction(member):
        add_function(names, where, member)


def public_names() -> Names:
    """Return every public name and where it is used."""
    names: Names = defaultdict(list)
    for package in WHOLE_ROOMS:
        for module in modules_of(package):
            for name, member in own_members(module).items():
                add_member(names, f"{module.__name__}.{name}", member)
    for info in pkgutil.iter_modules(kerfwright.__path__, "kerfwright."):
        if info.name in WHOLE_ROOMS + OTHER_FACES:
            continue
        room = importlib.import_module(info.name)
        for name in getattr(room, "__all__", []):
            add_member(names, f"{info.name}.{name}", getattr(room, name))
    return dict(names)


def page_rows(text: str) -> dict[str, tuple[str, str, str]]:
    """Return meaning, unit and source by name from the table of the page.

    Raises
    ------
    ValueError
        If a row has not four cells or a name stands twice.
    """
    rows: dict[str, tuple[str, str, str]] = {}
    for line in text.partition(HEAD)[2].splitlines():
        cells = [c.strip() for c in re.split(r"(?<!\\)\|", line)[1:-1]]
        if not cells or set(cells[0]) <= set("-: "):
            continue
        if len(cells) != HEAD.count("|") - 1:
            msg = f"a row of docs/nomenclature.md has {len(cells)} cells instead of 4: {line}"
            raise ValueError(msg)
        for name in re.findall(r"`(\w+)`", cells[0]):
            if name in rows:
                msg = f"{name} stands twice in docs/nomenclature.md"
                raise ValueError(msg)
            rows[name] = (cells[1], cells[2], cells[3])
    return rows


def main() -> int:
    """Print what is missing and what is no longer used; return 1 if anything is."""
    names, rows = public_names(), page_rows(PAGE.read_text(encoding="utf-8"))
    for name in sorted(names.keys() - rows.keys()):
        print(f"missing: {name}  ({', '.join(sorted(set(names[name]))[:3])})")
    for name in sorted(rows.keys() - names.keys()):
        print(f"no longer used: {name}")
    return int(names.keys() != rows.keys())


if __name__ == "__main__":
    sys.exit(main())
