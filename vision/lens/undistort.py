"""A photo as a perfect lens would have taken it, and the way between both."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from vision.errors import InputError
from vision.imaging.exif import CameraFacts
from vision.imaging.photo import Photo, scaled_points
from vision.lens.model import Lens

if TYPE_CHECKING:
    from vision.reading import VolumeReading

#: Photos may differ by this share in their ratio of sides (a row of pixels more or less).
_SAME_SHAPE = 0.005


@dataclass(frozen=True)
class LensView:
    """``photo`` is free of distortion, its camera facts are those of the lens.

    Points (N, 2) or (2,) are pixels (x, y) of the full upright photo.
    """

    photo: Photo
    _focal_px: float
    _principal: np.ndarray
    _centre: np.ndarray
    _radial: tuple[float, float]

    def to_corrected(self, points: np.ndarray) -> np.ndarray:
        """Where points of the photo as it was taken lie in ``photo``."""
        p = np.asarray(points, dtype=float)
        bent = (p - self._principal) / self._focal_px
        flat = bent.copy()
        for _ in range(20):
            flat = bent / self._stretch(flat)
        return flat * self._focal_px + self._centre

    def point_to_corrected(self, point: tuple[float, float]) -> tuple[float, float]:
        """``to_corrected`` of one (x, y)."""
        x, y = self.to_corrected(np.array(point))
        return float(x), float(y)

    def to_original(self, points: np.ndarray) -> np.ndarray:
        """Where points of ``photo`` lie in the photo as it was taken."""
        flat = (np.asarray(points, dtype=float) - self._centre) / self._focal_px
        return flat * self._stretch(flat) * self._focal_px + self._principal

    def restored(self, reading: VolumeReading) -> VolumeReading:
        """The reading of ``photo`` with all its points in the photo as it was taken."""
        surface = reading.surface_px
        if surface is not None:
            x, y = self.to_original(np.array(surface))
            surface = (float(x), float(y))
        annotations = tuple(replace(t, points_px=self.to_original(t.points_px).reshape(-1, 2))
                       for t in reading.annotations)
        return replace(reading, surface_px=surface, annotations=annotations)

    def _stretch(self, flat: np.ndarray) -> np.ndarray:
        r2 = (flat**2).sum(axis=-1, keepdims=True)
        return 1 + self._radial[0] * r2 + self._radial[1] * r2**2


def through_lens(photo: Photo, lens: Lens) -> LensView:
    """Take the distortion of a lens out of a photo.

    Parameters
    ----------
    photo : Photo
        From :func:`vision.load_photo`.
    lens : Lens
        From :func:`vision.lens.model.load_lens`.

    Returns
    -------
    LensView
        The photo with the principal point in the middle of the picture, and the way of points
        to it and back.

    Raises
    ------
    InputError
        When the photo cannot be of this lens: another shape (cropped), zoom or focal length.
    """
    long_side, short_side = max(photo.width, photo.height), min(photo.width, photo.height)
    ratio = max(lens.width, lens.height) / min(lens.width, lens.height)
    if abs(long_side / short_side / ratio - 1) > _SAME_SHAPE:
        raise InputError(f"The lens file is for photos of {lens.width} x {lens.height}, and this "
                         f"photo of {photo.width} x {photo.height} has another shape; leave out "
                         "the lens file, or send the photo uncropped.")
    if photo.camera.digital_zoom > 1.01:
        raise InputError("The photo was taken with digital zoom, which the lens file does not "
                         "know; leave out the lens file.")
    said, meant = photo.camera.focal_35mm, lens.exif_focal_35mm
    if said is not None and meant is not None and abs(said - meant) > 0.6:
        raise InputError(f"The photo says a focal length of {said:g} mm and the lens file is for "
                         f"{meant:g} mm: it was taken with another lens of the phone; leave out "
                         "the lens file.")
    factor = long_side / max(lens.width, lens.height)
    focal = lens.focal_px * factor
    centre = np.array([(photo.width - 1) / 2, (photo.height - 1) / 2])
    if (photo.width > photo.height) == (lens.width > lens.height):
        principal = scaled_points(lens.principal_px, factor)
    else:
        # Held the other way, nothing says to which side: the middle is the best guess.
        principal = centre
    camera = CameraFacts(lens.focal_35mm, focal_relative_sd=lens.focal_relative_sd,
                         gravity=photo.camera.gravity)
    straight = _Straightener(focal, principal, centre, lens.radial)
    scale = photo.working_scale
    full: Callable[[], np.ndarray] | None = None
    if scale != 1:
        full = lambda: straight.apply(photo.rgb, 1)  # noqa: E731
    corrected = replace(photo, working_rgb=straight.apply(photo.working_rgb, scale),
                        camera=camera, _decode_full=full)
    return LensView(corrected, focal, principal, centre, lens.radial)


@dataclass(frozen=True)
class _Straightener:
    focal_px: float
    principal: np.ndarray
    centre: np.ndarray
    radial: tuple[float, float]

    def apply(self, rgb: np.ndarray, scale: int) -> np.ndarray:
        """The picture without distortion; ``scale`` full pixels are one of its own."""
        import cv2

        def matrix(centre: np.ndarray) -> np.ndarray:
            cx, cy = scaled_points(centre, 1 / scale)
            f = self.focal_px / scale
            return np.array([[f, 0, cx], [0, f, cy], [0, 0, 1.0]])

        maps = cv2.initUndistortRectifyMap(
            matrix(self.principal), np.array([*self.radial, 0.0, 0.0]), np.eye(3),
            matrix(self.centre), (rgb.shape[1], rgb.shape[0]), cv2.CV_32FC1)
        out = np.asarray(cv2.remap(rgb, maps[0], maps[1], cv2.INTER_CUBIC,
                                   borderMode=cv2.BORDER_REPLICATE))
        out.setflags(write=False)
        return out


def facts_words(camera: CameraFacts) -> str:
    """Where the focal length comes from, for a person."""
    if camera.focal_35mm is None:
        return "the photo does not say its focal length"
    if camera.focal_relative_sd is not None:
        return (f"lens file, {camera.focal_35mm:.1f} mm (35 mm equivalent, "
                f"+- {100 * camera.focal_relative_sd:.1f} %)")
    zoom = "" if math.isclose(camera.digital_zoom, 1.0) else f", zoom {camera.digital_zoom:g}"
    return f"the photo's own data, {camera.focal_35mm:g} mm (35 mm equivalent){zoom}"
