"""The page "Level" without a browser: a reading, and how the page is driven."""

from __future__ import annotations

import html

from streamlit.testing.v1 import AppTest

from vision.budget import BudgetTerm
from vision.level.result import LevelReading, LevelScene

SCRIPT = "from app.pages.level import page\npage()\n"
READ = LevelReading(
    "read", "cards", -3.4, (-4.1, -2.7), 0.35, gravity_from=("pole", "hung panel"),
    flags=("card-small",), budget=(BudgetTerm("vertical: pole", 0.3, "cm", "off plumb"),),
    scene=LevelScene(horizontal_distance_mm=640.0))


def words(at: AppTest) -> str:
    return html.unescape("\n".join(t for node in at.main for t in texts(node)))


def texts(node) -> list[str]:
    children = getattr(node, "children", None)
    if children:
        return [t for child in children.values() for t in texts(child)]
    return [str(getattr(node, "proto", "")), str(getattr(node, "value", ""))]


def press(at: AppTest, start: str) -> None:
    next(b for b in at.button if b.label.startswith(start)).click().run()


def sign(at: AppTest, bed: str, initials: str) -> None:
    next(t for t in at.text_input if t.key.startswith("bed-")).set_value(bed)
    next(t for t in at.text_input if t.key.startswith("by-")).set_value(initials)
