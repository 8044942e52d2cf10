"""Class sets: other pictures for another seed, no answer on the worksheet, a seal that shows."""

from __future__ import annotations

import io
import json

import pytest
from PIL import Image
from pypdf import PdfReader

from app.cli import main
from app.exports import lesson_set
from app.exports.lesson_set import open_sealed, set_code, write_lesson_set
from app.exports.worksheet import answers_pdf, worksheet_pdf
from vision.accuracy.labels import read_labels
from vision.drawing.bedside import hanging_words
from vision.errors import InputError
from vision.lesson.level import level_tasks
from vision.lesson.parallax import eye_reading
from vision.lesson.rounds import chamber_tasks
from vision.scale_file.scale import load_scale

pytestmark = pytest.mark.slow

SEED, COUNT = 41, 3


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A set with small pictures: what is tested here does not hang on their size."""
    folder = tmp_path_factory.mktemp("class") / "set"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lesson_set.scene_of, "__defaults__", ((140, 280),))
        write_lesson_set(folder, COUNT, SEED)
    return folder


def words(pdf) -> str:
    reader = PdfReader(io.BytesIO(pdf.read_bytes()))
    return " ".join(" ".join(p.extract_text() for p in reader.pages).split())


def test_pictures_are_numbered_and_all_else_is_beside_them(made):
    assert sorted(p.name for p in made.iterdir()) == [
        "picture-01.jpg", "picture-02.jpg", "picture-03.jpg", "teacher", "worksheet.pdf"]
    for path in made.glob("*.jpg"):
        with Image.open(path) as image:
            assert set(image.getexif().get_ifd(0x8769)) <= {41989}, "only the focal length"


def test_the_worksheet_has_a_place_for_every_answer_and_none_of_them(made):
    text = words(made / "worksheet.pdf")
    for n in range(1, COUNT + lesson_set.LEVEL_TASKS + 1):
        assert f"No. {n} " in text
    for task in level_tasks(SEED, lesson_set.LEVEL_TASKS):
        assert " ".join(task.sentences[0].split()) in text
        assert f"{task.truth:.1f} mmHg" not in text and f"{task.truth:.1f} cmH2O" not in text
    for task in chamber_tasks(SEED, COUNT):
        assert f"{task.view.true_value:.1f}" not in text, "no true value on the learner's sheet"
        assert task.trap not in text
    assert "Seed" not in text, "the seed is the key to the answers"
    assert "Not a medical device" in text


def test_the_answer_sheet_says_the_truth_and_what_each_error_gives(made):
    text = words(made / "teacher" / "answers.pdf")
    assert f"Seed {SEED}" in text
    for task in chamber_tasks(SEED, COUNT):
        places = 2 if task.view.division < 1 else 1
        assert f"true {task.view.true_value:.{places}f} mL" in text
        assert f"{task.trap} <- laid out for this" in text
        assert f"the eye reads {eye_reading(task.view).naive_value:.{places}f} mL" in text


def test_the_bedsides_are_drawn_before_for_the_learner_and_after_for_the_teacher(made):
    asked, answered = words(made / "worksheet.pdf"), words(made / "teacher" / "answers.pdf")
    assert asked.count("As it was levelled, before anything moved") == lesson_set.LEVEL_TASKS
    assert answered.count("Now: hangs ") == lesson_set.LEVEL_TASKS
    for task in level_tasks(SEED, lesson_set.LEVEL_TASKS):
        assert hanging_words(task.view.offset_cm) in answered
        assert hanging_words(task.view.offset_cm) not in asked


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_all_words_stand_on_the_paper_that_was_asked_for(made, paper, size_mm):
    # ISO 216; ANSI/ASME Y14.1 size A.
    tasks, bedsides = chamber_tasks(SEED, COUNT), level_tasks(SEED, 12)
    pictures = sorted(made.glob("*.jpg"))
    for pdf in (worksheet_pdf(pictures, tasks, bedsides, "code", paper),
                answers_pdf(tasks, bedsides, "code", "seal", SEED, paper)):
        for page in PdfReader(io.BytesIO(pdf)).pages:
            size = [float(v) / 72 * 25.4 for v in page.mediabox[2:]]
            assert size == pytest.approx(size_mm, abs=0.1)
            feet = []
            page.extract_text(visitor_text=lambda text, cm, tm, *_, feet=feet: feet.append(
                tm[5] * 25.4 / 72) if text.strip() and cm[4:] == [0.0, 0.0] else None)
            assert min(feet) > 7.0, "nothing runs off the foot of the page"


def test_the_seal_is_on_every_sheet_and_shows_a_change(made, tmp_path):
    sealed = made / "teacher" / "answers.sealed"
    box = json.loads(sealed.read_text())
    code = set_code(box["seal"])
    assert code in words(made / "worksheet.pdf") and box["seal"] in words(
        made / "teacher" / "answers.pdf")
    assert "true_value" not in sealed.read_text(), "not to be read by a passing glance"
    truth = [json.loads(line)["true_value"] for line in open_sealed(sealed).splitlines()]
    assert truth == [t.view.true_value for t in chamber_tasks(SEED, COUNT)]
    other = json.loads(lesson_set.pack(open_sealed(sealed).replace(str(truth[0]), "1.0")))
    forged = tmp_path / "answers.sealed"
    forged.write_text(json.dumps({**other, "seal": box["seal"]}))
    with pytest.raises(InputError, match="seal .* is broken"):
        open_sealed(forged)


@pytest.mark.parametrize("content", ["", "{}", "[1]", "not json", '{"format": 1, "seal": 2}',
                                     '{"format": "countersight-lesson-set-1", "seal": "x", '
                                     '"answers": "%%%"}'])
def test_what_is_no_sealed_file_is_named(tmp_path, content):
    path = tmp_path / "a"
    path.write_text(content)
    with pytest.raises(InputError, match="not the sealed answers"):
        open_sealed(path)


def test_opened_answers_are_a_label_file_with_scales_that_load(made):
    labels = made / "teacher" / "labels.jsonl"
    labels.write_text(open_sealed(made / "teacher" / "answers.sealed"))
    for label, task in zip(read_labels(labels), chamber_tasks(SEED, COUNT), strict=True):
        assert label.path.resolve().exists()
        scale = load_scale(label.scale)
        assert scale.marks == task.view.scale.marks
        assert scale.outer_radius_mm == task.view.scale.outer_radius_mm


def test_the_same_seed_is_the_same_set_and_another_folder_is_kept_safe(made, tmp_path):
    before = {p: p.read_bytes() for p in made.rglob("*") if p.is_file() and p.suffix != ".jsonl"}
    write_lesson_set(made, COUNT, SEED)
    assert {p: p.read_bytes() for p in before} == before
    with pytest.raises(InputError, match="holds another set"):
        write_lesson_set(made, COUNT, SEED + 1)
    assert {p: p.read_bytes() for p in before} == before
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        write_lesson_set(tmp_path / "file" / "set", COUNT, SEED)


def test_the_command_opens_answers_and_refuses_what_makes_no_sense(made, capsys, tmp_path):
    assert main(["scenes", "--open", str(made / "teacher" / "answers.sealed")]) == 0
    assert len(capsys.readouterr().out.splitlines()) == COUNT
    assert main(["scenes", "--open", str(tmp_path / "none")]) == 2
    assert "cannot be read" in capsys.readouterr().err
    assert main(["scenes", "--lesson", "--out", str(tmp_path)]) == 2
    assert "--count and --seed" in capsys.readouterr().err
    given = ["--out", str(tmp_path / "s"), "--count", "2", "--seed", "1"]
    assert main(["scenes", "--lesson", *given, "--tier", "easy"]) == 2
    assert "leave out --scale" in capsys.readouterr().err
    assert not (tmp_path / "s").exists()


def test_the_command_writes_a_set(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(lesson_set.scene_of, "__defaults__", ((140, 280),))
    out = tmp_path / "set"
    assert main(["scenes", "--lesson", "--out", str(out), "--count", "1", "--seed", "9"]) == 0
    assert capsys.readouterr().out.strip() == str(out / "worksheet.pdf")
    other = tmp_path / "other"
    main(["scenes", "--lesson", "--out", str(other), "--count", "1", "--seed", "10"])
    assert words(out / "worksheet.pdf") != words(other / "worksheet.pdf")
    assert (out / "picture-01.jpg").read_bytes() != (other / "picture-01.jpg").read_bytes()
