"""The page "Class": the educator opens a class, learners predict on their phones."""

from __future__ import annotations

import os
from urllib.parse import urlsplit

import streamlit as st

from app.classroom.figures import answers_csv, causes, errors_by_task, histogram
from app.classroom.lessons import LESSONS, tasks_of
from app.classroom.presence import present
from app.classroom.store import ClassState, ClassStore, class_store
from app.phone_address import code_as_picture
from app.settings import ADDRESS_VARIABLE
from app.ui import blocks, guard
from app.ui.drawing import show_drawing
from app.ui.lesson.wide import use_width
from app.ui.text import as_label
from vision.hydrostatics.units import number_text

TITLE = "Class"
ORDER = 62
TEACHING = "A class predicts on its phones, sees the spread, then the truth."
_HERE = ("localhost", "127.0.0.1", "::1")
_COUNTS = (5, 10, 3)


def page() -> None:
    """Draw the page."""
    use_width()
    blocks.title(TITLE, "Everybody predicts, then the truth is shown. No names; nothing goes on "
                        "record, and all answers are deleted when the class ends.")
    store, problem = guard.in_words(class_store)
    if store is None:
        blocks.notice("No class can be opened", [problem], stop=True)
        return
    code, key = st.query_params.get("class", ""), st.query_params.get("key", "")
    state, problem = guard.in_words(lambda: store.state(code, key)) if code else (None, "")
    if state is None:
        if code:
            blocks.notice("This class has ended", [problem])
        _open(store)
    elif state.over:
        _over(store, state, key)
    else:
        _running(store, state, key)


def _open(store: ClassStore) -> None:
    st.radio("What to practise", list(LESSONS), key="lc-kind",
             format_func=lambda k: as_label(LESSONS[k].title))
    st.radio("Tasks", _COUNTS, key="lc-count", horizontal=True)

    def begin() -> None:
        # As chosen by now: the press may come before the page was drawn with the choice.
        kind, count = st.session_state["lc-kind"], st.session_state["lc-count"]
        state, key = store.open_class(str(kind), int(count))
        st.query_params["class"], st.query_params["key"] = state.code, key

    st.button("Open a class", type="primary", key="lc-open", width="stretch", on_click=begin)
    blocks.say("Learners join with a code or by scanning it. All get the same tasks in the same "
               "order. Reload this page or come back to its address: the class goes on.")


def _address(code: str) -> str:
    base = os.environ.get(ADDRESS_VARIABLE) or st.context.url or ""
    parts = urlsplit(base)
    return f"{parts.scheme}://{parts.netloc}/class/{code}"


def _running(store: ClassStore, state: ClassState, key: str) -> None:
    lesson = LESSONS[state.kind]
    task = tasks_of(state.kind, state.seed, state.tasks)[state.task]
    left, right = st.columns(2, gap="medium")
    with left, st.container(key="lc-asked"):
        blocks.status_line(f"Class {state.code}, task {state.task + 1} of {state.tasks}. "
                           f"{lesson.question(task)} ({lesson.unit(task)})")
        for sentence in lesson.sentences(task):
            blocks.say(sentence)
        picture = lesson.picture(task)
        if picture is not None:
            st.image(picture, width="stretch", alt="The chamber to be read")
        elif (drawn := lesson.before(task)) is not None:
            show_drawing(drawn)
    with right, st.container(key="lc-shown" if state.shown else "lc-told"):
        _steps(store, state, key)
        if state.shown:
            blocks.cards(blocks.card("True", number_text(lesson.truth(task), 2),
                                     lesson.unit(task), lesson.why(task)))
        _live(store, state.code, key)
        if state.shown:
            show_drawing(lesson.after(task))
        else:
            _join(state.code)


def _steps(store: ClassStore, state: ClassState, key: str) -> None:
    forth, end = st.columns(2)
    if not state.shown:
        forth.button("Show the truth", type="primary", key=f"lc-show-{state.task}",
                     width="stretch", on_click=store.show, args=(state.code, key))
    else:
        last = state.task + 1 == state.tasks
        forth.button("To the figures" if last else "Next task", type="primary",
                     key=f"lc-next-{state.task}", width="stretch", on_click=store.go_on,
                     args=(state.code, key))
    end.button("End the class", key="lc-end", width="stretch", on_click=_end,
               args=(store, state.code, key),
               help="Deletes the class and all its answers; save the table first.")


def _end(store: ClassStore, code: str, key: str) -> None:
    store.end(code, key)
    st.query_params.clear()


@st.fragment(run_every=2.0)
def _live(store: ClassStore, code: str, key: str) -> None:
    """What has come in, again and again, without the rest of the page."""
    state, problem = guard.in_words(lambda: store.state(code, key))
    if state is None or state.over:
        blocks.say(problem)
        return
    lesson = LESSONS[state.kind]
    task = tasks_of(state.kind, state.seed, state.tasks)[state.task]
    values = [a.value for a in store.answers(code, state.task)]
    phones = present(code)
    blocks.say(f"{phones} {'phone has' if phones == 1 else 'phones have'} joined; "
               f"{len(values)} {'answer' if len(values) == 1 else 'answers'}.")
    known = {"truth": lesson.truth(task), "wrong": lesson.wrong(task)} if state.shown else {}
    show_drawing(histogram(values, lesson.division(task), lesson.unit(task),
                           **known))  # type: ignore[arg-type]


def _join(code: str) -> None:
    address = _address(code)
    left, right = st.columns([1, 2])
    with left:
        blocks.picture(code_as_picture(address), f"Code of the address {address}")
    with right:
        blocks.cards(blocks.card("Join with", code, "", [address]))
        if urlsplit(address).hostname in _HERE:
            blocks.notice("Phones cannot reach this address", [
                "It is this machine's own. In a skills lab start Countersight with --lab; its "
                "address then stands here."])


def _over(store: ClassStore, state: ClassState, key: str) -> None:
    answers = store.answers(state.code)
    blocks.status_line(f"The round is over: {state.tasks} tasks, {len(answers)} answers.")
    left, right = st.columns(2, gap="medium")
    with left:
        show_drawing(errors_by_task(state, answers))
    with right:
        show_drawing(causes(state, answers))
    save, end = st.columns(2)
    save.download_button("Save the table (CSV)", answers_csv(state, answers),
                         f"class-{state.code}.csv", "text/csv", key="lc-csv", width="stretch",
                         type="primary")
    end.button("End the class", key="lc-end", width="stretch", on_click=_end,
               args=(store, state.code, key), help="Deletes the class and all its answers.")
    blocks.say(f"Seed {state.seed}: with it the same tasks can be made again. The table numbers "
               "learners at random; nobody can tell who is who.")
