"""Paper for a class, made from the page: lesson plan, worksheet, answers, pictures."""

from __future__ import annotations

import io
import secrets
import tempfile
import zipfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

import streamlit as st

from app.exports.lesson_plan import lesson_plan_pdf
from app.exports.lesson_set import write_lesson_set
from app.exports.print_sheet import PAPERS, Paper
from app.ui import blocks
from app.ui.lesson.state import LessonState
from app.ui.text import as_label

_COUNTS = (4, 8, 12)


def class_set_zip(count: int, seed: int, paper: Paper,
                  progress: Callable[[int, int], None] | None = None) -> bytes:
    """The files of a class set in one ZIP; the folder in which they are made is gone after."""
    with tempfile.TemporaryDirectory() as made:
        folder, out = Path(made) / "class-set", io.BytesIO()
        write_lesson_set(folder, count, seed, progress, paper=paper)
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as box:
            for file in sorted(p for p in folder.rglob("*") if p.is_file()):
                box.write(file, file.relative_to(made))
        return out.getvalue()


def paper_for_the_class(state: LessonState) -> None:
    """Sheets to print, in the paper that the printer has."""
    with st.expander("Paper for the class"):
        paper = st.radio("Paper", list(PAPERS), key="paper-size", horizontal=True,
                         format_func=lambda p: as_label(PAPERS[p]))
        st.download_button("Lesson plan (PDF)", partial(lesson_plan_pdf, paper), "lesson-plan.pdf",
                           "application/pdf", key="paper-plan", width="stretch")
        count = st.radio("Pictures on the worksheet", _COUNTS, key="paper-count", horizontal=True,
                         format_func=as_label)
        if st.button("Make worksheet and answers", key="paper-make", width="stretch"):
            bar = st.progress(0.0, text="Tracing the pictures")

            def tell(done: int, count: int) -> None:
                bar.progress(done / count)

            state.class_set = class_set_zip(int(count), secrets.randbelow(2**31), paper, tell)
            bar.empty()
        if state.class_set:
            st.download_button("Save the class set (ZIP)", state.class_set, "class-set.zip",
                               "application/zip", key="paper-save", type="primary",
                               width="stretch")
            blocks.say("Worksheet for the learners and pictures, and in the folder 'teacher' the "
                       "answer sheet with its seed.")
