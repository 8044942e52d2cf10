"""The lesson pages: sliders move the numbers, nothing is told before the learner has answered."""

from __future__ import annotations

import html
import io
import json
import xml.etree.ElementTree as ET
import zipfile

import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest

from app.ui.lesson import picture
from app.ui.lesson.plot import Line, curve_drawing
from app.ui.lesson.sight_drawing import sight_drawing
from app.ui.lesson.state import LessonState, PictureShelf, Round
from app.ui.lesson.two_looks_drawing import two_looks_drawing
from app.ui.number import show_number
from vision.lesson.parallax import EyeView, lesson_scale
from vision.lesson.rounds import RIGHT, Verdict, chamber_tasks
from vision.lesson.two_looks import TwoLooks, crossing

SVG = "{http://www.w3.org/2000/svg}"


def packed(labels: str, **files: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as box:
        box.writestr("labels.jsonl", labels)
        for name, data in files.items():
            box.writestr(f"{name}.jpg", data)
    return out.getvalue()


def jpeg(shade: int) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (400, 600), (shade,) * 3).save(out, "JPEG")
    return out.getvalue()


def small_jpeg() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (30, 40)).save(out, "JPEG")
    return out.getvalue()


@pytest.fixture
def untraced(monkeypatch):
    """Pictures that cost nothing; what they show is tested elsewhere."""
    monkeypatch.setattr(picture, "trace", lambda *args, **more: small_jpeg())


def opened(name: str) -> AppTest:
    at = AppTest.from_string(f"from app.pages.{name} import page\npage()\n",
                             default_timeout=60).run()
    assert not at.exception
    return at


def text(at: AppTest) -> str:
    assert not at.exception
    return html.unescape("\n".join(h.proto.body for h in at.get("html")))


def press(at: AppTest, start: str) -> AppTest:
    return next(b for b in at.button if b.key and b.key.startswith(start)).click().run()


def state_of(at: AppTest, page: str) -> LessonState:
    return at.session_state[f"{page}_state"]


# ------------------------------------------------------------------ looking around
@pytest.mark.slow
def test_moving_the_eye_moves_the_reading(untraced):
    at = opened("lesson_parallax")
    assert "bend down 10 cm, to the level?" in text(at), "a question first, and no number"
    assert "33.0" not in text(at) and "too much" not in text(at) and "no error" not in text(at)
    at.slider(key="le-height").set_value(12.0).run()
    assert "33.0" not in text(at), "looking around tells nothing yet"
    at.text_input[0].set_value("34,5").run()
    press(at, "le-show")
    assert at.slider(key="le-height").value == 0.0 and "no error" in text(at)
    assert "You predicted 34.5 mL; the eye reads 33.0: 1.5 mL too high." in text(at)
    at.slider(key="le-height").set_value(10.0).run()
    assert "too much" in text(at)
    at.slider(key="le-height").set_value(-10.0).run()
    assert "too little" in text(at)
    press(at, "le-hide")
    assert "33.0" not in text(at) and "too little" not in text(at)
    assert "The eye is 10 cm below the level." in text(at) and "come up 20 cm" in text(at)


@pytest.mark.slow
def test_readings_can_be_held_and_compared(untraced):
    at = opened("lesson_parallax")
    press(at, "le-show")
    at.slider(key="le-height").set_value(10.0).run()
    press(at, "le-hold")
    at.slider(key="le-height").set_value(-5.0).run()
    press(at, "le-hold")
    press(at, "le-hold")
    held = state_of(at, "lesson_parallax").held
    assert [row[0] for row in held] == [10.0, -5.0], "the same reading is held once"
    assert held[0][5] > 0 > held[1][5]
    assert text(at).count("<tr>") == 3
    press(at, "le-clear")
    assert state_of(at, "lesson_parallax").held == []


@pytest.mark.slow
def test_a_picture_is_traced_once_for_each_place_of_the_eye(monkeypatch):
    made = []
    monkeypatch.setattr(picture, "trace", lambda *args, **more: made.append(args) or small_jpeg())
    at = opened("lesson_parallax")
    for height in (5.0, 10.0, 5.0):
        at.slider(key="le-height").set_value(height).run()
    assert len(made) == 2, "a return to an earlier place shows the picture that is there"


def test_the_shelf_of_pictures_is_bounded():
    shelf = PictureShelf()
    for n in range(100):
        assert shelf.get((n,), lambda n=n: bytes([n])) == bytes([n])
    assert len(shelf.made) == 40 and (99,) in shelf.made and (0,) not in shelf.made


