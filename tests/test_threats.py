"""The threat notes name tests that exist, and every hazard names one."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "docs" / "threats.md").read_text(encoding="utf-8")
NAMED = re.findall(r"`(tests/[\w/]+\.py)::(test_\w+)`", TEXT)


def test_every_test_that_is_named_exists():
    missing = [f"{file}::{name}" for file, name in NAMED
               if not re.search(rf"def {name}\(", (ROOT / file).read_text(encoding="utf-8"))]
    assert missing == []


def test_every_hazard_is_numbered_and_shown_by_a_test():
    rows = [line for line in TEXT.splitlines() if re.match(r"\| \d+ \|", line)]
    assert [int(r.split("|")[1]) for r in rows] == list(range(1, len(rows) + 1))
    assert len(rows) >= 20
    assert all(re.search(r"`tests/[\w/]+\.py::test_\w+`", row) for row in rows)
    assert all(row.count("|") == 7 for row in rows), "six columns, none empty or broken"


def test_the_notes_say_what_it_is_not():
    for words in ("Not a medical device", "not an alarm", "Not advice", "No names are needed"):
        assert words in TEXT.replace("\n", " ")
