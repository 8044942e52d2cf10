"""How good a patch of the photo is for measuring: blur, noise, light, pixels.

Blur is measured where edges are, as the standard deviation of a Gaussian that
would blur a perfect step as much; noise where edges are not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

_SMOOTH_PX = 0.8
"""Blur put on before slopes are taken, against noise; taken off again by variance."""
_REACH_PX = 4
_TRUSTED_PX = 1.8
"""A window of +-4 px holds 95 % of the rise of a step blurred by that sigma, smoothing
included; where the blur is wider the picture is halved first."""
_HALVINGS = 3
_SHARP_SHARE = 0.3
_FEWEST_EDGE_PIXELS = 40

LEAST_SIDE_PX = 16
"""A smaller patch tells nothing."""
CLIPPED_LEVEL = 253
BLURRED_SHARE_OF_DIVISION = 0.25
"""A Gaussian of that sigma leaves exp(-2 pi^2 0.25^2) = 29 % of the contrast of
marks one division apart: they can still be told apart, with little to spare."""
BLURRED_PX = 3.0
"""Without knowing the pitch of the marks: wider than a printed stroke usually is."""
DARK_BRIGHT_LEVEL = 70.0
CLIPPED_SHARE = 0.05
NOISY_SHARE_OF_CONTRAST = 0.08
FEW_PX_PER_DIVISION = 8.0


@dataclass(frozen=True)
class PhotoQuality:
    """Quality of a gray patch; levels are on the 0 to 255 scale of the photo.

    ``blur_px``: sigma of the blur of the sharper edges, None where no edge stands
    out of the noise.  ``noise_sd``: of one pixel.  ``dark_level``,
    ``median_level``, ``bright_level``: 5th, 50th and 95th percentile.
    ``clipped_fraction``: share of pixels burnt out.
    """

    blur_px: float | None
    noise_sd: float
    dark_level: float
    median_level: float
    bright_level: float
    clipped_fraction: float

    @property
    def contrast(self) -> float:
        """Levels between the dark and the bright end."""
        return self.bright_level - self.dark_level


def measure_quality(gray: np.ndarray) -> PhotoQuality:
    """Measure how good a patch of a photo is for measuring.

    Parameters
    ----------
    gray : (H, W) uint8 or float array
        In 0..255, at least ``LEAST_SIDE_PX`` either way.

    Returns
    -------
    PhotoQuality

    Raises
    ------
    ValueError
        For another shape.
    """
    import cv2

    patch = np.asarray(gray)
    if patch.ndim != 2 or min(patch.shape) < LEAST_SIDE_PX:
        raise ValueError(f"the patch must be (H, W), at least {LEAST_SIDE_PX} either way")
    octets = patch if patch.dtype == np.uint8 else np.clip(patch + 0.5, 0, 255).astype(np.uint8)
    counts = np.asarray(cv2.calcHist([octets], [0], None, [256], [0, 256])).ravel()
    share = np.cumsum(counts) / octets.size
    dark, median, bright = (float(np.searchsorted(share, q)) for q in (0.05, 0.5, 0.95))
    smooth = np.ascontiguousarray(patch, dtype=np.float32)
    noise = _noise_sd(smooth)
    return PhotoQuality(
        blur_px=_blur_px(smooth, noise),
        noise_sd=noise,
        dark_level=dark,
        median_level=median,
        bright_level=bright,
        clipped_fraction=float(1.0 - share[CLIPPED_LEVEL - 1]),
    )


def quality_flags(
    quality: PhotoQuality, px_per_division: float | None = None
) -> tuple[str, ...]:
    """Names of the flags (vision.flags) that a quality deserves, worst first.

    ``px_per_division`` is the distance of neighbouring marks in the same pixels
    as ``blur_px``.  A patch where no edge stands out counts as blurred.
    """
    limit_px = BLURRED_PX
    if px_per_division is not None:
        limit_px = BLURRED_SHARE_OF_DIVISION * px_per_division
    checks = (
        ("few-pixels", px_per_division is not None and px_per_division < FEW_PX_PER_DIVISION),
        ("blurred", quality.blur_px is None or quality.blur_px > limit_px),
        ("dark", quality.bright_level < DARK_BRIGHT_LEVEL),
        ("clipped", quality.clipped_fraction > CLIPPED_SHARE),
        ("noisy", quality.noise_sd > NOISY_SHARE_OF_CONTRAST * max(quality.contrast, 1.0)),
    )
    return tuple(name for name, raised in checks if raised)


def _noise_sd(gray: np.ndarray) -> float:
    """Standard deviation of white noise, from the median response to a mask that
    is blind to any surface of second order.

    Source of the mask: J. Immerkaer, Fast noise variance estimation, Computer
    Vision and Image Understanding 64 (1996) 300-302 (from memory).  Departure:
    the median instead of the mean, so that edges do not count as noise.
    """
    import cv2

    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], dtype=np.float32)
    response = np.abs(cv2.filter2D(gray, cv2.CV_32F, mask)[1:-1:2, 1:-1:2]).ravel()
    middle = float(np.partition(response, response.size // 2)[response.size // 2])
    return middle / 0.67449 / 6.0  # 6: root of the sum of the squared mask


def _blur_px(gray: np.ndarray, noise_sd: float) -> float | None:
    """Sigma in px of the sharper edges, or None.

    A step of height A blurred by a Gaussian of sigma s has the peak slope
    A / (s sqrt(2 pi)), so s follows from the rise around an edge and its slope.
    The sharper edges of the patch are reported, for nothing in the scene can
    look sharper than the blur lets it.  The two edges of a stroke narrower than
    about four sigma look up to twice as sharp as they are.  Wide blur is measured on the halved
    picture, where noise has been averaged.
    """
    import cv2

    pixel_variance = 0.0
    for halving in range(_HALVINGS + 1):
        scale = 2.0**halving
        variances = _edge_variances(gray, noise_sd)
        if variances is not None:
            sigma = math.sqrt(max(0.0, variances - pixel_variance))
            if halving:
                # Less cannot be told on a halved picture; a sharper one would have
                # been measured before halving.
                sigma = max(sigma, 0.5)
            if sigma <= _TRUSTED_PX or halving == _HALVINGS:
                return sigma * scale
        if min(gray.shape) < 48:
            return None
        gray = cv2.resize(gray, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        noise_sd /= 2.0
        # The mean of 2 x 2 pixels spreads by 3/12 old px^2 more than one pixel does.
        pixel_variance = pixel_variance / 4.0 + 1.0 / 16.0
    return None


def _edge_variances(gray: np.ndarray, noise_sd: float) -> float | None:
    """Variance in px^2 of the blur of the sharper edges of one picture, or None."""
    import cv2

    smooth = cv2.GaussianBlur(gray, (0, 0), _SMOOTH_PX)
    half = np.array([[-0.5, 0.0, 0.5]], dtype=np.float32)
    dx = cv2.filter2D(smooth, cv2.CV_32F, half)
    dy = cv2.filter2D(smooth, cv2.CV_32F, half.T)
    slope = cv2.magnitude(dx, dy)
    # White noise after the smoothing and the central difference, per axis.
    noise_slope = noise_sd / (_SMOOTH_PX**2 * math.sqrt(8 * math.pi))
    limit = max(12.0 * noise_slope, 2.0)
    m = _REACH_PX
    slope[:m] = slope[-m:] = slope[:, :m] = slope[:, -m:] = 0.0
    at = np.flatnonzero(slope >= limit)
    slopes, across, down = slope.ravel(), dx.ravel(), dy.ravel()
    # Highest across the edge only: highest among all neighbours would pick the
    # places where noise has made the slope steeper.
    beside = np.where(np.abs(across.take(at)) >= np.abs(down.take(at)), 1, slope.shape[1])
    here = slopes.take(at)
    at = at[(here >= slopes.take(at - beside)) & (here > slopes.take(at + beside))]
    if at.size < _FEWEST_EDGE_PIXELS:
        return None
    peak = slopes.take(at)
    # Edges that just pass would be those that noise has made steeper.
    if np.partition(peak, at.size // 2)[at.size // 2] < 1.12 * limit:
        return None
    window = np.ones((2 * m + 1, 2 * m + 1), np.uint8)
    rise = (cv2.dilate(smooth, window).ravel().take(at)
            - cv2.erode(smooth, window).ravel().take(at))
    # Highest and lowest of about five independent values of noise on either side
    # (1.16 sigma each; the smoothing leaves noise / (2 sqrt(pi) smoothing)).
    rise = rise - 2 * 1.16 * noise_sd / (2 * math.sqrt(math.pi) * _SMOOTH_PX)
    total: np.ndarray = (rise / peak) ** 2 / (2 * math.pi)
    # Each central difference averages the slope over two pixels (4/12 px^2) along
    # its own axis, of which the share cos^2 lies across the edge.
    cos2 = (across.take(at) / peak) ** 2
    total = total - (cos2**2 + (1 - cos2) ** 2) / 3.0
    share = int(_SHARP_SHARE * at.size)
    return float(np.partition(total, share)[share]) - _SMOOTH_PX**2
