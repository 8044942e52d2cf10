"""A class of ten in a real browser: they join, predict, see the truth, and nothing stays."""

from __future__ import annotations

import csv
import io
import re

import pytest
from serving import at_rest, live, new_context
from sqlalchemy import create_engine, text
from test_access import faults, faults_now

from app.classroom.lessons import LESSONS, tasks_of

pytestmark = pytest.mark.browser

LEARNERS, TASKS = 10, 3
PROJECTOR = {"width": 1280, "height": 900}


def shown(page, words: str):
    page.get_by_text(words).first.wait_for()


def test_ten_learners_predict_and_see(open_page, browser, served, tmp_path):
    teacher = open_page("/lesson-class", size=PROJECTOR, scheme="light")
    teacher.get_by_text("Say when the drain opens", exact=True).click()
    teacher.get_by_text("3", exact=True).click()
    at_rest(teacher)
    live(teacher).get_by_role("button", name="Open a class").click()
    shown(teacher, "task 1 of 3")
    code = re.search("class=(.{5})", teacher.url)[1]
    teacher.get_by_alt_text(f"/class/{code}").wait_for()  # a code to scan

    contexts = [new_context(browser, 390, 844, "light") for _ in range(LEARNERS)]
    pages = [context.new_page() for context in contexts]
    asked = []
    for page in pages:
        page.on("request", lambda r: asked.append(r.url))
        page.goto(f"{served.url}/class/{code.lower()}")
    database = create_engine(f"sqlite:///{served.data / 'record.sqlite3'}")
    with database.connect() as run:
        seed = run.execute(text("SELECT seed FROM lesson_class WHERE code = :c"),
                           {"c": code}).scalar_one()
    task = tasks_of("level", seed, TASKS)[0]
    lesson, truth = LESSONS["level"], tasks_of("level", seed, TASKS)[0].truth
    for page in pages:
        page.get_by_label("At which pressure").wait_for()
    shown(teacher, "10 phones have joined; 0 answers.")
    said = [round(truth + 0.5 * (k - 4), 1) for k in range(LEARNERS)]
    for page, value in zip(pages, said, strict=True):
        if value < 0:
            page.get_by_label("below zero").check()
        page.get_by_label("At which pressure").fill(f"{abs(value):.1f}".replace(".", ","))
        page.get_by_role("button", name="Commit my answer").click()
        shown(page, "Wait until the truth is shown.")
        assert "True:" not in page.content(), "nobody is told before all have answered"
    again = contexts[0].new_page()  # who scans the code once more is no other learner
    again.goto(f"{served.url}/class/{code}")
    shown(again, "Wait until the truth is shown.")
    again.close()
    shown(teacher, "10 phones have joined; 10 answers.")
    assert teacher.locator('[aria-label^="Histogram"][aria-label*=", true "]').count() == 0
    assert faults(teacher) == [] and faults_now(pages[0]) == []

    live(teacher).get_by_role("button", name="Show the truth").click()
    teacher.locator('[aria-label^="Histogram"][aria-label*=", true "]').wait_for()
    for page, value in zip(pages, said, strict=True):
        shown(page, "True: ")
        right = lesson.judge(value, task).cause == "right"
        assert ("Right, " in page.inner_text("#answer")) == right
    assert faults_now(pages[0]) == []
    live(teacher).get_by_role("button", name="Next task").click()
    shown(teacher, "task 2 of 3")
    for page in pages:
        shown(page, "Task 2 of 3")
        assert page.get_by_label("At which pressure").input_value() == ""
    pages[0].get_by_label("At which pressure").fill("1")
    pages[0].context.set_offline(True)  # the truth is shown before this phone hears of it
    live(teacher).get_by_role("button", name="Show the truth").click()
    at_rest(teacher)
    shown(pages[0], "No connection")
    pages[0].evaluate("""() => { const own = window.fetch; window.fetch = (a, ...b) =>
        a.includes('/state') ? new Promise(() => {}) : own(a, ...b); }""")
    pages[0].context.set_offline(False)
    assert pages[0].get_by_label("At which pressure").input_value() == "1"
    pages[0].get_by_role("button", name="Commit my answer").click()
    shown(pages[0], "it does not count.")
    live(teacher).get_by_role("button", name="Next task").click()
    at_rest(teacher)
    for step in ("Show the truth", "To the figures"):
        live(teacher).get_by_role("button", name=step).click()
        at_rest(teacher)
    shown(teacher, "The round is over: 3 tasks, 10 answers.")
    teacher.locator('[aria-label*="task 1: bias +0."]').wait_for()
    with teacher.expect_download() as coming:
        live(teacher).get_by_role("button", name="Save the table (CSV)").click()
    table = list(csv.DictReader(io.StringIO(coming.value.path().read_text())))
    assert sorted(float(row["answer"]) for row in table) == sorted(said)
    pages[0].reload()
    for page in pages:
        shown(page, "The round is over.")
    live(teacher).get_by_role("button", name="End the class").click()
    shown(teacher, "Open a class")
    shown(pages[0], "There is no such class now")
    with database.connect() as run:
        left = [run.execute(text(f"SELECT count(*) FROM {t}")).scalar_one()
                for t in ("lesson_class", "lesson_answer", "entry")]
    assert left[:2] == [0, 0] and left[2] == 0, "no answer is left, and none went on record"
    for context in contexts:
        context.close()
    assert all(url.startswith(served.url) or url.startswith("blob:") for url in asked)


def test_a_wrong_code_and_a_wrong_number_are_answered_in_words(open_page):
    page = open_page("/class", scheme="light")
    page.get_by_label("Code on the screen").fill("zzzzz")
    page.get_by_role("button", name="Join").click()
    shown(page, "There is no such class now")
    assert faults_now(page) == []
    page.goto(page.url.split("/class")[0] + "/class/ZZZZZ")
    shown(page, "There is no such class now")
