"""Light through a chamber: a path tracer for Mitsuba 3 in which liquid absorbs along its path.

Absorption is counted exactly (Beer-Lambert), where the library's volume integrators draw lots;
that keeps dark liquids free of grain.  Cells and pigment scatter: free paths are drawn.
"""

from __future__ import annotations

from typing import Any

import drjit as dr
import mitsuba as mi


class LiquidTracer(mi.SamplingIntegrator):  # type: ignore[misc]
    """Next-event path tracer; the meshes given to ``set_liquid`` bound the liquid, their normals
    pointing out of it."""

    def __init__(self, props: Any) -> None:
        super().__init__(props)
        self.depth = int(props.get("depth", 16))
        self.limit = float(props.get("limit", 4.0))
        self.set_liquid((0.0, 0.0, 0.0), 0.0, (1.0, 1.0, 1.0), [])

    def set_liquid(self, absorb: Any, scatter: float, albedo: Any, wet: list[Any],
                   forward: float = 0.0) -> None:
        """Absorption (3,) and scattering per mm, the share of light kept at a scattering, the
        meshes that bound the liquid, and the mean cosine of the angle by which light is
        scattered."""
        self.forward = dr.opaque(mi.Float, max(forward, 1e-3))
        # opaque: other numbers need no other machine code
        self.absorb = dr.opaque(mi.Color3f, [float(a) for a in absorb])
        self.albedo = dr.opaque(mi.Color3f, [float(a) for a in albedo])
        self.scatter, self.cloudy = dr.opaque(mi.Float, max(scatter, 1e-9)), scatter > 0
        self.wet = [dr.opaque(mi.ShapePtr, shape) for shape in wet]

    @dr.syntax
    def sample(self, scene, sampler, ray, medium=None, active=True):  # type: ignore[no-untyped-def]
        """Radiance along rays, as Mitsuba asks for it."""
        ray = mi.Ray3f(ray)
        light, through = mi.Color3f(0.0), mi.Color3f(1.0)
        depth = mi.UInt32(0)
        inside, diffuse, sharp = mi.Bool(False), mi.Bool(False), mi.Bool(True)
        live = mi.Bool(active)
        last_pdf, last = mi.Float(1.0), dr.zeros(mi.SurfaceInteraction3f)
        context = mi.BSDFContext()
        absorb, albedo, scatter = self.absorb, self.albedo, self.scatter
        while live:
            si = scene.ray_intersect(ray, live)
            free = -dr.log(1 - sampler.next_1d(live)) / scatter
            cloud = live & inside & (free < si.t) & self.cloudy
            way = dr.select(cloud, free, dr.select(si.is_valid(), si.t, 0.0))
            through *= dr.select(inside, dr.exp(-absorb * way), 1.0)
            # what shines at the hit, weighed against having been looked for there
            shines = live & ~cloud & (si.emitter(scene) != None)  # noqa: E711
            ds = mi.DirectionSample3f(scene, si=si, ref=last)
            pdf = scene.pdf_emitter_direction(last, ds, shines & ~sharp)
            share = dr.select(sharp, 1.0, last_pdf / dr.maximum(last_pdf + pdf, 1e-20))
            add = through * share * ds.emitter.eval(si, shines)
            add = dr.select(diffuse, dr.minimum(add, self.limit), add)
            light += dr.select(shines, add, 0.0)
            hit = live & si.is_valid() & ~cloud & (depth + 1 < self.depth)
            bsdf = si.bsdf(ray)
            # look for a light
            seek = hit & mi.has_flag(bsdf.flags(), mi.BSDFFlags.Smooth)
            ld, weight = scene.sample_emitter_direction(si, sampler.next_2d(seek), True, seek)
            seek &= ld.pdf > 0.0
            wo = si.to_local(ld.d)
            value, own = bsdf.eval_pdf(context, si, wo, seek)
            own = dr.select(ld.delta, 0.0, own)
            add = through * value * weight * (ld.pdf / (ld.pdf + own))
            add = dr.select(diffuse, dr.minimum(add, self.limit), add)
            light += dr.select(seek, add, 0.0)
            # go on
            bs, factor = bsdf.sample(context, si, sampler.next_1d(hit), sampler.next_2d(hit), hit)
            out = si.to_world(bs.wo)
            crossed = hit & mi.has_flag(bs.sampled_type, mi.BSDFFlags.DeltaTransmission)
            wet = mi.Bool(False)
            for shape in self.wet:
                wet |= si.shape == shape
            inside = dr.select(crossed & wet, dr.dot(out, si.sh_frame.n) < 0, inside)
            smooth = hit & mi.has_flag(bs.sampled_type, mi.BSDFFlags.Smooth)
            null = mi.has_flag(bs.sampled_type, mi.BSDFFlags.Null)
            # few paths find a small light: bounded, as those of matt things are
            diffuse |= smooth | cloud
            sharp = dr.select(hit & ~null, ~smooth, sharp)
            last_pdf = dr.select(hit & ~null, bs.pdf, last_pdf)
            last = dr.select(hit & ~null, si, last)
            through *= dr.select(hit, factor, 1.0)
            into = _scattered(ray.d, self.forward, sampler.next_2d(cloud))
            onward = si.spawn_ray(out)
            ray.o = dr.select(cloud, ray(free), onward.o)
            ray.d = dr.select(cloud, into, onward.d)
            through *= dr.select(cloud, albedo, 1.0)
            sharp |= cloud
            # a path that carries little is ended or strengthened
            most = dr.max(through)
            keep = dr.select(depth > 6, dr.minimum(most, 0.95), 1.0)
            live = (hit | cloud) & (depth + 1 < self.depth) & (most > 1e-4) & (
                sampler.next_1d(live) < keep)
            through *= dr.select(live, dr.rcp(dr.maximum(keep, 1e-4)), 1.0)
            depth += 1
        return light, mi.Bool(active), []


def _scattered(direction: Any, g: Any, lots: Any) -> Any:
    """Directions after a scattering of mean cosine ``g`` (L. G. Henyey and J. L. Greenstein,
    Astrophys J 1941;93:70-83, its inverse as usual in renderers)."""
    root = (1.0 - g * g) / (1.0 - g + 2.0 * g * lots.x)
    cos = dr.clip((1.0 + g * g - root * root) / (2.0 * g), -1.0, 1.0)
    sin = dr.sqrt(dr.maximum(1.0 - cos * cos, 0.0))
    turn = 2.0 * dr.pi * lots.y
    return mi.Frame3f(direction).to_world(mi.Vector3f(sin * dr.cos(turn), sin * dr.sin(turn), cos))


mi.register_integrator("liquid_tracer", lambda props: LiquidTracer(props))
