"""All that the stages found in one photo: what a reading, or a refusal, is decided from."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.imaging.photo import Photo
from vision.imaging.quality import LEAST_SIDE_PX, PhotoQuality, measure_quality
from vision.meniscus_image.detect import MeniscusPosterior, find_meniscus
from vision.parameters import SAME_PLACE_MM, TAP_ABOVE_MM, TAP_BELOW_MM, WORTH_SHOWING
from vision.scale_file.scale import Scale
from vision.volume.estimate import LevelEstimate, estimate_level
from vision.volume.locate import Hints, locate
from vision.volume.number import NO_SCALE, Ambiguous, NumberedScale, number
from vision.volume.plumb import hung
from vision.volume.unlocated import Unlocated, look_for_others


@dataclass(frozen=True)
class PhotoEvidence:
    """What each stage said of one photo; None from the stage on that gave up.

    ``quality`` is that of the part of the photo with the scale in it (of the whole photo
    where none was found), ``located`` the row as it was first found, ``plumb`` whether the
    phone's own sensor agrees with how the chamber stands in the photo, ``unlocated`` what
    there is in place of the marks where no row is believed to be the scale.
    """

    photo: Photo
    scale: Scale
    hints: Hints
    quality: PhotoQuality
    located: GraduationFit | None = None
    numbering: NumberedScale | Ambiguous | None = None
    meniscus: MeniscusPosterior | None = None
    level: LevelEstimate | None = None
    plumb: bool = True
    unlocated: Unlocated | None = None

    @property
    def fit(self) -> GraduationFit | None:
        """The row that is believed to be the scale."""
        return self.located if self.numbering is None else self.numbering.fit


def gather(photo: Photo, scale: Scale, hints: Hints | None = None) -> PhotoEvidence:
    """Locate, number, find the meniscus, estimate: everything but the decision.

    ``hints`` are in pixels of the upright photo.
    """
    hints = hints or Hints()
    located = locate(photo, scale, hints)
    if located is None:
        return PhotoEvidence(photo, scale, hints, measure_quality(photo.working_gray),
                             unlocated=look_for_others(photo, scale))
    numbering = number(located, hints)
    fit, plumb = hung(numbering.fit, photo.camera.gravity)
    evidence = PhotoEvidence(photo, scale, hints, quality_of(located), located,
                             replace(numbering, fit=fit), plumb=plumb)
    if isinstance(numbering, NumberedScale):
        return with_level(evidence)
    if NO_SCALE.intersection(numbering.flags):
        return replace(evidence, unlocated=look_for_others(photo, scale, located))
    return evidence


def with_level(evidence: PhotoEvidence) -> PhotoEvidence:
    """The same with the surface looked for and the level estimated on its numbered row."""
    fit, scale = evidence.fit, evidence.scale
    if fit is None or fit.picture is None:
        return evidence
    px_mm = fit.pose.px_per_mm(float(np.median(fit.height_mm)))
    meniscus = find_meniscus(fit.picture.rgb, fit, px_mm)
    near_mm = tapped_mm(fit, evidence.hints)
    if near_mm is not None and meniscus.competing:
        # a tap on the chamber that is meant need not be on its surface; it only narrows
        # the search once places compete
        tapped = find_meniscus(fit.picture.rgb, fit, px_mm, near_mm)
        meniscus = tapped if _proposed(tapped, meniscus) else replace(meniscus, candidates=())
    return replace(evidence, meniscus=meniscus, level=estimate_level(meniscus, fit, scale))


def _proposed(tapped: MeniscusPosterior, untapped: MeniscusPosterior) -> bool:
    """Whether what is found at a tap was one of the places found without it.

    A tap chooses between surfaces that the picture shows; on an empty chamber it would
    otherwise make one of any line.
    """
    return any(abs(place.height_mm - one.height_mm) < SAME_PLACE_MM
               for place in tapped.candidates[:1]
               for one in untapped.candidates if one.weight > WORTH_SHOWING)


def tapped_mm(fit: GraduationFit, hints: Hints) -> float | None:
    """Height on the wall of the tap on the surface, if it can be meant for one."""
    if hints.surface_px is None or fit.picture is None:
        return None
    _, z = fit.pose.wall_coordinates(fit.picture.from_photo(hints.surface_px)[None])
    low, high = sorted((fit.scale.lowest_mark.height_mm, fit.scale.highest_mark.height_mm))
    return float(z[0]) if low - TAP_BELOW_MM < z[0] < high + TAP_ABOVE_MM else None


def quality_of(fit: GraduationFit) -> PhotoQuality:
    """Quality of the part of the picture that shows the scale."""
    scale, (h, w) = fit.scale, fit.grey.shape
    p = fit.pose.project(fit.pose.on_wall(
        np.array([-1.2, 1.2, -1.2, 1.2]),
        np.repeat([scale.lowest_mark.height_mm, scale.highest_mark.height_mm], 2)))
    if not np.isfinite(p).all():  # an end of the scale lies behind the camera
        return measure_quality(fit.grey)
    x0, y0 = (int(np.clip(v, 0, m - 2)) for v, m in zip(p.min(axis=0), (w, h), strict=True))
    x1, y1 = (int(np.clip(v, a + 2, m)) for v, a, m in zip(
        p.max(axis=0), (x0, y0), (w, h), strict=True))
    part = fit.grey[y0:y1, x0:x1]
    # hardly any of it in the picture
    return measure_quality(fit.grey if min(part.shape) < LEAST_SIDE_PX else part)
