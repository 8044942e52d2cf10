"""Our own ray-traced photos of drain chambers, with exact truth.

Shares nothing with the readers but the scale file, so that an error of geometry
on one side shows up against the other.
"""

from vision.synthetic.chamber.dataset import scene_for, write_scenes
from vision.synthetic.chamber.model import ChamberScene
from vision.synthetic.chamber.render import render_scene
from vision.synthetic.chamber.sample import TIERS, sample_scene
from vision.synthetic.chamber.sets import set_for
from vision.synthetic.chamber.truth import scene_truth

__all__ = ["TIERS", "ChamberScene", "render_scene", "sample_scene", "scene_for",
           "scene_truth", "set_for", "write_scenes"]
