"""Small helpers over Blender's module: meshes, materials, boxes.  Lengths come in millimetres."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from vision.training.third.meshes import Mesh, joined

#: Blender units a millimetre: centimetres suit its ray offsets and lens aperture.
UNIT = 0.1


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Its sound module complains of numpy 2 on the way in; sound is not needed."""
    kept, nothing = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nothing, 2)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nothing)


with _quiet():
    import bpy
    from mathutils import Matrix  # noqa: F401  (it comes with bpy)


def empty_scene() -> Any:
    """A fresh file with nothing in it."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    return bpy.context.scene


def put(name: str, mesh: Mesh, material: Any, pose: np.ndarray | None = None) -> Any:
    """Add a surface; ``pose`` (3, 3) turns it about the origin."""
    data = bpy.data.meshes.new(name)
    points, normals = mesh.points * UNIT, mesh.normals
    if pose is not None:
        points, normals = points @ pose.T, normals @ pose.T
    count = len(mesh.quads)
    data.vertices.add(len(points))
    data.vertices.foreach_set("co", points.astype(np.float32).ravel())
    data.loops.add(4 * count)
    data.loops.foreach_set("vertex_index", mesh.quads.astype(np.int32).ravel())
    data.polygons.add(count)
    data.polygons.foreach_set("loop_start", np.arange(0, 4 * count, 4, dtype=np.int32))
    uv = data.uv_layers.new(name="uv")
    uv.data.foreach_set("uv", mesh.uv[mesh.quads.ravel()].astype(np.float32).ravel())
    for key, values, domain in (("index", mesh.index, "FACE"), ("stain", mesh.stain, "POINT")):
        data.attributes.new(key, "FLOAT", domain).data.foreach_set(
            "value", values.astype(np.float32))
    data.update(calc_edges=True)
    data.polygons.foreach_set("use_smooth", np.ones(count, bool))
    data.normals_split_custom_set_from_vertices(normals.astype(np.float32))
    data.materials.append(material)
    thing = bpy.data.objects.new(name, data)
    bpy.context.scene.collection.objects.link(thing)
    return thing


def flat(points: Sequence[Sequence[float]]) -> Mesh:
    """One quad, counter-clockwise from in front, its texture upright from the first corner."""
    p = np.array(points, float)
    n = np.cross(p[1] - p[0], p[3] - p[0])
    return Mesh(p, np.tile(n / np.linalg.norm(n), (4, 1)), np.array([[0, 1, 2, 3]]), np.ones(1),
                np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]]), np.zeros(4))


def box(low: Sequence[float], high: Sequence[float]) -> Mesh:
    """A box between two corners."""
    (a, b, c), (d, e, f) = low, high
    sides = [[(a, b, c), (d, b, c), (d, b, f), (a, b, f)], [(d, e, c), (a, e, c), (a, e, f),
             (d, e, f)], [(a, e, c), (a, b, c), (a, b, f), (a, e, f)], [(d, b, c), (d, e, c),
             (d, e, f), (d, b, f)], [(a, b, f), (d, b, f), (d, e, f), (a, e, f)],
             [(a, e, c), (d, e, c), (d, b, c), (a, b, c)]]
    return joined([flat(s) for s in sides])


def nodes_of(name: str) -> tuple[Any, Any, Any]:
    """A material with nothing in it: itself, its nodes, its output."""
    material = bpy.data.materials.new(name)
    material.use_nodes = True
    tree = material.node_tree
    tree.nodes.clear()
    return material, tree, tree.nodes.new("ShaderNodeOutputMaterial")


def image_of(name: str, rgba: np.ndarray) -> Any:
    """A picture of linear values, (H, W, 4), top row first."""
    h, w = rgba.shape[:2]
    image = bpy.data.images.new(name, w, h, alpha=True, float_buffer=True, is_data=True)
    image.alpha_mode = "CHANNEL_PACKED"
    image.pixels.foreach_set(np.ascontiguousarray(rgba[::-1], np.float32).ravel())
    image.update()
    return image


def matt(name: str, rgb: Sequence[float] | np.ndarray, *, rough: float = 0.6, metal: float = 0.0,
         picture: np.ndarray | None = None) -> Any:
    """Paint, cloth, metal; with a picture (H, W, 3) instead of one colour."""
    material, tree, out = nodes_of(name)
    paint = tree.nodes.new("ShaderNodeBsdfPrincipled")
    paint.inputs["Base Color"].default_value = (*rgb, 1)
    paint.inputs["Roughness"].default_value = rough
    paint.inputs["Metallic"].default_value = metal
    if picture is not None:
        texture = tree.nodes.new("ShaderNodeTexImage")
        texture.image = image_of(name, np.concatenate(
            [picture, np.ones((*picture.shape[:2], 1))], axis=2))
        tree.links.new(texture.outputs["Color"], paint.inputs["Base Color"])
    tree.links.new(paint.outputs[0], out.inputs["Surface"])
    return material


def shining(name: str, rgb: Sequence[float] | np.ndarray, strength: float) -> Any:
    """A surface that gives light."""
    material, tree, out = nodes_of(name)
    light = tree.nodes.new("ShaderNodeEmission")
    light.inputs["Color"].default_value = (*rgb, 1)
    light.inputs["Strength"].default_value = strength
    tree.links.new(light.outputs[0], out.inputs["Surface"])
    return material
