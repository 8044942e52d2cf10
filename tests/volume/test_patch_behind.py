"""What stands behind the chamber, seen through the liquid, beside the surface above it."""

from __future__ import annotations

import pytest

from vision.imaging.photo import Photo, load_photo
from vision.synthetic.chamber.dataset import save_photo, scene_for
from vision.synthetic.chamber.render import render_scene
from vision.volume.read import read_volume

pytestmark = pytest.mark.slow
#: The edge of a grey patch on the panel fills the bore at about 29.6 mL; the surface is at 43 mL.
SCENE = scene_for(30116001, 149, size=(900, 1200))
SURFACE_PX, PATCH_PX = (540.0, 407.0), (540.0, 540.0)


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Photo:
    file = tmp_path_factory.mktemp("patch") / "patch.jpg"
    save_photo(render_scene(SCENE), file, SCENE.camera.f35, 90)
    return load_photo(file)


def test_the_person_is_asked_which_it_is(photo: Photo) -> None:
    found = read_volume(photo, SCENE.scale)
    assert (found.status, found.flags) == ("refused", ("competing-surfaces",))
    assert found.question is not None and found.question.kind == "which-surface"
    patch, surface = found.candidates
    assert patch == pytest.approx(29.6, abs=1.0)
    assert surface == pytest.approx(SCENE.true_value, abs=2.0)


def test_a_tap_on_the_surface_settles_it(photo: Photo) -> None:
    found = read_volume(photo, SCENE.scale, surface=SURFACE_PX)
    assert found.value is not None and found.interval is not None
    assert found.interval[0] < SCENE.true_value < found.interval[1]
    assert found.value == pytest.approx(SCENE.true_value, abs=0.3)


def test_a_tap_on_the_patch_makes_no_surface_of_it(photo: Photo) -> None:
    assert read_volume(photo, SCENE.scale, surface=PATCH_PX).status == "refused"
