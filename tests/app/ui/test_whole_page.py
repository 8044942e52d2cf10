"""A press that comes just after a part of a page redrew itself draws the page, not the part."""

from __future__ import annotations

import pytest
from streamlit.runtime.scriptrunner.script_runner import ScriptRunnerEvent
from streamlit.runtime.scriptrunner_utils.script_requests import RerunData
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.local_script_runner import LocalScriptRunner


def _page(begin: bool) -> None:
    import streamlit as st
    from streamlit.runtime.scriptrunner import get_script_run_ctx
    from streamlit.runtime.scriptrunner_utils.script_requests import RerunData

    from app.ui import whole_page

    if begin:
        whole_page.begin_at_the_top()

    @st.fragment
    def clock() -> None:
        st.write("clock")

    with st.container():
        st.write("around the clock")
        clock()
    st.write("below")
    st.session_state.runs = st.session_state.get("runs", 0) + 1
    if st.session_state.runs == 1:  # the page stands; now the clock is drawn alone
        ctx = get_script_run_ctx()
        (part,) = ctx.shared.new_fragment_ids.snapshot()
        ctx.script_requests.request_rerun(RerunData(fragment_id_queue=[part]))


@pytest.fixture
def places(monkeypatch):
    """What stands where after the press."""
    finished = LocalScriptRunner._on_script_finished

    def and_a_press(self, ctx, event, *more):  # type: ignore[no-untyped-def]
        finished(self, ctx, event, *more)
        if event is ScriptRunnerEvent.FRAGMENT_STOPPED_WITH_SUCCESS:
            self.request_rerun(RerunData())

    monkeypatch.setattr(LocalScriptRunner, "_on_script_finished", and_a_press)

    def look(begin: bool) -> list[tuple[str, tuple[int, ...]]]:
        at = AppTest.from_function(_page, args=(begin,)).run()
        assert not at.exception and at.session_state.runs == 2
        found = []

        def walk(block, path):  # type: ignore[no-untyped-def]
            for key, child in block.children.items():
                if hasattr(child, "children"):
                    walk(child, (*path, key))
                else:
                    found.append((child.value, (*path, key)))

        walk(at.main, ())
        return found

    return look


def test_a_page_drawn_after_a_part_of_it_begins_at_the_top(places):
    assert places(True) == [("around the clock", (0, 0)), ("clock", (0, 1, 0)), ("below", (1,))]


def test_streamlit_still_needs_to_be_told(places):
    """Where this fails, Streamlit begins at the top by itself, and ours can go."""
    assert ("below", (1,)) not in places(False)
