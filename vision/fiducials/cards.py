"""The two printed reference cards: their geometry and finding them in a photo.

Card frame: origin at the centre of the black square, x to the card's right, y
up, z out of the paper towards the viewer, millimetres.  Pixels: (x, y), origin
at the centre of the top-left pixel.

The codes are the AprilTag family 36h11 as OpenCV's aruco module knows it
(E. Olson, AprilTag: a robust and flexible visual fiducial system, ICRA 2011).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from vision.fiducials.subpixel_corners import refine_corners
from vision.imaging.photo import scaled_points

#: Modules along one side of the black square (the white rim not counted).
MODULES = 8
#: Photos with a longer side than this are searched at half size first.
_LARGE_PX = 2600
#: Dark things that hang down and are narrower than this (px) are wiped out when nothing
#: else has found a card.
_CROSSING_PX = (7, 11)


@dataclass(frozen=True)
class CardKind:
    """What a printed card is: code, side of the black square, reference point.

    ``reference_mm`` is the point that matters, in the card frame: the centre of
    the zero card, the tip of the landmark card's pointer.
    """

    code: int
    name: str
    side_mm: float
    reference_mm: tuple[float, float] = (0.0, 0.0)


def zero_card(side_mm: float = 60.0) -> CardKind:
    """The card whose centre lies on the system's zero reference."""
    return CardKind(0, "zero card", float(side_mm))


def landmark_card(side_mm: float = 40.0) -> CardKind:
    """The card whose pointer tip is held at the landmark.

    The tip stands 35 mm left of the centre on a 40 mm card and keeps that
    proportion on other sizes.
    """
    return CardKind(1, "landmark card", float(side_mm), (-35.0 * float(side_mm) / 40.0, 0.0))


@lru_cache(maxsize=8)
def card_modules(code: int) -> np.ndarray:
    """The (8, 8) bool pattern of a card, True = white, row 0 at the card's top."""
    import cv2

    image = np.asarray(cv2.aruco.generateImageMarker(_dictionary(), code, MODULES))
    modules = image.reshape(MODULES, MODULES) > 127
    modules.setflags(write=False)
    return modules


def card_corners_mm(side_mm: float) -> np.ndarray:
    """(4, 3) corners of the black square in the card frame, from top left clockwise."""
    h = side_mm / 2
    return np.array([[-h, h, 0], [h, h, 0], [h, -h, 0], [-h, -h, 0]], dtype=float)


@dataclass(frozen=True)
class CardSeen:
    """One card found in a photo.

    ``corners_px`` is (4, 2), from the card's own top left clockwise;
    ``covariance_px2`` (8, 8) is the covariance of its flattened corners;
    ``bloom_px`` is how far white spreads over black in this photo (found from
    the card's inner pattern and taken off the corners).  ``strategy`` names the version
    of the picture in which it was found.
    """

    code: int
    corners_px: np.ndarray
    covariance_px2: np.ndarray
    bloom_px: float
    edges_used: int
    residual_px: float
    strategy: str = ""

    @property
    def side_px(self) -> float:
        """Mean side of the black square in pixels."""
        q = self.corners_px
        return float(np.mean(np.linalg.norm(q - np.roll(q, -1, axis=0), axis=1)))

    @property
    def centre_px(self) -> np.ndarray:
        """(2,) crossing of the diagonals: the centre of the square in the picture."""
        a, b, c, d = self.corners_px
        s = np.linalg.solve(np.column_stack([c - a, b - d]), b - a)
        return np.asarray(a + s[0] * (c - a))


@lru_cache(maxsize=1)
def _dictionary():  # type: ignore[no-untyped-def]
    import cv2

    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)


def find_cards(rgb: np.ndarray, codes: tuple[int, ...] = (0, 1)) -> dict[int, list[CardSeen]]:
    """Find the printed cards in a photo.

    Plain detection comes first; enlarged, contrast-stretched, sharpened, shrunken
    and cleared versions are tried only while a code is still missing.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array
        The upright picture.
    codes : tuple of int
        Which cards to look for.

    Returns
    -------
    dict of int to list of CardSeen
        By code, the cards at different places (normally one); corners in pixels, origin at
        the centre of the top-left one.

    References
    ----------
    E. Olson, AprilTag: a robust and flexible visual fiducial system, ICRA 2011.
    """
    import cv2

    gray = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY))
    rough: dict[int, list[tuple[np.ndarray, str]]] = {code: [] for code in codes}
    for strategy, picture, scale, detector in _attempts(gray):
        for code, corners in _detect(detector, picture, scale):
            if code in rough and not _known(corners, [c for c, _ in rough[code]]):
                rough[code].append((corners, strategy))
        if all(rough.values()):
            break
    found: dict[int, list[CardSeen]] = {}
    for code, places in rough.items():
        seen = [s for s in (_refined(rgb, code, *at) for at in places) if s is not None]
        if seen:
            found[code] = seen
    return found


