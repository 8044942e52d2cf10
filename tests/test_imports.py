"""The order of the house, read from its import statements.

An import inside a function counts like one at the top of a file; one for type checkers only does
not.  Nothing is imported here: the files are parsed.
"""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

import networkx as nx
import pytest

ROOT = Path(__file__).resolve().parents[1]
#: From the ground up: a package may import what stands before it, and itself.
ORDER = {
    "vision": (
        "errors", "flags", "constants", "budget", "parameters", "robust", "true_intervals",
        "reading", "small_network", "worker", "plain_file", "spreadsheet", "drawing", "imaging",
        "lens", "scale_file", "optics", "hydrostatics", "graduations",
        "meniscus_image", "volume", "fiducials", "vertical", "level", "pressure_panel",
        "manual_scale", "flow", "output", "lesson", "synthetic", "accuracy", "training",
    ),
    "app": (
        "settings", "shift_times", "sign_in", "certificate", "phone_address", "headers",
        "records", "untold", "joint", "bed_scales", "orders",
        "rounds", "entering", "checklists", "setting_compare", "setting_state", "agreement",
        "another_photo", "demo_bed",
        "terminal", "exports", "ward", "readers", "ui", "classroom", "pages",
        "entry", "commands", "cli", "__main__",
    ),
}
#: Circles that are still there.  A circle that has gone must go from here, too.
KNOWN_CIRCLES: set[frozenset[str]] = set()
#: What the measuring half never needs, at run time or otherwise.
NOT_IN_VISION = {"app", "streamlit", "sqlalchemy", "alembic"}


def module_name(path: Path) -> str:
    """Dotted name of a file of the repository."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


SOURCES = {module_name(p): p for top in ORDER for p in sorted((ROOT / top).rglob("*.py"))}


def statements(nodes: Iterable[ast.AST]) -> Iterator[ast.Import | ast.ImportFrom]:
    """The import statements that a running program may come to."""
    for node in nodes:
        if isinstance(node, ast.Import | ast.ImportFrom):
            yield node
        elif isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            yield from statements(node.orelse)
        else:
            yield from statements(ast.iter_child_nodes(node))


def imported(source: str, package: str = "") -> set[str]:
    """Dotted names that a source imports; our own modules by their full name."""
    found: set[str] = set()
    for statement in statements([ast.parse(source)]):
        if isinstance(statement, ast.Import):
            found.update(alias.name for alias in statement.names)
            continue
        base = statement.module or ""
        if statement.level:
            above = package.split(".")[:len(package.split(".")) - statement.level + 1]
            base = ".".join([*above, *([base] if base else [])])
        for alias in statement.names:
            whole = f"{base}.{alias.name}"
            found.add(whole if whole in SOURCES else base)
    return found


@cache
def imports_of(module: str) -> set[str]:
    """Dotted names that one of our modules imports."""
    path = SOURCES[module]
    package = module if path.name == "__init__.py" else module.rpartition(".")[0]
    return imported(path.read_text(encoding="utf-8"), package)


@cache
def graph() -> nx.DiGraph:
    """Which of our modules imports which."""
    return nx.DiGraph([(m, other) for m in SOURCES for other in imports_of(m) if other in SOURCES])


@pytest.mark.slow
def test_the_reader_of_imports_sees_every_form() -> None:
    source = ("import numpy.linalg\nfrom typing import TYPE_CHECKING\n"
              "from vision.scale_file import scale\nfrom ..errors import InputError\n"
              "if TYPE_CHECKING:\n    import torch\nelse:\n    import cv2\n"
              "def late():\n    from app.cli import main\n    return main\n")
    assert imported(source, "vision.scale_file") == {
        "numpy.linalg", "typing", "vision.scale_file.scale", "vision.errors", "cv2", "app.cli"}
    assert len(SOURCES) > 250 and graph().number_of_edges() > 500


def test_no_module_imports_itself_by_a_detour() -> None:
    circles = {frozenset(c) for c in nx.strongly_connected_components(graph()) if len(c) > 1}
    circles |= {frozenset({m}) for m in nx.nodes_with_selfloops(graph())}
    new = [" <-> ".join(sorted(c)) for c in circles - KNOWN_CIRCLES]
    assert not new, f"modules that import each other: {new}"
    gone = [" <-> ".join(sorted(c)) for c in KNOWN_CIRCLES - circles]
    assert not gone, f"take these off KNOWN_CIRCLES, they are mended: {gone}"


def test_what_measures_knows_no_page_and_no_database() -> None:
    found = [f"{m} imports {name}" for m in SOURCES if m.startswith("vision")
             for name in imports_of(m) if name.split(".")[0] in NOT_IN_VISION]
    assert not found


@pytest.mark.parametrize("top", ORDER)
def test_no_package_imports_what_stands_above_it(top: str) -> None:
    place = {f"{top}.{name}": i for i, name in enumerate(ORDER[top])}
    wrong = []
    for module in SOURCES:
        if not module.startswith(f"{top}."):
            continue
        here = ".".join(module.split(".")[:2])
        assert here in place, f"{here} has no place in ORDER: say what it may stand on"
        for other in imports_of(module):
            there = ".".join(other.split(".")[:2])
            if other.startswith(f"{top}.") and place.get(there, -1) > place[here]:
                wrong.append(f"{module} imports {other}")
    assert not wrong, "imports that run up against the order of the packages"
