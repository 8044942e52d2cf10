"""A class: one seed for all, first answers only, nobody's name, gone when it ends."""

from __future__ import annotations

import csv
import io
import re
import secrets
from dataclasses import replace

import numpy as np
import pytest
from sqlalchemy import inspect, update

from app.classroom import store as classes
from app.classroom.figures import answers_csv, causes, errors_by_task, histogram, verdicts
from app.classroom.lessons import LESSONS, tasks_of
from app.classroom.presence import present, seen
from app.classroom.store import Answer, ClassState, class_store
from app.records import Store
from vision.errors import InputError
from vision.lesson.rounds import RIGHT

SEED = 7


@pytest.fixture
def store(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path / "ward"))
    monkeypatch.setenv("COUNTERSIGHT_KEY", str(tmp_path / "station.key"))
    classes._opened.cache_clear()
    yield class_store()
    classes._opened.cache_clear()


def learner() -> str:
    return secrets.token_hex(16)


@pytest.mark.slow
def test_a_class_goes_from_task_to_task_and_its_end_leaves_nothing(store, tmp_path):
    state, key = store.open_class("level", 2, SEED)
    assert re.fullmatch("[2-9A-HJKMNP-Z]{5}", state.code)
    a, b = learner(), learner()
    assert store.answer(state.code, 0, a, 9.5) and store.answer(state.code, 0, b, 4.0)
    assert not store.answer(state.code, 0, a, 7.0), "the first answer stays"
    assert not store.answer(state.code, 1, a, 7.0), "not before its turn"
    store.show(state.code, key)
    assert not store.answer(state.code, 0, learner(), 1.0), "not once the truth is told"
    store.go_on(state.code, key)
    assert store.state(state.code) == ClassState(state.code, "level", SEED, 2, 1, False)
    assert sorted(x.value for x in store.answers(state.code, 0)) == [4.0, 9.5]
    store.go_on(state.code, key)
    assert store.state(state.code).task == 1, "a press too many skips no task"
    store.show(state.code, key)
    store.go_on(state.code, key)
    assert store.state(state.code).over
    store.end(state.code, key)
    assert store.answers(state.code) == ()
    with pytest.raises(InputError, match="no such class"):
        store.state(state.code)
    # The record in the same database is as whole as before and has no entry of a class.
    assert Store.open(tmp_path / "ward").verify().ok


def test_only_whoever_opened_a_class_leads_it(store):
    state, key = store.open_class("level", 1, SEED)
    for act in (store.show, store.go_on, store.end):
        with pytest.raises(InputError, match="no such class"):
            act(state.code, "0" * 32)
    with pytest.raises(InputError):
        store.state(state.code, "x")
    assert store.state(state.code, key) == state


def test_a_class_of_yesterday_is_deleted_when_the_next_one_opens(store):
    old, _ = store.open_class("level", 1, SEED)
    store.answer(old.code, 0, learner(), 1.0)
    with classes.writing(store._engine) as run:
        run.execute(update(classes._class).values(opened_utc="2020-01-01T00:00:00+00:00"))
    store.open_class("level", 1, SEED)
    assert store.answers(old.code) == ()
    with pytest.raises(InputError):
        store.state(old.code)


def test_nothing_about_a_person_has_a_place(store):
    columns = {c["name"] for t in ("lesson_class", "lesson_answer")
               for c in inspect(store._engine).get_columns(t)}
    assert columns == {"code", "key", "kind", "seed", "tasks", "task", "shown", "opened_utc",
                       "learner", "value"}
    state, _ = store.open_class("level", 1, SEED)
    for name in ("Robin", "", "A" * 32, "0" * 31):
        with pytest.raises(InputError, match="load the page again"):
            store.answer(state.code, 0, name, 1.0)


def test_a_full_class_says_so(store, monkeypatch):
    monkeypatch.setattr(classes, "MOST_LEARNERS", 2)
    state, _ = store.open_class("level", 1, SEED)
    for _ in range(2):
        assert store.answer(state.code, 0, learner(), 1.0)
    with pytest.raises(InputError, match="full"):
        store.answer(state.code, 0, learner(), 1.0)


def test_phones_are_counted_while_they_ask(monkeypatch):
    now = [1000.0]
    monkeypatch.setattr("app.classroom.presence.time.monotonic", lambda: now[0])
    seen("AAAAA", "1")
    seen("AAAAA", "2")
    seen("BBBBB", "3")
    assert present("AAAAA") == 2
    now[0] += 5.0
    seen("AAAAA", "1")
    now[0] += 5.0
    assert present("AAAAA") == 1