def test_the_traced_picture_shows_the_chamber_of_that_fluid():
    v = EyeView(lesson_scale(30.0), 33.0, 0.0, 400.0)
    red = Image.open(io.BytesIO(picture.trace(v, "red", size=(60, 80))))
    assert red.size == (120, 160)
    upper, lower = red.getpixel((80, 20)), red.getpixel((80, 140))
    assert lower[0] > 2 * lower[1] and upper[1] > 1.5 * lower[1], "liquid below, air above"


@pytest.mark.slow
def test_another_bore_keeps_the_height_of_the_liquid(monkeypatch):
    seen = []
    monkeypatch.setattr(picture, "trace", lambda view, *args, **more: seen.append(view) or
                        small_jpeg())
    at = opened("lesson_parallax")
    for bore in (20.0, 44.0):
        at.slider(key="le-bore").set_value(bore).run()
    assert {round(v.level_mm, 6) for v in seen} == {46.7}
    assert len({round(v.true_value, 3) for v in seen}) == 3, "and holds more in a wider one"


# ------------------------------------------------------------------ the rounds
@pytest.mark.slow
def test_the_truth_is_not_on_the_page_before_the_answer(untraced):
    at = opened("lesson_parallax")
    at.radio(key="le-mode").set_value("Round of ten").run()
    press(at, "lp-begin")
    task = state_of(at, "lesson_parallax").round.task
    truth = show_number(task.view.true_value, task.view.division)
    assert "The truth" not in text(at) or "the truth comes after it" in text(at)
    assert "True" not in text(at) and truth not in text(at) and task.trap not in text(at)
    at.text_input[0].set_value(f"{task.view.true_value:g}").run()
    assert "True" not in text(at), "typing is not yet committing"
    press(at, "lp-commit")
    assert truth in text(at) and task.trap in text(at) and ">Right<" in text(at)


def test_an_answer_is_committed_once(untraced):
    work = Round(tasks=chamber_tasks(1, 2))
    work.commit(5.0, Verdict("a", 1.0, RIGHT))
    work.commit(6.0, Verdict("a", 0.0, RIGHT))
    assert work.answers == [5.0] and work.index == 0
    work.go_on()
    assert work.index == 1 and work.running and not work.shown
    work.commit(7.0, Verdict("a", 1.0, RIGHT))
    work.go_on()
    assert work.finished


@pytest.mark.slow
@pytest.mark.parametrize("typed", ["", "about ten", "9999"])
def test_what_is_no_number_is_asked_for_again(untraced, typed):
    at = opened("lesson_parallax")
    at.radio(key="le-mode").set_value("Round of ten").run()
    press(at, "lp-begin")
    at.text_input[0].set_value(typed).run()
    press(at, "lp-commit")
    assert "Not committed yet" in text(at)
    assert state_of(at, "lesson_parallax").round.verdicts == []


@pytest.mark.slow
@pytest.mark.parametrize(("page", "mode", "prefix"), [
    ("lesson_parallax", "le-mode", "lp"), ("lesson_level", "ll-mode", "lv")])
def test_a_round_of_ten_ends_with_the_score_by_cause(untraced, page, mode, prefix):
    at = opened(page)
    at.radio(key=mode).set_value("Round of ten").run()
    press(at, f"{prefix}-begin")
    for n in range(10):
        work = state_of(at, page).round
        task = work.task
        truth = task.view.true_value if prefix == "lp" else task.truth
        # Right but for the first, which is read a long way off.
        value = truth if n else truth + 3.0
        if value < 0:
            next(c for c in at.checkbox if "minus" in c.key).check()
        at.text_input[0].set_value(f"{abs(value):.2f}").run()
        press(at, f"{prefix}-commit")
        press(at, f"{prefix}-next")
    shown = text(at)
    assert "The round is over: 10 tasks." in shown
    assert "9 of 10" in shown
    for cause in {v.trap for v in state_of(at, page).round.verdicts}:
        assert f"<td>{cause}</td><td>2</td>" in shown
    press(at, f"{prefix}-begin")
    assert state_of(at, page).round.verdicts == []


# ------------------------------------------------------------------ two looks
@pytest.mark.slow
def test_where_two_looks_cross_is_told_after_the_answer_only():
    at = opened("lesson_parallax")
    at.radio(key="le-mode").set_value("Two looks").run()
    press(at, "lt-begin")
    work = state_of(at, "lesson_two_looks").round
    assert len(work.tasks) == 3
    for n, task in enumerate(work.tasks):
        truth = show_number(task.first.true_value, task.first.division)
        first, second = (show_number(r.naive_value, task.first.division) for r in (
            crossing(task).first, crossing(task).second))
        assert first in text(at) and second in text(at), "what both eyes read is given"
        assert "From both looks" not in text(at) and f"cross at {truth}" not in text(at)
        at.text_input[0].set_value(f"{task.first.true_value:g}" if n else first).run()
        press(at, "lt-commit")
        assert "From both looks" in text(at) and f"cross at {truth}" in text(at)
        press(at, "lt-next")
    assert "2 of 3" in text(at) and "The round is over: 3 tasks." in text(at)
    # the round of ten is a round of its own
    at.radio(key="le-mode").set_value("Round of ten").run()
    assert "Begin a round of ten" in [b.label for b in at.button]


