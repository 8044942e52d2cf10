"""The robustness grid: labels stay exact, and the report tells refusal from misreading."""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image

from vision.accuracy import grid, read_labels, run_benchmark
from vision.accuracy.measure import compare
from vision.accuracy.variations import VARIATIONS, Scene, moved, seed_of
from vision.errors import InputError

#: Where four small discs stand, (x, y) px: two ends of a scale, the surface, a corner.
SPOTS = {"lowest_mark_px": [150.0, 330.0], "highest_mark_px": [158.0, 60.0],
         "surface_px": [153.0, 220.0], "corner_px": [230.0, 250.0]}


def picture() -> np.ndarray:
    """A grey field with a Gaussian spot at each of SPOTS."""
    ys, xs = np.mgrid[:400, :300]
    field = np.full((400, 300), 60.0)
    for x, y in SPOTS.values():
        field += 150 * np.exp(-((xs - x) ** 2 + (ys - y) ** 2) / (2 * 4.0**2))
    return np.repeat(field.clip(0, 255).astype(np.uint8)[..., None], 3, axis=2)


def scene(rng_seed: int = 1) -> Scene:
    p = {k: np.array(v) for k, v in SPOTS.items()}
    return Scene(picture(), np.random.default_rng(rng_seed), p["surface_px"],
                 p["lowest_mark_px"], p["highest_mark_px"])


def centre_near(rgb: np.ndarray, x: float, y: float, reach: int = 7) -> tuple[float, float]:
    """Centroid of what is brighter than the field near a point."""
    x0, y0 = round(x) - reach, round(y) - reach
    part = rgb[y0:y0 + 2 * reach + 1, x0:x0 + 2 * reach + 1, 1].astype(float)
    weight = np.clip(part - np.percentile(part, 40), 0, None)
    ys, xs = np.mgrid[y0:y0 + part.shape[0], x0:x0 + part.shape[1]]
    return float((weight * xs).sum() / weight.sum()), float((weight * ys).sum() / weight.sum())


def by_name(name: str):
    return next(v for v in VARIATIONS if v.name == name)


@pytest.mark.parametrize(("name", "strength"), [
    ("smaller", 0.75), ("smaller", 0.5), ("roll", 8), ("roll", 30), ("crop", 0.8), ("blur", 2),
    ("JPEG quality", 30), ("darker", 0.5)])
def test_points_are_where_the_moved_labels_say(name, strength):
    """The spots are found again, by their centroid, within a quarter of a pixel."""
    done = by_name(name).disturb(scene(), strength)
    keys = moved(SPOTS, done.affine)
    height, width = done.rgb.shape[:2]
    seen = 0
    for x, y in keys.values():
        if 12 < x < width - 12 and 12 < y < height - 12:
            assert centre_near(done.rgb, x, y) == pytest.approx((x, y), abs=0.25)
            seen += 1
    assert seen >= 2


@pytest.mark.parametrize("variation", VARIATIONS, ids=lambda v: v.name)
def test_every_disturbance_changes_the_picture_more_the_stronger_it_is(variation):
    if variation.name in ("smaller", "crop"):
        sizes = [variation.disturb(scene(), s).rgb.size for s in variation.strengths]
        assert sizes == sorted(sizes, reverse=True) and len(set(sizes)) == len(sizes)
        return
    base = picture().astype(float)
    change = [np.abs(variation.disturb(scene(), s).rgb - base).mean() for s in variation.strengths]
    assert change[0] > 0 and change == sorted(change)


@pytest.mark.slow
def test_a_finger_never_covers_the_surface_but_covering_it_does():
    x, y = (int(v) for v in SPOTS["surface_px"])
    near = np.s_[y - 5:y + 6, x - 5:x + 6]
    for seed in range(10):
        for strength in by_name("finger").strengths:
            rgb = by_name("finger").disturb(scene(seed), strength).rgb
            assert np.abs(rgb[near].astype(float) - picture()[near]).mean() < 6
        rgb = by_name("surface covered").disturb(scene(seed), 0.2).rgb
        assert np.abs(rgb[near].astype(float) - picture()[near]).mean() > 20


