"""Several photos of one chamber, or of one pair of cards, read together: one set to the rows
of all its combinations.

Every photo is read once; what the photos say is then combined in every way that a person
could have taken them: each alone, any two, any three, all.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations
from typing import TYPE_CHECKING, Any

from vision.accuracy.labels import Label, Point, is_number
from vision.accuracy.limits import VOLUME_LIMITS
from vision.accuracy.measure import (
    camera_from,
    compare,
    level_found,
    one_thread,
    photo_and_points,
    scale_of,
    told_of_level,
    volume_found,
)
from vision.accuracy.rows import Row
from vision.errors import CountersightError, LabelFileError

if TYPE_CHECKING:
    from vision.imaging.photo import Photo
    from vision.level.evidence import LevelEvidence
    from vision.level.result import LevelReading
    from vision.reading import VolumeReading
    from vision.volume.evidence import PhotoEvidence

Members = tuple[int, ...]
#: Combinations of more photos than this are left out, but for that of all.
_MOST_TOGETHER = 3
#: Levels nearer to each other than this share of a division are the same.
_SAME_DIVISIONS = 0.01
#: What counts as one division of a height offset, mm.
_LEVEL_STEP_MM = 10.0
DISAGREE = "photos-disagree"


@dataclass(frozen=True)
class PhotoSet:
    """The labels of the photos of one chamber or room; ``name`` is the label file's ``set``."""

    name: str
    labels: tuple[Label, ...]

    def combinations(self) -> list[Members]:
        """Places of the photos of each combination, single photos first, all of them last."""
        n = len(self.labels)
        sizes = [k for k in range(1, n + 1) if k <= _MOST_TOGETHER or k == n]
        if self.moved_unsaid:
            sizes = sorted({1, n})
        return [m for k in sizes for m in combinations(range(n), k)]

    @property
    def moved_unsaid(self) -> bool:
        """One photo shows another level, and the labels do not tell which."""
        return any(x.keys.get("moved") is True for x in self.labels) and self.apart(
            tuple(range(len(self.labels)))) == 0.0

    def apart(self, members: Members) -> float:
        """How far the levels of these photos lie apart, divisions (offsets: cm); 0 for the same
        level."""
        truths = [x.truth for k in members if (x := self.labels[k]).truth is not None]
        far = (max(truths) - min(truths)) / self.division() if truths else 0.0
        return far if far > _SAME_DIVISIONS else 0.0

    def division(self) -> float:
        """The smallest division at the levels of the photos, in the unit of the truth."""
        if self.labels[0].kind == "level":
            return _LEVEL_STEP_MM
        stated = [float(d) for x in self.labels if is_number(d := x.keys.get("division")) and d > 0]
        if stated:
            return min(stated)
        scale = scale_of(str(self.labels[0].scale))
        return min(float(scale.division_at(x.truth)) for x in self.labels if x.truth is not None)

    def standing_apart(self, members: Members) -> int | None:
        """The one photo of three or more whose level is not that of all others."""
        alone = [k for k in members if len(members) > 2 and self.apart(
            rest := tuple(m for m in members if m != k)) == 0.0 < self.apart((k, *rest))]
        return alone[0] if len(alone) == 1 else None


def photo_sets(labels: Iterable[Label]) -> list[PhotoSet]:
    """The sets of a label file in the order of their first photo; photos without ``set`` are
    left out.  Raises ``LabelFileError`` where there is no set, or one of two scales."""
    found: dict[str, list[Label]] = {}
    for label in labels:
        name = label.keys.get("set")
        if name is not None:
            found.setdefault(str(name), []).append(label)
    if not found:
        raise LabelFileError("No line of the label file names the 'set' that its photo belongs to.")
    if len({x.kind for members in found.values() for x in members}) > 1:
        raise LabelFileError("Sets of chambers and sets of height offsets belong in two files.")
    for name, members in found.items():
        if len({x.scale for x in members}) > 1:
            raise LabelFileError(f"Line {members[1].line} of the label file: the photos of set "
                                 f"{name} must have one scale.")
    return [PhotoSet(name, tuple(members)) for name, members in found.items()]


def measure_set(photos: PhotoSet) -> tuple[Row, ...]:
    """Read each photo of a set, combine, and set all results beside the labels.  Never raises."""
    one_thread()

    reader: Any = _Levels() if photos.labels[0].kind == "level" else _Chambers()

    @cache
    def evidence(k: int) -> tuple[Any, str, float]:
        start = time.perf_counter()
        label = photos.labels[k]
        photo, point = photo_and_points(label)
        return (reader.gather(label, photo, point), camera_from(photo),
                time.perf_counter() - start)

    def read(members: Members) -> tuple[Mapping[str, Any], float]:
        try:
            parts = [evidence(k) for k in members]
            start = time.perf_counter()
            reading = reader.combine([e for e, _, _ in parts])
            seconds = time.perf_counter() - start + sum(s for _, _, s in parts)
        except CountersightError as err:
            return {"status": "error", "message": str(err)}, 0.0
        except Exception as err:  # a fault of the reader must show up as a row, not stop the run
            return {"status": "error", "message": f"{type(err).__name__}: {err}"}, 0.0
        odd = None if reading.agreement is None else reading.agreement.odd
        return {**reader.found(reading, photos.labels[members[0]], parts[0][1]),
                "odd": None if odd is None else members[odd]}, seconds

    return rows_of_set(photos, read)


