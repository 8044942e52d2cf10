"""The chamber in Blender: dielectric walls, liquid with absorption, print, collar and lid."""

from __future__ import annotations

from typing import Any

import numpy as np

from vision.training.third.blender import UNIT, image_of, matt, nodes_of, put
from vision.training.third.draws import Rgb, ThirdScene, outside_at
from vision.training.third.meshes import (
    dry_wall_and_water,
    grid,
    joined,
    liquid,
    outer_wall,
    ring,
)
from vision.training.third.printing import wrapped_print

#: Light taken per mm of path in the liquid (red, green, blue); what a cloudy one scatters per mm.
ABSORBED: dict[str, Rgb] = {
    "clear": (0.0, 0.0, 0.0), "straw": (0.001, 0.005, 0.035), "pink": (0.003, 0.03, 0.018),
    "red": (0.015, 0.2, 0.17), "brown": (0.02, 0.05, 0.12), "cloudy": (0.002, 0.003, 0.006)}
_SCATTERED = 0.035


def build_chamber(scene: ThirdScene) -> None:
    """Add everything that turns with the tube."""
    put("outside", outer_wall(scene), _printed_wall(scene))
    wall, water = dry_wall_and_water(scene)
    put("inside", wall, _clear("inside", scene, stain=True))
    if water is not None:
        put("water", water, _clear("water", scene))
    if scene.level_mm is not None:
        put("liquid", liquid(scene), _clear("liquid", scene, absorbs=True))
    rng = np.random.default_rng(scene.seed + 4)
    shade = (0.75, 0.75, 0.73) if rng.random() < 0.6 else tuple(rng.uniform(0.05, 0.6, 3))
    plastic = matt("fittings", shade, rough=float(rng.uniform(0.25, 0.6)))
    r_low = float(outside_at(scene.scale, scene.floor_mm)) + float(rng.uniform(1, 3))
    r_high = float(outside_at(scene.scale, scene.lid_mm)) + float(rng.uniform(1, 3))
    foot = scene.floor_mm - float(rng.uniform(10, 25))
    put("collar", _capped(r_low, foot, scene.floor_mm - 1.0, scene.floor_mm + 1.5), plastic)
    top = scene.lid_mm + float(rng.uniform(8, 20))
    put("lid", _capped(r_high, top, scene.lid_mm, scene.lid_mm - 1.5), plastic)
    tube = matt("tubing", (0.7, 0.7, 0.72), rough=0.2)
    thin = float(rng.uniform(1.5, 3))
    put("outlet", grid(ring(np.full(2, thin), np.array([foot - 150, foot])), 1.0), tube)
    put("inlet", grid(ring(np.full(2, thin), np.array([top, top + 200])), 1.0), tube)


def _capped(radius: float, far: float, inner: float, edge: float) -> Any:
    """A cap: its skirt from ``far`` to ``edge`` and its flat inner face at ``inner``."""
    low, high = min(far, edge), max(far, edge)
    side = grid(ring(np.full(2, radius), np.array([low, high])), 1.0)
    faces = [grid(ring(np.array([1e-3, radius]), np.full(2, z)), 1.0) for z in (far, inner)]
    return joined([side, *faces])


def _glass(tree: Any) -> Any:
    """Refraction and reflection by the index of each face; shadows pass as through clear plastic
    (light that is gathered by the tube comes on the other way, where it is asked for)."""
    glass = tree.nodes.new("ShaderNodeBsdfGlass")
    glass.inputs["Roughness"].default_value = 0.0
    index = tree.nodes.new("ShaderNodeAttribute")
    index.attribute_name = "index"
    tree.links.new(index.outputs["Fac"], glass.inputs["IOR"])
    return glass


def _with_shadow(tree: Any, glass: Any, caustics: bool) -> Any:
    if caustics:
        return glass.outputs[0]
    through = tree.nodes.new("ShaderNodeBsdfTransparent")
    through.inputs["Color"].default_value = (0.95, 0.95, 0.95, 1)
    path = tree.nodes.new("ShaderNodeLightPath")
    mix = tree.nodes.new("ShaderNodeMixShader")
    tree.links.new(path.outputs["Is Shadow Ray"], mix.inputs[0])
    tree.links.new(glass.outputs[0], mix.inputs[1])
    tree.links.new(through.outputs[0], mix.inputs[2])
    return mix.outputs[0]


def _clear(name: str, scene: ThirdScene, *, stain: bool = False, absorbs: bool = False) -> Any:
    """A boundary between clear media, with a stain on it or an absorbing liquid behind it."""
    material, tree, out = nodes_of(name)
    shown = _with_shadow(tree, _glass(tree), scene.caustics)
    if stain and scene.wet.stain_mm is not None:
        cover = tree.nodes.new("ShaderNodeAttribute")
        cover.attribute_name = "stain"
        dried = tree.nodes.new("ShaderNodeBsdfDiffuse")
        colour = 0.6 * np.exp(-12 * scene.strength * np.array(ABSORBED[scene.liquid]))
        dried.inputs["Color"].default_value = (*colour, 1)
        mix = tree.nodes.new("ShaderNodeMixShader")
        tree.links.new(cover.outputs["Fac"], mix.inputs[0])
        tree.links.new(shown, mix.inputs[1])
        tree.links.new(dried.outputs[0], mix.inputs[2])
        shown = mix.outputs[0]
    tree.links.new(shown, out.inputs["Surface"])
    if absorbs and scene.liquid != "clear":
        volume = tree.nodes.new("ShaderNodeVolumeCoefficients")
        per_unit = scene.strength / UNIT
        volume.inputs["Absorption Coefficients"].default_value = [
            c * per_unit for c in ABSORBED[scene.liquid]]
        white = _SCATTERED * per_unit if scene.liquid == "cloudy" else 0.0
        volume.inputs["Scatter Coefficients"].default_value = [white] * 3
        tree.links.new(volume.outputs[0], out.inputs["Volume"])
    return material


def _printed_wall(scene: ThirdScene) -> Any:
    """Clear plastic, and ink on it: seen from outside and, through the tube, from behind."""
    material, tree, out = nodes_of("outside")
    shown = _with_shadow(tree, _glass(tree), scene.caustics)
    texture = tree.nodes.new("ShaderNodeTexImage")
    texture.image = image_of("print", wrapped_print(scene, scene.floor_mm - 2, scene.lid_mm + 2))
    ink = tree.nodes.new("ShaderNodeBsdfDiffuse")
    mix = tree.nodes.new("ShaderNodeMixShader")
    tree.links.new(texture.outputs["Color"], ink.inputs["Color"])
    tree.links.new(texture.outputs["Alpha"], mix.inputs[0])
    tree.links.new(shown, mix.inputs[1])
    tree.links.new(ink.outputs[0], mix.inputs[2])
    tree.links.new(mix.outputs[0], out.inputs["Surface"])
    return material