def test_seeds_differ_by_picture_and_setting_and_repeat():
    seeds = {seed_of(f, v.setting(s)) for f in ("a.jpg", "b.jpg")
             for v in VARIATIONS for s in v.strengths}
    assert len(seeds) == 2 * sum(len(v.strengths) for v in VARIATIONS)
    a, b = (by_name("noise").disturb(scene(5), 15).rgb for _ in range(2))
    assert np.array_equal(a, b)


@pytest.fixture
def labels(tmp_path):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[41989] = 26
    Image.fromarray(picture()).save(tmp_path / "a.jpg", quality=95, exif=exif)
    line = {"file": "a.jpg", "scale": "quay-60", "true_value": 30.0, "expect": "read",
            "tier": "hard", "roll_deg": 1.0, "blur_px": 0.4, "division": 1.0, **SPOTS}
    skipped = {**line, "file": "b.jpg", "expect": "refuse"}
    path = tmp_path / "labels.jsonl"
    path.write_text(json.dumps(skipped) + "\n" + json.dumps(line) + "\n")
    return path


def test_a_grid_is_a_label_set_of_its_own(labels, tmp_path):
    path = grid.make_grid(labels, tmp_path / "grid")
    made = list(read_labels(path))
    assert len(made) == 1 + sum(len(v.strengths) for v in VARIATIONS)
    assert all(x.path.exists() for x in made)
    assert all(x.tier is None and x.keys["source_tier"] == "hard" for x in made)
    rolled = next(x for x in made if x.keys["variation"] == "roll")
    assert "roll_deg" not in rolled.keys and rolled.keys["surface_px"] != SPOTS["surface_px"]
    assert {x.expect for x in made if x.keys["variation"] == "surface covered"} == {"refuse"}
    with Image.open(rolled.path) as image:
        assert image.getexif().get_ifd(0x8769)[41989] == 26
    before = path.stat().st_mtime_ns
    assert grid.make_grid(labels, tmp_path / "grid").stat().st_mtime_ns == before


def test_a_lens_file_is_not_carried_into_the_grid(labels, tmp_path):
    """A crop or a turned picture is no photo of that lens."""
    lines = [json.loads(x) for x in labels.read_text().splitlines()]
    labels.write_text("".join(json.dumps({**x, "lens": "phone.json"}) + "\n" for x in lines))
    made = read_labels(grid.make_grid(labels, tmp_path / "grid"))
    assert all(x.lens is None and "lens" not in x.keys for x in made)


def test_a_set_without_a_picture_to_read_has_no_grid(tmp_path):
    path = tmp_path / "labels.jsonl"
    path.write_text('{"file": "a.jpg", "true_offset_mm": 3}\n')
    with pytest.raises(InputError, match="no volume picture"):
        grid.make_grid(path, tmp_path / "grid")


@pytest.mark.slow
def test_the_report_shows_where_reading_turns_into_refusal(labels, tmp_path):
    """A stand-in reader: refuses from blur 4 px on, misreads the darkest pictures."""
    def reader(label):
        v, s = label.keys["variation"], label.keys.get("strength", 0)
        if (v == "blur" and s >= 4) or label.expect == "refuse":
            return compare(label, {"status": "refused", "unit": "mL"}, 0.0)
        value = label.truth + (5.0 if v == "darker" and s < 0.1 else 0.1)
        return compare(label, {"status": "read", "unit": "mL", "value": value, "division": 1.0,
                               "misread_limit": 1.0}, 0.0)

    path = grid.make_grid(labels, tmp_path / "grid")
    summary = run_benchmark(path, tmp_path / "out", progress=False, measure=reader)
    part = summary.kinds["volume"]
    settings = part.groups[grid.SETTING]
    assert list(settings)[0] == grid.UNCHANGED
    assert settings["blur 2 px"].scored == 1 and settings["blur 4 px"].scored == 0
    assert settings["darker 0.03 times the light"].misreads.count == 1
    assert not summary.met
    text = (tmp_path / "out" / "report.html").read_text()
    assert "where reading turns into refusal" in text and "1 silent misreads" in text
