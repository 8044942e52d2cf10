"""Photo in: from bytes to upright pixels and the camera facts that matter.

Everything that measures gets its pixels here and nowhere else, so orientation,
colour mode and limits are settled once.  Limits hold before anything is
decoded.  Place, owner and device of the photo are never kept, its time only while it is open;
of the maker note nothing but where down is.

The colour profile is left alone on purpose: a reading rests on where edges
stand, and turning one profile into another moves no edge.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from vision.errors import InputError, PhotoError
from vision.imaging.exif import (
    CameraFacts,
    camera_facts,
    stated_focal_35mm,
    stated_zoom,
    strict_reader,
)
from vision.imaging.file_kind import name_file_kind
from vision.imaging.gravity import PhoneGravity
from vision.imaging.jpeg_stream import JpegStreamError, bare_jpeg
from vision.imaging.pixels import frozen, reduced, rgb_pixels, turned

MAX_FILE_BYTES = 40 * 1024 * 1024
MAX_PIXELS = 50_500_000
"""50 megapixels as cameras count them (8192 x 6144 is sold as 50)."""
MAX_SIDE_PX = 20_000
MIN_SIDE_PX = 48
MAX_SCANS = 64
"""A progressive JPEG has about ten scans; thousands are only there to stall a decoder."""

HALF_ABOVE_PIXELS = 6_000_000
QUARTER_ABOVE_PIXELS = 28_000_000


def scaled_points(xy: Any, factor: float | np.ndarray) -> np.ndarray:
    """Where points (..., 2) of a picture lie when it is shown ``factor`` times as large, in
    both directions or, of (2,), in each.

    Pixels have their origin at the centre of the first one, so its corner (-0.5, -0.5) is
    what stays in place.
    """
    return (np.asarray(xy, dtype=float) + 0.5) * factor - 0.5


@dataclass(frozen=True, eq=False)
class Photo:
    """An upright photo, its camera facts and its digest.

    ``working_rgb`` is the (h, w, 3) uint8 RGB picture to search in, read-only
    and contiguous; one of its pixels covers ``working_scale`` x
    ``working_scale`` pixels of the full photo.  ``rgb`` is the full picture,
    decoded when first asked for.  ``taken_min``, minutes on the camera's clock, only serves
    to tell how far photos of one chamber lie apart, and goes nowhere from here.  ``width`` and
    ``height`` are those of the full upright picture.  Points are (x, y) in pixels, origin at
    the centre of the top-left pixel.
    """

    working_rgb: np.ndarray = field(repr=False)
    working_scale: int
    width: int
    height: int
    camera: CameraFacts
    sha256: str
    name: str = ""
    _decode_full: Callable[[], np.ndarray] | None = field(default=None, repr=False)
    taken_min: float | None = field(default=None, repr=False)

    def __getstate__(self) -> dict[str, Any]:
        """What another process needs: what can be made again is left out."""
        return {name: value for name, value in self.__dict__.items()
                if name not in ("rgb", "working_gray")}

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.__dict__.update(state)
        self.working_rgb.flags.writeable = False

    @cached_property
    def rgb(self) -> np.ndarray:
        """The full upright picture, (height, width, 3) uint8 RGB, read-only."""
        return self.working_rgb if self._decode_full is None else self._decode_full()

    @cached_property
    def working_gray(self) -> np.ndarray:
        """Luma of the working picture, (h, w) uint8, read-only."""
        import cv2

        return frozen(np.asarray(cv2.cvtColor(self.working_rgb, cv2.COLOR_RGB2GRAY)))

    @property
    def working_size(self) -> tuple[int, int]:
        """Width and height of the working picture."""
        height, width = self.working_rgb.shape[:2]
        return width, height

    def at_full_size(self) -> Photo:
        """The same photo with all its pixels for a working picture."""
        return replace(self, working_rgb=self.rgb, working_scale=1, _decode_full=None)

    def holds(self, xy: tuple[float, float]) -> bool:
        """Whether a point of the full photo lies in it: its pixels reach half a pixel beyond
        their centres.  A coordinate that is not a number does not."""
        x, y = xy
        return -0.5 <= x <= self.width - 0.5 and -0.5 <= y <= self.height - 0.5

    def to_full(self, xy: Any) -> np.ndarray:
        """Points of the working picture, (..., 2), as points of the full photo."""
        return scaled_points(xy, self.working_scale)

    def to_working(self, xy: Any) -> np.ndarray:
        """Points of the full photo, (..., 2), as points of the working picture."""
        return scaled_points(xy, 1 / self.working_scale)


def with_gravity(photos: Sequence[Photo],
                 gravity: PhoneGravity | Sequence[PhoneGravity | None] | None) -> list[Photo]:
    """Photos with what another source says of down: one for each in their order, or one for a
    single photo; None leaves a photo as it is.  InputError for another number of them."""
    given = [gravity] * len(photos) if gravity is None else (
        [gravity] if isinstance(gravity, PhoneGravity) else list(gravity))
    if len(given) != len(photos):
        raise InputError(f"There are {len(photos)} photos and {len(given)} directions of gravity: "
                         "give one for each photo, in their order.")
    return [p if g is None else replace(p, camera=replace(p.camera, gravity=g))
            for p, g in zip(photos, given, strict=True)]


def photo_from_array(
    rgb: np.ndarray,
    focal_35mm: float | None = None,
    *,
    digital_zoom: float = 1.0,
    working_scale: int = 1,
    name: str = "",
) -> Photo:
    """A photo from an upright (H, W, 3) uint8 RGB or (H, W) uint8 gray array.

    ``working_scale`` above 1 makes the working picture by averaging blocks.
    """
    full = np.asarray(rgb)
    if full.ndim == 2:
        full = np.repeat(full[:, :, None], 3, axis=2)
    if full.ndim != 3 or full.shape[2] != 3 or full.dtype != np.uint8 or not full.size:
        raise PhotoError("A picture must be an array of (height, width, 3) bytes.")
    full = frozen(np.array(full, order="C"))
    height, width = full.shape[:2]
    camera = CameraFacts(stated_focal_35mm(focal_35mm), stated_zoom(digital_zoom))
    digest = hashlib.sha256(f"{width}x{height}:".encode() + full.tobytes()).hexdigest()
    if working_scale == 1:
        return Photo(full, 1, width, height, camera, digest, name)
    small = reduced(full, working_scale)
    return Photo(small, working_scale, width, height, camera, digest, name, partial(_as_is, full))


def load_photo(source: bytes | str | Path) -> Photo:
    """Decode a photo.

    Parameters
    ----------
    source : bytes, str or Path
        The file's content or its name: JPEG, PNG, WebP or HEIC/HEIF up to 50 megapixels and
        40 MB.

    Returns
    -------
    Photo
        Upright; a large one is decoded at a half or a quarter of its size first, see
        ``Photo.working_scale``.

    Raises
    ------
    PhotoError
        With one sentence for anything else.
    """
    data, name = _read(source)
    kind, refusal = name_file_kind(data)
    if refusal:
        raise PhotoError(refusal)
    try:
        return _decode(data, kind, name)
    except PhotoError:
        raise
    except JpegStreamError as error:
        raise PhotoError(_TRUNCATED if error.truncated else _DAMAGED) from None
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise PhotoError(_TOO_MANY_PIXELS) from None
    except MemoryError:
        raise PhotoError("This photo needs more memory than there is; take it with the"
                         " camera's normal resolution.") from None
    except Exception as error:
        ends_early = "truncated" in str(error).lower() or isinstance(error, EOFError)
        raise PhotoError(_TRUNCATED if ends_early else _DAMAGED) from None


_TRUNCATED = "The photo did not arrive complete; send it again or take a new one."
_DAMAGED = "The photo file is damaged and cannot be opened; take a new photo."
_TOO_MANY_PIXELS = ("The photo has more than 50 megapixels; set the camera to its normal"
                    " resolution and take it again.")


def _read(source: bytes | str | Path) -> tuple[bytes, str]:
    """Bytes and file name of a source, size checked before reading."""
    if isinstance(source, (bytes, bytearray, memoryview)):
        data, name = bytes(source), ""
    else:
        path = Path(source)
        try:
            if path.is_dir():
                raise PhotoError(f"'{path.name}' is a folder; name a photo file.")
            if not path.exists():
                raise PhotoError(f"There is no file '{path}'; check the name.")
            if not path.is_file():
                raise PhotoError(f"'{path.name}' is not a file; name a photo file.")
            with path.open("rb") as stream:
                data, name = stream.read(MAX_FILE_BYTES + 1), path.name
        except (OSError, ValueError):
            raise PhotoError(f"The file '{path.name}' cannot be read; check its name and that"
                             " you may open it.") from None
    if not data:
        raise PhotoError("The photo file is empty; send it again or take a new one.")
    if len(data) > MAX_FILE_BYTES:
        raise PhotoError("The photo file is larger than 40 MB; set the camera to its normal"
                         " resolution and take it again.")
    return data, name


def _open(data: bytes, kind: str) -> Image.Image:
    """Open (header only) with the one reader for ``kind`` and check the limits."""
    if kind == "HEIF":
        _heif_reader()
    with strict_reader():
        im = Image.open(io.BytesIO(data), formats=(kind,))
    _check_size(*im.size)
    return im


def _heif_reader() -> None:
    """Make Pillow able to open HEIC; done on first need, for it takes time."""
    if "HEIF" not in Image.OPEN:
        try:
            from pillow_heif import register_heif_opener
        except ImportError:
            raise PhotoError("HEIC photos cannot be opened here; install pillow-heif or set the"
                             " phone's camera to 'most compatible' (JPEG).") from None
        register_heif_opener(thumbnails=False)


def _check_size(width: int, height: int) -> None:
    """Refuse pictures too large to decode or too small to hold a scale."""
    if width * height > MAX_PIXELS:
        raise PhotoError(_TOO_MANY_PIXELS)
    if max(width, height) > MAX_SIDE_PX:
        raise PhotoError(f"The photo is longer than {MAX_SIDE_PX} pixels; take an ordinary photo,"
                         " not a panorama.")
    if min(width, height) < MIN_SIDE_PX:
        raise PhotoError(f"The picture is only {width} x {height} pixels; send the original photo"
                         " in full size.")


def _decode(data: bytes, kind: str, name: str) -> Photo:
    """The steps after the file kind is known; any exception means a bad file."""
    im = _open(data, kind)
    if kind in ("PNG", "WEBP") and getattr(im, "n_frames", 1) > 1:
        raise PhotoError("This is a moving picture; take a single photo.")
    if kind == "PNG":
        im.load()  # its EXIF may stand behind the pixels
    orientation, camera, taken_min = camera_facts(im)
    digest = hashlib.sha256(data).hexdigest()
    if kind == "JPEG":
        return replace(_jpeg_photo(data, orientation, camera, digest, name), taken_min=taken_min)
    full = turned(_webp_pixels(data) if kind == "WEBP" else rgb_pixels(im), orientation)
    height, width = full.shape[:2]
    k = _working_scale(width * height)
    if k == 1:
        return Photo(full, 1, width, height, camera, digest, name, taken_min=taken_min)
    return Photo(reduced(full, k), k, width, height, camera, digest, name,
                 partial(_as_is, full), taken_min)


def _jpeg_photo(data: bytes, orientation: int, camera: CameraFacts, digest: str,
                name: str) -> Photo:
    """A JPEG decoded at its working size; the bare picture is kept for a full decode."""
    stream = bare_jpeg(data)
    if stream.scans > MAX_SCANS:
        raise PhotoError(_DAMAGED)
    bare = stream.data
    decode_full = partial(_jpeg_pixels, bare, orientation)
    im = _open(bare, "JPEG")
    raw_width, raw_height = im.size
    width, height = (raw_height, raw_width) if orientation >= 5 else (raw_width, raw_height)
    k = _working_scale(width * height)
    if k == 1:
        return Photo(decode_full(), 1, width, height, camera, digest, name)
    # The decoder rounds odd sizes up, so after a flip the blocks of an odd
    # picture would start inside a pixel: such a rare photo goes the long way.
    whole = raw_width % k == 0 and raw_height % k == 0
    pixels = _smaller(bare, k) if whole and im.mode == "RGB" else None
    if pixels is None:
        if whole:
            im.draft(None, (raw_width // k, raw_height // k))
        pixels = rgb_pixels(im)
    small = turned(pixels, orientation)
    if pixels.shape[:2] != (raw_height // k, raw_width // k):
        small = reduced(small, k)
    return Photo(small, k, width, height, camera, digest, name, decode_full)


def _smaller(bare: bytes, k: int) -> np.ndarray | None:
    """A colour JPEG decoded at a half or a quarter (``k`` 2 or 4) of its size: to the last bit
    what Pillow makes of it, but at once in an array, which takes three quarters of the time."""
    import cv2

    how = cv2.IMREAD_REDUCED_COLOR_2 if k == 2 else cv2.IMREAD_REDUCED_COLOR_4
    flags = how & ~cv2.IMREAD_COLOR | cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    return cv2.imdecode(np.frombuffer(bare, np.uint8), flags)


def _working_scale(pixels: int) -> int:
    """1, 2 or 4: how many pixels of the photo one working pixel spans."""
    if pixels > QUARTER_ABOVE_PIXELS:
        return 4
    return 2 if pixels > HALF_ABOVE_PIXELS else 1


def _jpeg_pixels(bare: bytes, orientation: int) -> np.ndarray:
    return turned(rgb_pixels(_open(bare, "JPEG")), orientation)


def _webp_pixels(data: bytes) -> np.ndarray:
    """As :func:`_pixels`.  Pillow decodes WebP as a film: twice the canvas, with transparency."""
    import cv2

    bgr = cv2.imdecode(np.frombuffer(data, np.uint8),
                       cv2.IMREAD_UNCHANGED | cv2.IMREAD_IGNORE_ORIENTATION)
    if bgr is None:
        raise PhotoError(_DAMAGED)
    if bgr.shape[2] == 4:
        return rgb_pixels(Image.fromarray(cv2.cvtColor(bgr, cv2.COLOR_BGRA2RGBA, dst=bgr)))
    return np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB, dst=bgr))


def _as_is(full: np.ndarray) -> np.ndarray:
    full.flags.writeable = False  # it may have come from another process
    return full