# ------------------------------------------------------------------ figures
STATE = ClassState("AAAAA", "level", SEED, 2, 2, False)


def answered() -> list[Answer]:
    tasks = tasks_of("level", SEED, 2)
    return [Answer(n, f"{k:032x}", tasks[n].truth + error)
            for n in (0, 1) for k, error in enumerate((0.0, 0.2, 3.0))]


def test_the_histogram_tells_the_truth_only_when_it_is_told_and_loses_nobody():
    values = [10.0, 10.2, 14.9, 500.0]
    asked = histogram(values, 1.0, "cmH2O")
    assert "4 answers" in asked.svg and "true" not in asked.svg + asked.title
    shown = histogram(values, 1.0, "cmH2O", truth=12.5, wrong={"offset left out": (10.0,)})
    assert "true 12.5" in shown.svg and "offset left out" in shown.svg

    def tallness(drawn):
        unit = (300.0 - 46.0 - 56.0) / max(4, 2 + 1)
        return sum(float(h) for h in re.findall(r'<rect [^>]*height="([\d.]+)" fill=', drawn.svg)
                   ) / unit

    assert tallness(asked) == pytest.approx(4.0, abs=0.01), "the far one stands at the edge"
    far = histogram([42.0] * 3, 0.5, "mL", truth=7.65)
    assert "true 7.65" in far.svg and tallness(far) == pytest.approx(3.0, abs=0.01)
    x = float(re.search(r'<text x="([\d.]+)"[^>]*>true 7.65', far.svg).group(1))
    assert 200 < x < 400, "the truth stands in the middle, whatever was said"
    assert histogram([], 1.0, "mL").title.count("0 answers") == 1
    near = histogram([20.0], 1.0, "mL", truth=48.4, wrong={"front": (51.2,), "back": (50.7,),
                                                           "counted": (50.9,)})
    places = sorted(float(x) for x in re.findall(r"translate\(([\d.]+) [\d.]+\) rotate", near.svg))
    assert len(places) == 3 and min(np.diff(places)) >= 12, "words of 12 px do not overlap"


def test_spread_bias_and_causes_by_hand():
    judged = verdicts(STATE, answered())
    assert [v.error for _, v in judged] == pytest.approx([0, 0.2, 3.0] * 2)
    # Mean 1.067 and standard deviation (n - 1) 1.677 of 0, 0.2 and 3.
    assert np.std([0, 0.2, 3.0], ddof=1) == pytest.approx(1.677, abs=1e-3)
    drawn = errors_by_task(STATE, answered())
    assert "task 1: bias +1.1, spread 1.7" in drawn.title and "units" in drawn.title
    assert drawn.svg.count("<circle") == 6
    assert f"{RIGHT}: 4" in causes(STATE, answered()).title
    assert "no answer yet" in errors_by_task(STATE, []).title


def test_the_table_holds_every_answer_and_no_ones_number():
    table = list(csv.DictReader(io.StringIO(answers_csv(STATE, answered()))))
    assert len(table) == 6 and {row["learner"] for row in table} == {"1", "2", "3"}
    assert "0" * 20 not in answers_csv(STATE, answered())
    assert [float(r["error_divisions"]) for r in table[:3]] == pytest.approx(
        [0, 0.2, 3.0], abs=1e-3)
    assert {r["cause"] for r in table} >= {RIGHT} and table[0]["unit"] in ("cmH2O", "mmHg")


@pytest.mark.slow
@pytest.mark.parametrize("kind", list(LESSONS))
def test_every_kind_can_be_asked_judged_and_shown(kind):
    lesson = LESSONS[kind]
    for task in tasks_of(kind, SEED, 3):
        assert lesson.judge(lesson.truth(task), task).cause == RIGHT
        assert lesson.unit(task) and lesson.division(task) > 0 and lesson.question(task)
        assert (lesson.picture(task) is None) != (lesson.before(task) is None)
        assert lesson.after(task).title and lesson.why(task)
        text = "".join(lesson.sentences(task)) + lesson.question(task)
        assert f"{lesson.truth(task):.2f}" not in text
        over = replace(STATE, kind=kind)
        assert histogram([1.0], lesson.division(task), lesson.unit(task), truth=lesson.truth(task),
                         wrong=lesson.wrong(task)).svg and causes(over, []).title
