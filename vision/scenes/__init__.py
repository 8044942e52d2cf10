"""Our own ray-traced photos of drain chambers, with exact truth.

Shares nothing with the readers but the scale file, so that an error of geometry
on one side shows up against the other.
"""

from vision.scenes.model import ChamberScene
from vision.scenes.render import render_scene

__all__ = ["ChamberScene", "render_scene"]
