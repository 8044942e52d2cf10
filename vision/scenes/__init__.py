"""Our own ray-traced photos of drain chambers, with exact truth.

Shares nothing with the readers but the scale file, so that an error of geometry
on one side shows up against the other.
"""

from vision.scenes.dataset import scene_for, write_scenes
from vision.scenes.model import ChamberScene
from vision.scenes.render import render_scene
from vision.scenes.sample import TIERS, sample_scene
from vision.scenes.truth import scene_truth

__all__ = ["TIERS", "ChamberScene", "render_scene", "sample_scene", "scene_for",
           "scene_truth", "write_scenes"]
