"""One labelled image to one row.  Whatever goes wrong becomes a row too."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from vision.accuracy.labels import Label, Point, is_number, point_of
from vision.accuracy.rows import Row, verdict
from vision.errors import CountersightError
from vision.scale_file.scale import Scale, load_scale

if TYPE_CHECKING:
    from vision.imaging.photo import Photo
    from vision.level.result import LevelReading
    from vision.reading import VolumeReading

#: A level reading wrong by more than this, with the truth outside its interval, is a
#: silent misread: twice the 95 % limit that level readings with cards have to keep.
LEVEL_MISREAD_MM = 18.0


def measure(label: Label) -> Row:
    """Read one image and set the result beside its label.  Never raises."""
    one_thread()
    start = time.perf_counter()
    try:
        found = _volume(label) if label.kind == "volume" else _level(label)
    except CountersightError as err:
        found = {"status": "error", "message": str(err)}
    except Exception as err:  # a fault of the reader must show up as a row, not stop the run
        found = {"status": "error", "message": f"{type(err).__name__}: {err}"}
    return compare(label, found, time.perf_counter() - start)


def one_thread() -> None:
    """OpenCV on one thread: the images are what is spread over the processors."""
    import cv2

    if cv2.getNumThreads() != 1:
        cv2.setNumThreads(1)


@lru_cache(maxsize=64)
def scale_of(where: str) -> Scale:
    """The scale of a file or name, loaded once."""
    return load_scale(where)


def _volume(label: Label) -> dict[str, Any]:
    from vision.volume import read as volume

    scale = scale_of(str(label.scale))
    photo, point = photo_and_points(label)
    reading = volume.read_volume(photo, scale, surface=point("near"))
    return volume_found(reading, label, scale, camera_from(photo))


def volume_found(reading: VolumeReading, label: Label, scale: Scale, camera: str
                 ) -> dict[str, Any]:
    """What ``compare`` needs of a reading; ``camera`` says where the focal length came from."""
    division = label.keys.get("division")
    if not is_number(division):
        division = scale.division_at(label.truth) if label.truth is not None else reading.division
    return {
        "status": reading.status, "unit": reading.unit, "value": reading.value,
        "interval": reading.interval, "naive_value": reading.naive_value,
        "division": division, "misread_limit": division,
        "elevation_deg": reading.elevation_deg, "elevation_sd_deg": reading.elevation_sd_deg,
        "flags": reading.flags, "reasons": reading.reasons, "camera_from": camera,
        "surface_px": reading.surface_px,
    }


def photo_and_points(label: Label) -> tuple[Photo, Callable[[str], Point | None]]:
    """The photo, seen through the lens file that the label may name ("lens"), and what
    gives the point of a label key in it."""
    from vision.imaging.photo import load_photo

    photo = load_photo(label.path)
    if label.lens is None:
        return photo, lambda key: point_of(label.keys.get(key))
    from vision.lens.model import load_lens
    from vision.lens.undistort import through_lens

    view = through_lens(photo, load_lens(label.lens))

    def corrected(key: str) -> Point | None:
        point = point_of(label.keys.get(key))
        return None if point is None else view.point_to_corrected(point)

    return view.photo, corrected


def camera_from(photo: Photo) -> str:
    """Where the focal length came from, in words."""
    if photo.camera.focal_relative_sd is not None:
        return "lens file"
    return "photo's own data" if photo.camera.focal_35mm is not None else "not stated"


def _level(label: Label) -> dict[str, Any]:
    from vision.level.read import read_level

    photo, point = photo_and_points(label)
    zero, landmark, more = told_of_level(label, point)
    return level_found(read_level(photo, zero, landmark, **more), camera_from(photo))


def told_of_level(label: Label, point: Callable[[str], Point | None]
                  ) -> tuple[float, float, dict[str, Any]]:
    """What the label tells the reader: sizes of both cards, mm, and what else.  In mode "tap"
    the labelled landmark stands in for the tap; with cards it is only the truth."""
    zero, landmark = (_float(label.keys.get(name)) or usual for name, usual in (
        ("zero_card_mm", 60.0), ("landmark_card_mm", 40.0)))
    return zero, landmark, {} if label.keys.get("mode") != "tap" else {
        "depth_difference_mm": _float(label.keys.get("depth_difference_mm")),
        "landmark_px": point("landmark_px")}


def level_found(reading: LevelReading, camera: str) -> dict[str, Any]:
    """What ``compare`` needs of a level; ``camera`` says where the focal length came from."""
    interval = reading.interval_cm
    return {
        "status": reading.status, "unit": "mm", "misread_limit": LEVEL_MISREAD_MM,
        "value": None if reading.offset_cm is None else 10 * reading.offset_cm,
        "interval": None if interval is None else (10 * interval[0], 10 * interval[1]),
        "flags": reading.flags, "reasons": reading.reasons, "camera_from": camera,
    }


def compare(label: Label, found: Mapping[str, Any], seconds: float) -> Row:
    """Set what was found (see ``_volume``) beside the label.  Pure arithmetic.

    Value, interval and naive value of ``found`` are in the unit of the truth.
    """
    truth, status = label.truth, str(found["status"])
    message = str(found.get("message", ""))
    value = _float(found.get("value")) if status == "read" else None
    if status == "read" and value is None:
        status, message = "error", "The reading says 'read' without a finite value."
    division = _float(found.get("division"))
    interval = found.get("interval") if value is not None else None
    low, high = (None, None) if interval is None else (float(interval[0]), float(interval[1]))
    naive = _float(found.get("naive_value"))
    error, naive_error = _minus(value, truth), _minus(naive, truth)
    limit = _float(found.get("misread_limit"))
    misread = value is not None and (
        error is None or (limit is not None and abs(error) > limit))
    hit = None if low is None or high is None or truth is None else low <= truth <= high
    if hit and label.kind == "level":
        misread = False  # an offset whose stated interval holds the truth misleads nobody
    rim = _float(label.keys.get("rim_value"))
    nearer_rim = None
    if value is not None and truth is not None and rim is not None and rim != truth:
        nearer_rim = abs(value - rim) < abs(value - truth)
    return Row(
        index=label.index, file=label.file, kind=label.kind,
        unit=str(found.get("unit", "mm" if label.kind == "level" else "")),
        expect=label.expect, status=status, verdict=verdict(label.expect, status),
        misread=misread, truth=truth, value=value, division=division,
        error=error, error_div=_over(error, division),
        interval_low=low, interval_high=high,
        hit=hit,
        naive_value=naive, naive_error=naive_error, naive_error_div=_over(naive_error, division),
        elevation_deg=_float(found.get("elevation_deg")),
        elevation_sd_deg=_float(found.get("elevation_sd_deg")),
        elevation_error_deg=_minus(_float(found.get("elevation_deg")),
                                   _float(label.keys.get("elevation_deg"))),
        nearer_rim=nearer_rim, surface_px=point_of(found.get("surface_px")),
        camera_from=str(found.get("camera_from", "")),
        seconds=round(seconds, 4),
        flags=tuple(found.get("flags", ())), reasons=tuple(found.get("reasons", ())),
        message=message, keys=dict(label.keys),
    )


def _float(value: object) -> float | None:
    return float(value) if is_number(value) else None


def _minus(a: float | None, b: float | None) -> float | None:
    return None if a is None or b is None else a - b


def _over(a: float | None, b: float | None) -> float | None:
    return None if a is None or not b else a / b
