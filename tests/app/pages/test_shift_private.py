"""What the log may hold, and what one session may know of another."""

from __future__ import annotations

import ast
import logging
from pathlib import Path

import pytest
from shift_page import Page
from streamlit.error_util import handle_uncaught_app_exception

from app.records import Store
from app.ui import guard, ledger, quiet

ROOT = Path(__file__).parents[3]
CODE, INITIALS, NOTE = "PIER-77", "Q.Z.", "zebra crossing"


@pytest.fixture
def ward(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path / "ward"))
    return tmp_path / "ward"


def silent(caplog) -> str:
    said = caplog.text
    for secret in (CODE, INITIALS, NOTE):
        assert secret not in said
    return said


def enter() -> Page:
    page = Page(CODE).event("bag-changed").type("ev-detail", NOTE)
    return page.type("by-ev-", INITIALS).press("confirm-ev-")


@pytest.mark.slow
def test_an_entry_leaves_no_line_with_a_code(ward, caplog):
    with caplog.at_level(logging.DEBUG):
        enter()
    assert Store.open(ward).count() == 1
    silent(caplog)


def test_a_fault_of_the_record_leaves_none_either(ward, caplog):
    ward.parent.joinpath("ward").write_text("a file where the folder should be")
    with caplog.at_level(logging.DEBUG):
        assert "cannot be" in Page(CODE).text()
    silent(caplog)


def test_an_unforeseen_error_is_logged_with_its_place_and_without_what_was_typed(
        ward, caplog, monkeypatch):
    def broken() -> Store:
        raise RuntimeError(f"no luck with {CODE} of {INITIALS}: {NOTE}")

    monkeypatch.setattr(ledger, "open_store", broken)
    with caplog.at_level(logging.DEBUG):
        page = Page(CODE)
    assert guard.UNFORESEEN in page.text()
    said = silent(caplog)
    assert "RuntimeError" in said and "test_shift_private.py" in said, "enough to mend it"


def test_an_error_that_no_page_caught_says_no_more(caplog):
    quiet.logs()
    quiet.logs()
    logger = logging.getLogger("streamlit.error_util")
    assert sum(isinstance(f, quiet.NoValues) for f in logger.filters) == 1
    monkey = logger.propagate
    logger.propagate = True
    try:
        with caplog.at_level(logging.DEBUG, "streamlit.error_util"):
            try:
                raise ValueError(f"{CODE} {INITIALS} {NOTE}")
            except ValueError as problem:
                handle_uncaught_app_exception(problem)
    finally:
        logger.propagate = monkey
    assert "ValueError" in silent(caplog)


@pytest.mark.slow
def test_nothing_that_a_person_brings_is_cached_for_all():
    """Streamlit's caches are shared by all sessions; Python's own live as long as the server."""
    # Our own drawn photos (their names), fonts, our own version, the cards to print.
    allowed = {("app/ui/demo.py", "demo_photos"), ("app/exports/sheet_text.py", "use_fonts"),
               ("app/records/software.py", "software_version"), ("app/ui/level/steps.py", "_pdf"),
               # tasks drawn from a seed and their pictures; the connection to a class's database
               ("app/classroom/lessons.py", "tasks_of"), ("app/classroom/lessons.py", "_traced"),
               ("app/classroom/store.py", "_opened"),
               # how the record's database is asked, by its address: no connection, no answer
               ("app/records/engine.py", "make_engine"),
               # the record's guards as our own migrations make them
               ("app/records/guards.py", "_sqlite_as_made"),
               ("app/records/guards.py", "_postgresql_as_made")}
    found = set()
    for file in ROOT.glob("app/**/*.py"):
        where = str(file.relative_to(ROOT))
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Global):
                found.add((where, "global"))
            for decorator in getattr(node, "decorator_list", ()):
                if "cache" in ast.unparse(decorator):
                    found.add((where, node.name))
    assert found <= allowed, f"{found - allowed} keeps something beyond its session"
    assert ("app/ui/demo.py", "demo_photos") in found, "the search does find caches"


def test_no_usage_statistics_by_flag_and_by_file():
    from app.commands.serve import server_words

    assert "--browser.gatherUsageStats=false" in server_words(Path("main.py"), "127.0.0.1", 8501)
    config = (ROOT / "app/entry/.streamlit/config.toml").read_text(encoding="utf-8")
    assert "gatherUsageStats = false" in config
