"""A photo read against the scale of another chamber must never give a wrong value."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from app.cli import main
from vision.imaging.photo import Photo, load_photo
from vision.scale_file.scale import load_scale
from vision.synthetic.chamber import render_scene, scene_for
from vision.synthetic.chamber.dataset import save_photo
from vision.volume.read import read_volume

pytestmark = pytest.mark.slow

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


@pytest.mark.parametrize(("photo", "wrong_scale"), [
    ("bench-1-pink.jpg", "slate-50"),
    ("bench-1-pink.jpg", "heron-100"),
    ("bench-4-from-above.jpg", "slate-50"),
    ("bench-6-red.jpg", "heron-100"),
    ("bench-2-clear.jpg", "quay-60"),
])
def test_the_scale_of_another_chamber_gives_no_value(
        photo: str, wrong_scale: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", str(SAMPLES / photo), "--scale", wrong_scale, "--json"]) == 3
    found = json.loads(capsys.readouterr().out)
    assert found["status"] == "refused" and found["value"] is None
    assert {"numerals-disagree", "wrong-scale", "numbering-unsettled"} & set(found["flags"])
    assert found["reasons"], "the person is told why"


#: A slate-50 whose level, 6.2 mL, lies where its marks are farther apart than those of quay-60.
BELOW_THE_STEP = 14


@pytest.fixture(scope="module")
def slate(tmp_path_factory: pytest.TempPathFactory) -> Photo:
    scene = scene_for(30116001, BELOW_THE_STEP, size=(900, 1200))
    assert scene.scale.name == "slate-50" and scene.true_value < 9.6
    file = tmp_path_factory.mktemp("slate") / "slate.jpg"
    save_photo(render_scene(scene), file, scene.camera.f35, 90)
    return load_photo(file)


def test_where_two_scales_print_the_same_numbers_the_other_part_tells(slate: Photo) -> None:
    """Above 13 mL slate-50 and quay-60 print the same numbers on marks of 1 mL; below, marks of
    the one stand between those of the other."""
    right = read_volume(slate, load_scale("slate-50"))
    assert right.value == pytest.approx(6.17, abs=0.3)
    for photo in (slate, load_photo(SAMPLES / "bench-6-red.jpg")):
        wrong = read_volume(photo, load_scale("quay-60"))
        assert (wrong.status, wrong.flags[-1]) == ("refused", "wrong-scale")


def test_a_typed_number_makes_no_other_scale_of_it(slate: Photo) -> None:
    right = read_volume(slate, load_scale("slate-50"))
    mark = next(a for a in right.annotations if a.role == "numeral" and a.text == "25")
    typed = (25.0, tuple(map(float, mark.points_px.mean(axis=0))))
    wrong = read_volume(slate, load_scale("quay-60"), number=typed)
    assert wrong.status == "refused" and wrong.value is None
