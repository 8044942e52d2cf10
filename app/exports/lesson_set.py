"""A class set: numbered pictures, a worksheet, and the answers under a seal.

The answers are packed, not locked: whoever knows the seed can make the set anew.  The
seal is their SHA-256; its first digits are printed on every sheet, so that a class
can see afterwards that the answers were there before the first prediction and have
not been changed.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from app.exports.print_sheet import Paper
from app.exports.worksheet import answers_pdf, worksheet_pdf
from vision.errors import InputError
from vision.lesson.level import LevelTask, level_tasks
from vision.lesson.parallax import eye_reading
from vision.lesson.rounds import ChamberTask, chamber_tasks, wrong_readings
from vision.plain_file import parse_json, read_text
from vision.scale_file.scale import Scale
from vision.synthetic.chamber.dataset import save_photo
from vision.synthetic.chamber.lesson import scene_of
from vision.synthetic.chamber.render import render_scene

FORMAT = "countersight-lesson-set-1"
SEALED = Path("teacher") / "answers.sealed"
WORKSHEET, ANSWERS = Path("worksheet.pdf"), Path("teacher") / "answers.pdf"
LEVEL_TASKS = 4


def picture_name(number: int) -> str:
    """File name of the picture with a number, from 1."""
    return f"picture-{number:02d}.jpg"


def scale_json(scale: Scale) -> dict[str, Any]:
    """The scale file of a scale with one bore."""
    runs = [{"from": m.value, "to": m.value, "step": 1, "length": m.length, "label": m.label}
            for m in scale.marks]
    return {"name": scale.name, "unit": scale.unit, "direction": scale.direction,
            "inner_diameter_mm": scale.diameter_knots[0][1], "wall_mm": scale.wall_mm,
            "capacity": scale.capacity, "height_mm": [list(k) for k in scale.height_knots],
            "marks": runs}


def label_of(number: int, task: ChamberTask) -> dict[str, Any]:
    """One line of the answers: a label-file line with what the lesson knows besides."""
    view, seen = task.view, eye_reading(task.view)
    return {
        "file": f"../{picture_name(number)}", "scale": f"scales/{view.scale.name}.json",
        "true_value": view.true_value, "expect": "read", "tier": "lesson", "number": number,
        "naive_value": round(seen.naive_value, 3), "rim_value": round(seen.rim_value, 3),
        "division": view.division, "eye_height_mm": view.eye_height_mm,
        "distance_mm": view.distance_mm, "elevation_deg": round(view.sight_deg, 3),
        "contact_angle_deg": view.contact_angle_deg, "fluid": task.fluid, "trap": task.trap,
        "wrong": {c: [round(v, 2) for v in values]
                  for c, values in wrong_readings(view).items()}}


def seal(labels: str) -> str:
    """The seal of the answers: SHA-256 of their text, in hex."""
    return hashlib.sha256(labels.encode("utf-8")).hexdigest()


def set_code(sealed: str) -> str:
    """The seal's first digits, as they are printed on the sheets."""
    return f"{sealed[:4]}-{sealed[4:8]}"


def pack(labels: str) -> str:
    """The sealed file's text."""
    body = base64.b64encode(zlib.compress(labels.encode("utf-8"), 9)).decode("ascii")
    return json.dumps({"format": FORMAT, "seal": seal(labels), "answers": body}, indent=1) + "\n"


def open_sealed(path: str | Path) -> str:
    """The answers in a sealed file, as a label file's text.

    ``InputError`` where the file is no sealed file, or its content does not fit its seal.
    """
    try:
        box = parse_json(read_text(path))
        known, body = str(box["seal"]), str(box["answers"])
        if box["format"] != FORMAT:
            raise ValueError
        labels = zlib.decompress(base64.b64decode(body, validate=True)).decode("utf-8")
    except OSError:
        raise InputError(f"The file {path} cannot be read; name the answers.sealed of a set."
                         ) from None
    except (ValueError, KeyError, TypeError, zlib.error, binascii.Error):
        raise InputError(f"The file {path} is not the sealed answers of a set; name its "
                         "answers.sealed.") from None
    if seal(labels) != known:
        raise InputError(f"The seal of {path} is broken: the answers are not the ones that were "
                         "sealed.")
    return labels


def write_lesson_set(out: str | Path, count: int, seed: int,
                     progress: Callable[[int, int], None] | None = None, *,
                     paper: Paper = "a4") -> Path:
    """Write a class set of ``count`` pictures into the folder ``out``; returns the worksheet.

    The answers are sealed before the first picture is made.  An interrupted set is
    finished by the same call; a folder that holds another set is refused.
    ``progress`` is told (done, count) after each picture.
    """
    folder = Path(out)
    tasks, bedsides = chamber_tasks(seed, count), level_tasks(seed, LEVEL_TASKS)
    labels = _labels(tasks, bedsides)
    sealed = pack(labels)
    try:
        (folder / "teacher" / "scales").mkdir(parents=True, exist_ok=True)
    except OSError:
        raise InputError(f"The folder {folder} cannot be written to; choose another.") from None
    known = folder / SEALED
    if known.exists() and known.read_text(encoding="utf-8", errors="replace") != sealed:
        raise InputError(f"The folder {folder} holds another set; choose an empty folder.")
    known.write_text(sealed, encoding="utf-8")
    for scale in {t.view.scale.name: t.view.scale for t in tasks}.values():
        (folder / "teacher" / "scales" / f"{scale.name}.json").write_text(
            json.dumps(scale_json(scale)), encoding="utf-8")
    for number, task in enumerate(tasks, start=1):
        path = folder / picture_name(number)
        if not path.exists():
            scene = scene_of(task)
            save_photo(render_scene(scene, samples=2), path, scene.camera.f35, 90)
        if progress:
            progress(number, count)
    code = set_code(seal(labels))
    pictures = [folder / picture_name(n) for n in range(1, count + 1)]
    (folder / ANSWERS).write_bytes(answers_pdf(tasks, bedsides, code, seal(labels), seed, paper))
    (folder / WORKSHEET).write_bytes(worksheet_pdf(pictures, tasks, bedsides, code, paper))
    return folder / WORKSHEET


def _labels(tasks: tuple[ChamberTask, ...], bedsides: tuple[LevelTask, ...]) -> str:
    """All answers as text, a label line a picture; the last line also holds the bedsides'
    thresholds, so that the seal covers them."""
    lines = [label_of(n, task) for n, task in enumerate(tasks, start=1)]
    lines[-1]["bedsides"] = [round(t.truth, 2) for t in bedsides]
    return "".join(json.dumps(line, sort_keys=True) + "\n" for line in lines)
