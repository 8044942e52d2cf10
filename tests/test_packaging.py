"""What is installed: complete, alone, light, and as README says."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from importlib.metadata import distributions
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
BUILD = "import sys; from setuptools import build_meta as b; print(b.build_wheel(sys.argv[1]))"


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from a copy and unpacked as an installer would."""
    tmp = tmp_path_factory.mktemp("wheel")
    copy = tmp / "source"
    copy.mkdir()
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, copy)
    for name in ("app", "vision"):
        shutil.copytree(ROOT / name, copy / name,
                        ignore=shutil.ignore_patterns("__pycache__", "*.pyc"))
    subprocess.run([sys.executable, "-c", BUILD, str(tmp)], cwd=copy, check=True,
                   capture_output=True, timeout=120)
    wheel = next(tmp.glob("countersight-*.whl"))
    zipfile.ZipFile(wheel).extractall(tmp / "site")
    return tmp / "site"


def test_every_file_of_both_packages_is_in_the_wheel(installed: Path) -> None:
    for package in ("app", "vision"):
        source = installed.parent / "source"
        here = {p.relative_to(source).as_posix() for p in (source / package).rglob("*")
                if p.is_file()}
        there = {p.relative_to(installed).as_posix() for p in (installed / package).rglob("*")}
        assert sorted(here - there) == []


def test_the_wheel_holds_nothing_but_the_two_packages(installed: Path) -> None:
    tops = {p.name for p in installed.iterdir() if not p.name.endswith(".dist-info")}
    assert tops == {"app", "vision"}


def test_the_installed_command_works_outside_the_repository(installed: Path,
                                                            tmp_path: Path) -> None:
    env = {**os.environ, "PYTHONPATH": str(installed), "PYTHONSAFEPATH": "1"}
    where = subprocess.run([sys.executable, "-c", "import vision, app; print(vision.__file__)"],
                           cwd=tmp_path, env=env, capture_output=True, text=True, check=True)
    assert where.stdout.startswith(str(installed))
    done = subprocess.run([sys.executable, "-m", "app", "scales"], cwd=tmp_path, env=env,
                          capture_output=True, text=True, timeout=60, check=True)
    assert "quay-60" in done.stdout
    entry = (next(installed.glob("*.dist-info")) / "entry_points.txt").read_text()
    assert "countersight = app.cli:main" in entry


def test_the_installed_templates_are_found_outside_the_repository(installed: Path,
                                                                  tmp_path: Path) -> None:
    code = ("from vision.drawing.templates import templates\n"
            "from app.ui.blocks import block\n"
            "assert templates('vision.accuracy').get_template('parts.html').filename"
            f".startswith({str(installed)!r})\n"
            "print(block('step', 'Level & read'))")
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True,
                          text=True, check=True,
                          env={**os.environ, "PYTHONPATH": str(installed), "PYTHONSAFEPATH": "1"})
    assert done.stdout == '<h2 class="cs-step">Level &amp; read</h2>\n'


def test_importing_the_measuring_side_loads_nothing_heavy() -> None:
    code = ("import sys, vision, vision.scale_file.scale, vision.flags, vision.reading,"
            "vision.errors;"
            "print([m for m in ('cv2', 'scipy', 'skimage', 'streamlit', 'sqlalchemy',"
            " 'pillow_heif', 'reportlab') if m in sys.modules])")
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True,
                          check=True)
    assert done.stdout.strip() == "[]"


def test_the_measuring_side_knows_no_page_and_no_database() -> None:
    forbidden = re.compile(r"^\s*(from|import)\s+(streamlit|sqlalchemy|app)\b", re.MULTILINE)
    printing = re.compile(r"^\s*print\(", re.MULTILINE)
    for path in (ROOT / "vision").rglob("*.py"):
        source = path.read_text(encoding="utf-8")
        assert not forbidden.search(source), path
        # What is run by hand with python -m may tell how far it is.
        script = 'if __name__ == "__main__":' in source
        assert script or not printing.search(source), path


def test_one_opencv_and_without_windows() -> None:
    """Two wheels would share the folder cv2 and overwrite one another."""
    names = {(d.metadata["Name"] or "").lower() for d in distributions()}
    assert {n for n in names if n.startswith("opencv-")} == {"opencv-python-headless"}
    import cv2

    gui = re.search(r"GUI:\s*(\S+)", cv2.getBuildInformation())
    assert gui is None or gui.group(1) == "NONE"


def test_every_dependency_has_a_floor_and_a_ceiling() -> None:
    for line in PROJECT["dependencies"]:
        assert ">=" in line and "<" in line, line


def test_licence() -> None:
    assert PROJECT["license"] == "MIT"
    text = (ROOT / "LICENSE").read_text(encoding="utf-8")
    assert text.startswith("MIT License") and "Countersight contributors" in text


def test_readme_has_two_lines_for_a_newcomer_and_the_test_run_uses_one() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = [line for line in readme.splitlines() if line.startswith("python3 -m venv")]
    assert len(lines) == 2
    start, test = lines
    assert start.endswith(".venv/bin/countersight") and "-m pytest" in test
    ci = ROOT / ".ci" / "run"
    assert os.access(ci, os.X_OK)
    assert "grep -m1 -- '-m pytest' README.md" in ci.read_text(encoding="utf-8")
    assert [line for line in readme.splitlines() if "-m pytest" in line] == [test]
