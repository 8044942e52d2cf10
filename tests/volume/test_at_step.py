"""A surface at a step of the bore, where a rim looks like one."""

from __future__ import annotations

import numpy as np
import pytest

from vision.imaging.photo import photo_from_array
from vision.scale_file.scale import load_scale
from vision.synthetic.chamber import render_scene, sample_scene
from vision.volume.read import read_volume


@pytest.mark.slow
@pytest.mark.parametrize("seed", [3, 4])
def test_a_surface_at_a_step_is_not_called_missing(seed: int) -> None:
    slate = load_scale("slate-50")  # 20 mm wide up to 9.6 mL, 31 mm from 12 mL on
    scene = sample_scene(np.random.default_rng(seed), "typical", slate, true_value=11.0,
                         width=600, height=800)
    picture = np.asarray(render_scene(scene, samples=2))
    r = read_volume(photo_from_array(picture, scene.camera.f35), slate)
    assert (r.status, r.flags[-1]) == ("refused", "surface-not-found")
    assert "step of the chamber" in r.reasons[-1] and "No liquid" not in r.reasons[-1]
