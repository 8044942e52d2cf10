"""The pages as the navigation finds them."""

from pathlib import Path

import app.pages
from app.pages import all_pages

FOLDER = Path(app.pages.__file__).parent


def test_every_page_file_is_offered_under_its_own_title():
    files = {p.stem for p in FOLDER.glob("*.py") if p.stem != "__init__"}
    pages = all_pages()
    assert {p.name for p in pages} == files
    assert len({p.title for p in pages}) == len(pages)


def test_the_ward_comes_first():
    assert all_pages()[0].name == "ward"


def test_what_is_for_teaching_is_offered_under_one_entry():
    assert {p.name for p in all_pages() if p.teaching} == {
        "handles", "lesson_class", "lesson_level", "lesson_parallax", "trial"}


def test_a_page_that_cannot_be_loaded_does_not_take_the_others_down(tmp_path, monkeypatch):
    (tmp_path / "broken.py").write_text("raise RuntimeError('broken')\n")
    monkeypatch.setattr(app.pages, "__path__", [*app.pages.__path__, str(tmp_path)])
    names = [p.name for p in all_pages()]
    assert "chamber" in names and "broken" not in names