class _Chambers:
    """How photos of a chamber are read and put together."""

    def gather(self, label: Label, photo: Photo, point: Callable[[str], Point | None]
               ) -> PhotoEvidence:
        from vision.volume.evidence import gather
        from vision.volume.inputs import check_inputs
        from vision.volume.locate import Hints

        scale, near = scale_of(str(label.scale)), point("near")
        check_inputs(photo, scale, near, near)
        return gather(photo, scale, Hints(near, near))

    def combine(self, evidences: list[PhotoEvidence]) -> VolumeReading:
        from vision.volume.combine import combine

        return combine(evidences)

    def found(self, reading: VolumeReading, label: Label, camera: str) -> dict[str, Any]:
        return volume_found(reading, label, scale_of(str(label.scale)), camera)


class _Levels:
    """How photos of both cards are measured and put together."""

    def gather(self, label: Label, photo: Photo, point: Callable[[str], Point | None]
               ) -> LevelEvidence:
        from vision.level.evidence import gather
        from vision.level.inputs import level_inputs

        zero, landmark, more = told_of_level(label, point)
        return gather(photo, level_inputs(photo, zero, landmark, **more))

    def combine(self, evidences: list[LevelEvidence]) -> LevelReading:
        from vision.level.together import combine_levels

        return combine_levels(evidences)

    def found(self, reading: LevelReading, label: Label, camera: str) -> dict[str, Any]:
        return level_found(reading, camera)


def rows_of_set(photos: PhotoSet, read: Callable[[Members], tuple[Mapping[str, Any], float]]
                ) -> tuple[Row, ...]:
    """The rows of a set, in the order of its combinations.

    ``read(members)`` gives what was found in these photos together (as for ``compare``, with
    "odd", the place of the photo that is said to stand apart) and the seconds it took.
    """
    rows = []
    for members in photos.combinations():
        found, seconds = read(members)
        label = _label_of(photos, members)
        row = compare(label, found, seconds)
        odd = found.get("odd")
        rows.append(replace(row, keys={**row.keys, "named": None if odd is None else (
            view_of(photos.labels[odd], odd))}))
    return tuple(rows)


def lost_set(photos: PhotoSet, why: str) -> tuple[Row, ...]:
    """The rows of a set whose worker was lost."""
    return rows_of_set(photos, lambda _: ({"status": "error", "message": why}, 0.0))


def _label_of(photos: PhotoSet, members: Members) -> Label:
    """One label for several photos: what they have in common, and what is true of them all."""
    labels = [photos.labels[k] for k in members]
    first, apart = labels[0], photos.apart(members)
    whole = len(labels) == len(photos.labels)
    moved = len(labels) > 1 and (apart > 0.0 or (photos.moved_unsaid and whole))
    readable = [x for x in labels if x.expect == "read"]
    stands = (readable or labels)[0]
    keys = {key: value for key, value in first.keys.items()
            if all(x.keys.get(key) == value for x in labels)}
    angles = [float(a) for x in labels if is_number(a := x.keys.get("elevation_deg"))]
    odd = photos.standing_apart(members)
    keys |= {
        "set": photos.name, "views": [view_of(photos.labels[k], k) for k in members],
        "photos": len(members), "whole": whole, "moved": moved, "apart_divisions": apart,
        "standing_apart": None if odd is None else view_of(photos.labels[odd], odd),
        "spread_deg": max(angles) - min(angles) if len(angles) == len(labels) else None,
        "tier": max((x.tier for x in labels), key=tier_order),
        "set_tier": max((x.tier for x in photos.labels), key=tier_order),
    }
    return replace(first, file=" + ".join(x.file for x in labels), keys=keys,
                   expect="refuse" if moved else stands.expect,
                   truth=None if moved else stands.truth)


def view_of(label: Label, place: int) -> str:
    """The name of a view: the label's own, or its place from 1."""
    view = label.keys.get("view")
    return view if isinstance(view, str) and view else str(place + 1)


def tier_order(tier: str | None) -> int:
    """Gentle tiers first, named ones without requirements last."""
    tiers = list(VOLUME_LIMITS)
    return tiers.index(tier) if tier in tiers else len(tiers) * (tier is not None)