@pytest.mark.slow
def test_the_second_eye_can_be_moved_once_the_answer_is_in():
    at = opened("lesson_parallax")
    at.radio(key="le-mode").set_value("Two looks").run()
    press(at, "lt-begin")
    assert not at.slider
    task = state_of(at, "lesson_two_looks").round.task
    at.text_input[0].set_value("20").run()
    press(at, "lt-commit")
    division = task.first.division

    def both() -> str:
        low, high = crossing(TwoLooks(task.first, 10 * at.slider[0].value)).both
        return f"{show_number(low, division)} to {show_number(high, division)}"

    before = both()
    assert before in text(at)
    at.slider[0].set_value(task.first.eye_height_mm / 10 - 0.5).run()
    assert both() != before and both() in text(at)


@pytest.mark.parametrize("second", [40.0, -60.0, 110.0])
def test_the_drawing_keeps_the_level_until_it_is_solved(second):
    looks = TwoLooks(EyeView(lesson_scale(30.0), 33.0, 120.0, 350.0), second)
    asked, solved = (two_looks_drawing(looks, solved=s) for s in (False, True))
    assert "33.0" in solved.title and "33.0" not in asked.title + asked.svg

    def lines(drawn):
        return [[tuple(map(float, p.split())) for p in x.get("d")[1:].split("L")]
                for x in ET.fromstring(drawn.svg).iter(f"{SVG}path")
                if x.get("stroke-width") == "2.4"]

    for outside, through in zip(lines(asked), lines(solved), strict=True):
        assert through[:3] == outside and len(through) == 4
        # straight on from the inner face through the lowest point at (0, 0)
        (x1, y1), (x2, y2) = through[2:]
        assert x1 < 0 < x2
        assert y1 * x2 == pytest.approx(y2 * x1, abs=0.1 * (abs(x1) + abs(x2)))


# ------------------------------------------------------------------ the level lesson
@pytest.mark.slow
def test_pole_and_bed_move_the_threshold():
    at = opened("lesson_level")
    assert "raised by 15 degrees and all else stays, at which pressure will it open" in text(at)
    assert "level with the landmark" not in text(at) and ">10.0 <small>" not in text(at)
    at.text_input[0].set_value("10").run()
    press(at, "ll-show")
    assert at.slider(key="ll-angle").value == 45.0
    # The landmark rises by 60 (sin 45 - sin 30) + 10 (cos 45 - cos 30) = 10.8 cm.
    assert "You predicted 10.0 cmH2O; it opens at \N{MINUS SIGN}0.8: 10.8 cmH2O too high" in text(
        at)
    at.slider(key="ll-angle").set_value(30.0)
    at.slider(key="ll-pole").set_value(5.0).run()
    shown = text(at)
    # 15 cmH2O x 1.0006 = 15.0 cmH2O = 11.0 mmHg.
    assert ">15.0 <small>cmH2O" in shown and "= 11.0 mmHg" in shown and "5.0 cm too high" in shown
    at.slider(key="ll-pole").set_value(0.0)
    at.slider(key="ll-angle").set_value(45.0).run()
    assert "10.8 cm too low" in text(at), "60 (sin 45 - sin 30) + 10 (cos 45 - cos 30)"
    press(at, "ll-hold")
    assert "45" in text(at)


def test_the_teaching_model_is_called_one_and_drains_more_when_low():
    at = opened("lesson_level")
    press(at, "ll-show")
    at.slider(key="ll-angle").set_value(30.0)
    at.slider(key="ll-pole").set_value(-10.0).run()
    shown = text(at)
    assert "Teaching model, not a patient" in shown
    line = next(m for m in shown.splitlines() if "Teaching model, the next hour" in m)
    line = line.removeprefix('<p class="cs-say">').removesuffix("</p>")
    low, level = (float(w) for w in line.replace(":", " ").split() if w.replace(".", "").isdigit())
    assert low > level + 5


@pytest.mark.slow
def test_nothing_of_a_lesson_goes_on_record(untraced, tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path / "ward"))
    for page, key in (("lesson_parallax", "le"), ("lesson_level", "ll")):
        at = opened(page)
        press(at, f"{key}-show")
        press(at, f"{key}-hold")
    assert not (tmp_path / "ward").exists()


