"""From photos of the printed board to a lens."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from vision.errors import InputError
from vision.imaging.photo import Photo
from vision.lens.board import Board, find_board
from vision.lens.model import Lens

LEAST_PHOTOS = 6
LEAST_CORNERS = 12
#: Share of the frame that the corners of all photos together have to span each way.
LEAST_SPAN = 0.6
#: A calibration that leaves more than this much doubt about the focal length says nothing.
MOST_FOCAL_SD = 0.02
#: So many photos must show the board tilted by so much: untilted ones say nothing of the
#: focal length, because nearer and longer look the same.
LEAST_TILTED, LEAST_TILT_DEG = 4, 12.0
#: A photo whose corners fit worse than this many times the middle one is left out.
_OUTLIER = 3.0
#: Focusing near moves the image distance: 1/(1 - f/d) is 1.7 % for f = 5 mm at 0.3 m,
#: 0.3 % at 2 m; half of that range as a standard uncertainty.  Our assumption.
FOCUS_SD = 0.007


@dataclass(frozen=True)
class Calibration:
    """The lens, and per photo its name, corners found and RMS in px (None = not used)."""

    lens: Lens
    views: tuple[tuple[str, int, float | None], ...]


def calibrate_lens(photos: Iterable[Photo], board: Board | None = None) -> Calibration:
    """Calibrate a phone's camera from photos of the printed board.

    Parameters
    ----------
    photos : iterable of Photo
        All of one size, taken with the same lens, zoom and way of holding, the board filling
        different parts of the picture and tilted in several directions.  One is in memory at
        a time.
    board : Board, optional
        What was printed; lengths in mm.

    Returns
    -------
    Calibration

    Raises
    ------
    InputError
        Says what is missing.

    References
    ----------
    Z. Zhang, A flexible new technique for camera calibration, IEEE Trans Pattern Anal Mach
    Intell 2000;22:1330-1334 (as in OpenCV's calibrateCamera).
    """
    board = board or Board()
    seen: list[tuple[str, np.ndarray, np.ndarray]] = []
    names: list[tuple[str, int]] = []
    size: tuple[int, int] | None = None
    said: set[float | None] = set()
    for photo in photos:
        if size is None:
            size = (photo.width, photo.height)
        if (photo.width, photo.height) != size:
            raise InputError(f"The photo '{photo.name}' has another size than the first; take all "
                             "photos with the same camera, held the same way.")
        if photo.camera.digital_zoom > 1.01:
            raise InputError(f"The photo '{photo.name}' was taken with digital zoom; take it "
                             "without.")
        said.add(photo.camera.focal_35mm)
        found = find_board(photo, board)
        names.append((photo.name, len(found.numbers)))
        if len(found.numbers) >= LEAST_CORNERS:
            seen.append((photo.name, board.corner_mm(found.numbers), found.points_px))
    if len(said) > 1:
        raise InputError("The photos say different focal lengths; take all with the same lens, "
                         "without zooming.")
    if size is None or len(seen) < LEAST_PHOTOS:
        raise InputError(f"The board was found in {len(seen)} of {len(names)} photos; at least "
                         f"{LEAST_PHOTOS} are needed, sharp and with most of the board in them.")
    _check_span(np.concatenate([p for _, _, p in seen]), size)
    fit = _fit(seen, size)
    worst = _OUTLIER * float(np.median(fit.per_view_px))
    kept = [s for s, rms in zip(seen, fit.per_view_px, strict=True) if rms <= worst]
    if len(kept) < len(seen) and len(kept) >= LEAST_PHOTOS:
        seen, fit = kept, _fit(kept, size)
    tilted = int((fit.tilt_deg >= LEAST_TILT_DEG).sum())
    if fit.focal_sd > MOST_FOCAL_SD or tilted < LEAST_TILTED:
        raise InputError(f"In {tilted} of {len(seen)} photos the board is tilted, and the focal "
                         "length stays uncertain: take more with the board tilted by about 30 "
                         "degrees to the left, to the right, up and down.")
    import cv2

    used = {name: float(rms) for (name, _, _), rms in zip(seen, fit.per_view_px, strict=True)}
    lens = Lens(
        width=size[0], height=size[1], focal_px=fit.focal_px, principal_px=fit.principal_px,
        radial=fit.radial, focal_relative_sd=math.hypot(fit.focal_sd, FOCUS_SD),
        rms_px=fit.rms_px, photos=len(seen), corners=sum(len(p) for _, _, p in seen),
        exif_focal_35mm=said.pop(), made_with=f"OpenCV {cv2.__version__}; board {board.columns} x "
        f"{board.rows}, squares {board.square_mm:g} mm, markers {board.marker_mm:g} mm")
    return Calibration(lens, tuple((name, n, used.get(name)) for name, n in names))


def _check_span(points: np.ndarray, size: tuple[int, int]) -> None:
    span = np.ptp(points, axis=0) / size
    if span.min() < LEAST_SPAN:
        raise InputError("The board was always in the same part of the picture: take photos with "
                         "it near each edge and corner, too.")


@dataclass(frozen=True)
class _Fit:
    focal_px: float
    principal_px: tuple[float, float]
    radial: tuple[float, float]
    rms_px: float
    focal_sd: float
    per_view_px: np.ndarray
    tilt_deg: np.ndarray


def _fit(seen: list[tuple[str, np.ndarray, np.ndarray]], size: tuple[int, int]) -> _Fit:
    """One focal length, principal point, k1 and k2: what a phone's photos can bear."""
    import cv2

    flags = cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3
    rms, matrix, distortion, turns, _, deviations, _, per_view = cv2.calibrateCameraExtended(
        [o for _, o, _ in seen], [p.astype(np.float32) for _, _, p in seen], size,
        np.eye(3), np.zeros(5), flags=flags)
    matrix, k = np.asarray(matrix), np.asarray(distortion).reshape(-1)
    focal = float(matrix[0, 0])
    # The intrinsic deviations start with fx and fy; under a fixed ratio one holds both.
    sd = float(np.asarray(deviations).reshape(-1)[:2].max())
    towards = np.array([np.asarray(cv2.Rodrigues(turn)[0])[2, 2] for turn in turns])
    return _Fit(focal, (float(matrix[0, 2]), float(matrix[1, 2])), (float(k[0]), float(k[1])),
                float(rms), sd / focal, np.asarray(per_view).reshape(-1),
                np.degrees(np.arccos(np.clip(np.abs(towards), 0, 1))))
