"""The educator's page of a class, without a browser."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from app.classroom import store as classes


@pytest.fixture
def at(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path / "ward"))
    monkeypatch.setenv("COUNTERSIGHT_KEY", str(tmp_path / "station.key"))
    classes._opened.cache_clear()
    yield AppTest.from_string("from app.pages.lesson_class import page\npage()\n",
                              default_timeout=30).run()
    classes._opened.cache_clear()


def test_a_class_is_opened_as_chosen_by_the_press(at):
    """The press may come before the page was drawn with the last choice."""
    at.radio(key="lc-kind").set_value("level")
    at.radio(key="lc-count").set_value(3)
    at.button(key="lc-open").click().run()
    assert not at.exception
    assert any("task 1 of 3. At which pressure" in s.proto.body for s in at.get("html"))