# ------------------------------------------------------------------ drawings
@pytest.mark.parametrize("height", [-200.0, -10.0, 0.0, 10.0, 200.0])
@pytest.mark.parametrize("lean", [-4.0, 0.0, 4.0])
def test_the_drawn_line_ends_at_the_lowest_point(height, lean):
    v = EyeView(lesson_scale(30.0), 33.0, height, 300.0, 60.0, lean)
    drawn = sight_drawing(v)
    root = ET.fromstring(drawn.svg)
    sight = next(p for p in root.iter(f"{SVG}path") if p.get("stroke-width") == "2.6")
    points = [tuple(map(float, p.split())) for p in sight.get("d")[1:].split("L")]
    assert points[-1] == (0.0, 0.0)
    assert len(points) == 4, "eye, outer face, inner face, axis"
    assert points[0][0] < points[1][0] < points[2][0] < 0, "from the eye on the left inwards"
    assert ("bends" in drawn.svg) == (height < 0)


def test_a_plot_puts_its_point_on_its_line():
    drawn = curve_drawing([Line([(0, 0), (10, 5)])], "x", "y", "title", now=(5, 2.5))
    root = ET.fromstring(drawn.svg)
    dot = next(iter(root.iter(f"{SVG}circle")))
    line = next(p for p in root.iter(f"{SVG}path") if p.get("stroke-width") == "2.4")
    (x1, y1), (x2, y2) = [tuple(map(float, p.split())) for p in line.get("d")[1:].split("L")]
    assert float(dot.get("cx")) == pytest.approx((x1 + x2) / 2, abs=0.1)
    assert float(dot.get("cy")) == pytest.approx((y1 + y2) / 2, abs=0.1)


# ------------------------------------------------------------------ own material
@pytest.mark.slow
def test_ones_own_scale_is_the_chamber_of_the_lesson(monkeypatch):
    seen = []
    monkeypatch.setattr(picture, "trace", lambda view, *args, **more: seen.append(view) or
                        small_jpeg())
    at = opened("lesson_parallax")
    at.radio(key="scale-lesson-0").set_value("heron-100").run()
    assert seen[-1].scale.name == "heron-100" and "le-bore" not in {s.key for s in at.slider}
    press(at, "le-show")
    at.radio(key="le-mode").set_value("Round of ten").run()
    press(at, "lp-begin")
    work = state_of(at, "lesson_parallax").round
    assert {t.view.scale.name for t in work.tasks} == {"heron-100"}
    press(at, "le-scale-back")
    assert not work.running and seen[-1].scale.name == "heron-100"
    at.radio(key="le-mode").set_value("Look around").run()
    assert seen[-1].scale.name == "lesson-30"


@pytest.mark.slow
def test_a_round_with_ones_own_photos():
    data = packed("\n".join(json.dumps({"file": f"{n}.jpg", "true_value": v})
                            for n, v in (("a", 12.0), ("b", 30.0))), a=jpeg(10), b=jpeg(200))
    at = opened("lesson_parallax")
    at.radio(key="le-mode").set_value("Your photos").run()
    at.file_uploader[0].upload("set.zip", b"no zip", "application/zip").run()
    assert "no ZIP file of photos" in text(at)
    at.file_uploader[0].upload("set.zip", data, "application/zip").run()
    press(at, "lo-begin")
    for _ in range(2):
        task = at.session_state["lesson_own_photos_state"].round.task
        assert f">{task.true_value:.1f} <small>" not in text(at)
        at.text_input[0].set_value(f"{task.true_value:g}").run()
        press(at, "lo-commit")
        assert f">{task.true_value:.1f} <small>" in text(at) and ">Right<" in text(at)
        press(at, "lo-next")
    assert "2 of 2" in text(at)
    assert [b.label for b in at.get("download_button")][:2] == [
        "Score sheet (A4, PDF)", "Score sheet (Letter, PDF)"]


@pytest.mark.slow
def test_a_class_set_is_made_from_the_page(monkeypatch):
    from app.exports import lesson_set
    from app.ui.lesson.paper import class_set_zip

    monkeypatch.setattr(lesson_set.scene_of, "__defaults__", ((70, 140),))
    with zipfile.ZipFile(io.BytesIO(class_set_zip(2, 5, "letter"))) as box:
        names = set(box.namelist())
    assert {"class-set/worksheet.pdf", "class-set/teacher/answers.pdf",
            "class-set/picture-01.jpg", "class-set/picture-02.jpg"} <= names