def glimpse_cards(rgb: np.ndarray) -> dict[int, np.ndarray]:
    """Cards that one quick search finds: by code, (4, 2) corners in pixels, not refined."""
    import cv2

    gray = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY))
    return {code: corners for code, corners in _detect(_detector(False), gray, 1.0)
            if code in (0, 1)}


def _attempts(gray: np.ndarray) -> Iterator[tuple[str, np.ndarray, float, object]]:
    """Named versions of the picture to search, cheap and likely ones first."""
    import cv2

    plain, patient = _detector(False), _detector(True)

    def sized(picture: np.ndarray, scale: float) -> np.ndarray:
        way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        return np.asarray(cv2.resize(picture, None, fx=scale, fy=scale, interpolation=way))

    large = max(gray.shape) > _LARGE_PX
    if large:
        yield "half size", sized(gray, 0.5), 0.5, plain
    yield "plain", gray, 1.0, plain
    even = cv2.createCLAHE(clipLimit=4.0, tileGridSize=(8, 8)).apply(gray)
    yield "evened light", even, 1.0, patient
    yield "half size, patient", sized(gray, 0.5), 0.5, patient
    if large:
        yield "quarter size", sized(gray, 0.25), 0.25, patient
    for sigma in (1.5, 3.0):
        soft = cv2.GaussianBlur(gray, (0, 0), sigma)
        yield "sharpened", cv2.addWeighted(gray, 3.0, soft, -2.0, 0), 1.0, patient
    if not large:
        yield "double size", sized(gray, 2.0), 2.0, plain
    # a cord that hangs across the edge joins the square to what it carries
    for width in _CROSSING_PX:
        bright = cv2.morphologyEx(gray, cv2.MORPH_CLOSE, np.ones((1, width), np.uint8))
        yield "cords wiped out", np.asarray(bright), 1.0, patient


@lru_cache(maxsize=2)
def _detector(patient: bool):  # type: ignore[no-untyped-def]
    import cv2

    p = cv2.aruco.DetectorParameters()
    p.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    p.minMarkerPerimeterRate = 0.02
    p.adaptiveThreshWinSizeMax = 35
    if patient:
        p.adaptiveThreshWinSizeMax = 75
        p.adaptiveThreshConstant = 4
        p.polygonalApproxAccuracyRate = 0.06
        p.perspectiveRemovePixelPerCell = 8
    return cv2.aruco.ArucoDetector(_dictionary(), p)


def _detect(detector, picture: np.ndarray, scale: float):  # type: ignore[no-untyped-def]
    """(code, (4, 2) corners in pixels of the full photo) of one detector run."""
    corners, ids, _ = detector.detectMarkers(picture)
    if ids is None or len(corners) == 0:
        return []
    # Shapes differ between OpenCV 4 and 5, so both are flattened here.
    return [
        (int(i), scaled_points(np.reshape(c, (4, 2)), 1 / scale))
        for c, i in zip(corners, np.asarray(ids).ravel(), strict=True)
    ]


def _known(corners: np.ndarray, places: list[np.ndarray]) -> bool:
    """True when a card was already found about there."""
    size = float(np.linalg.norm(corners[0] - corners[2]))
    centre = corners.mean(axis=0)
    return any(np.linalg.norm(p.mean(axis=0) - centre) < size / 2 for p in places)


def _refined(rgb: np.ndarray, code: int, corners: np.ndarray, strategy: str) -> CardSeen | None:
    """Sub-pixel corners from all black-white edges of the pattern, None when it does not fit."""
    fit = refine_corners(rgb, corners, card_modules(code))
    if fit is None:
        return None
    return CardSeen(code, fit.corners_px, fit.covariance_px2, fit.bloom_px,
                    fit.edges_used, fit.residual_px, strategy)
