"""Refraction and reflection at a smooth interface, in plain closed forms.

Everything is written for an array module ``xp`` (numpy, or one with the same
interface on a graphics card) and for arrays of any shape.
"""

from __future__ import annotations

from typing import Any

#: Refractive indices at 587.6 nm (sodium line for water), near 20 degC.
#: Water 1.333: IAPWS R9-97.  PMMA 1.4914: Kasarova et al., Opt. Mater. 29 (2007) 1481.
#: Polycarbonate 1.585, polystyrene 1.592: Sultanova, Kasarova, Nikolov (2009).
#: PVC 1.54: mid value of a range that moves with the plasticiser.
INDEX_AIR = 1.0
INDEX_WATER = 1.333
INDEX_PLASTICS: dict[str, float] = {
    "pmma": 1.4914, "pvc": 1.54, "polycarbonate": 1.585, "polystyrene": 1.592,
}


def fresnel(cos_in: Any, eta: Any, xp: Any) -> tuple[Any, Any]:
    """Reflected share of unpolarised light, and the cosine of the refracted ray.

    ``cos_in`` is the cosine of the angle of incidence (0..1), ``eta`` the index
    in front of the interface divided by the index behind it.  Beyond the
    critical angle the share is 1 and the cosine 0.  Fresnel's equations, mean
    of both polarisations.
    """
    sin2_out = eta * eta * (1.0 - cos_in * cos_in)
    cos_out = xp.sqrt(xp.maximum(1.0 - sin2_out, 0.0))
    # Beyond the critical angle both quotients are 1 by themselves.
    across = (eta * cos_in - cos_out) / (eta * cos_in + cos_out + 1e-30)
    along = (cos_in - eta * cos_out) / (cos_in + eta * cos_out + 1e-30)
    return 0.5 * (across * across + along * along), cos_out


def meet(direction: Any, normal: Any, eta: Any, xp: Any) -> tuple[Any, Any, Any]:
    """What of a ray's light an interface mirrors, with what its new directions are made from.

    ``direction`` and ``normal`` are triples of equally shaped arrays of unit
    length; the normal may point to either side.  Returns the cosine between the two
    (with its sign), the cosine of the refracted ray, and the reflected share.
    """
    along = direction[0] * normal[0] + direction[1] * normal[1] + direction[2] * normal[2]
    share, cos_out = fresnel(xp.minimum(xp.abs(along), 1.0), eta, xp)
    return along, cos_out, share


def refracted(direction: Any, normal: Any, eta: Any, along: Any, cos_out: Any, xp: Any) -> Any:
    """Where the light goes behind the interface (Snell's law in vector form); meaningless where
    all of it is reflected.  ``along`` and ``cos_out`` as from :func:`meet`."""
    k = xp.copysign(cos_out, along) - eta * along
    return tuple(eta * d + k * n for d, n in zip(direction, normal, strict=True))


def reflected(direction: Any, normal: Any, along: Any) -> Any:
    """Where the mirrored light goes; ``along`` as from :func:`meet`."""
    twice = -2.0 * along
    return tuple(d + twice * n for d, n in zip(direction, normal, strict=True))
