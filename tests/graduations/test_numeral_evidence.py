"""The numerals find the numbering again after the marks have been numbered wrongly."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from drawn_ladders import camera_towards, even_scale, paint_tube, printed

from vision.graduations import numeral_evidence as labels
from vision.graduations.fit import GraduationFit, _moved, fit_graduations
from vision.graduations.numeral_evidence import check_numerals
from vision.graduations.numeral_reader import settle_numbering
from vision.imaging.photo import load_photo, photo_from_array
from vision.imaging.picture import working_picture
from vision.scale_file.scale import load_scale

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


@lru_cache(maxsize=1)
def right() -> GraduationFit:
    photo = load_photo((SAMPLES / "bench-1-pink.jpg").read_bytes())
    grey = cv2.cvtColor(photo.working_rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)
    fit = fit_graduations(grey, load_scale("quay-60"))
    assert fit is not None
    return fit


def numbered(shift: int) -> GraduationFit:
    """The same marks, each taken for the one ``shift`` places further up; one end unseen."""
    fit = right()
    params = fit.pose.params.copy()
    params[1] += shift * fit.evidence.step_mm
    seen = fit.seen.copy()
    seen[:2] = False
    return replace(fit, pose=fit.pose.with_params(params), seen=seen,
                   evidence=_moved(fit.evidence, shift))


def test_the_right_numbering_agrees_on_its_own_side():
    check = check_numerals(right())
    assert check.verdict == "agree" and check.readable >= 3 and check.side != 0


@pytest.mark.parametrize("shift", [5, -10, 3, -7])
def test_a_wrong_numbering_is_found_out_and_the_right_one_named(shift):
    """Shifts of 5 put numbers beside other numbers; 3 and 7 put them beside plain marks."""
    check = check_numerals(numbered(shift))
    assert check.verdict == "other"
    assert check.shift == -shift


def test_marks_that_reach_further_than_they_were_seen_to_do_not_cut_the_numbers_off():
    """Through dark liquid only the middle of the marks is seen: the patches then begin on
    the marks, and a narrow one ends within the numbers."""
    fit = right()
    side = check_numerals(fit).side
    middle = 0.5 * (fit.core_rad[0] + fit.core_rad[1])
    short_of = middle - side * np.radians(12.0)
    seen = replace(fit, core_rad=(short_of, short_of), long_rad=(short_of, short_of))
    assert check_numerals(seen).verdict == "agree"


def test_numbers_are_also_read_in_the_colour_that_their_ink_swallows():
    """Red print is pale in grey and dark in green."""
    camera = camera_towards(4.0, 110.0, (0, 0, 22.0), focal_px=800.0, size=(420, 640))
    scale = even_scale()
    drawn = paint_tube(camera, (420, 640), scale.outer_radius_mm, printed(scale, ink=110.0))
    for ink, asked in (("red", True), ("black", False)):
        rgb = np.repeat(drawn[..., None], 3, axis=2)
        if ink == "red":
            rgb[..., 0] = np.where(drawn < 200.0, 205.0, drawn)
        picture = working_picture(photo_from_array(rgb.astype(np.uint8), 26.0))
        grey = picture.look("grey")
        fit = fit_graduations(grey, scale, focal=(800.0, 0.02))
        assert fit is not None
        clearer = labels._in_the_inks_colour(replace(fit, picture=picture))
        assert (clearer is not None) is asked
        if clearer is not None:
            assert np.array_equal(clearer.grey, rgb[..., 1].astype(np.uint8).astype(np.float32))


def test_count_and_numbers_settle_together_what_neither_proves_alone(monkeypatch):
    """Two labels are legible, the others covered: the lead of the numbers is too small."""
    fit = right()
    marks, patches = labels.label_patches(fit, check_numerals(fit).side)
    bare = float(np.median(np.concatenate([p.ravel() for p in patches if p is not None])))
    covered = [p if k in (1, 3) else None if p is None else np.full_like(p, bare)
               for k, p in enumerate(patches)]
    monkeypatch.setattr(labels, "label_patches", lambda *_: (marks, covered))
    monkeypatch.setattr(labels, "settle_numbering", _barely)
    assert check_numerals(fit).verdict == "agree"
    seen = fit.seen.copy()
    seen[:2] = False
    assert check_numerals(replace(fit, seen=seen)).verdict == "unread"


def _barely(*given):
    return replace(settle_numbering(*given), verdict="unsettled", margin=6.0)


@pytest.mark.parametrize(("sure", "doubting", "agreeing", "others"), [
    (4, 4, 1, True),
    (3, 4, 0, False),    # half of the labels are not surely read
    (6, 2, 2, False),    # as many agree
    (6, 1, 0, False),    # a single label settles nothing
])
def test_labels_that_are_surely_those_of_another_scale(sure, doubting, agreeing, others):
    patches = [SimpleNamespace(confidence=0.99 if k < sure else 0.6) for k in range(6)]
    one = SimpleNamespace(evidence=SimpleNamespace(patches=patches))
    found = SimpleNamespace(doubting=doubting, agreeing=agreeing)
    assert labels._surely_others(one, found) is others


@dataclass(frozen=True)
class Row:
    """The parts of a fit that the looks rest on."""

    px_per_mm: float
    grey: np.ndarray = field(default_factory=lambda: np.zeros((40, 40), np.float32))
    picture: None = None
    height_mm: np.ndarray = field(default_factory=lambda: np.arange(3.0))

    @property
    def pose(self) -> SimpleNamespace:
        return SimpleNamespace(px_per_mm=lambda _: self.px_per_mm)


@pytest.mark.parametrize(("px_per_mm", "looks"), [(8.0, 3), (20.0, 3), (21.0, 2)])
def test_grain_is_not_smoothed_over_where_print_is_much_larger(px_per_mm, looks):
    """0.3 mm are 6 pixels at 20 pixels per mm; over more it took five seconds of a photo."""
    assert len(list(labels._looks(Row(px_per_mm)))) == looks  # type: ignore[arg-type]


@pytest.mark.parametrize(("beyond", "counted"), [
    ([40.0] * 6, 6),                                # marks of a longer scale
    ([23.0, 32.0, 30.0, 100.0, 26.0, 61.0], 4),     # as dark as it likes: rims and grain
])
def test_what_lies_beyond_the_ends_is_counted_where_it_looks_alike(beyond, counted):
    fit = right()
    e, run = fit.evidence, len(labels.main_run(fit.scale))
    lattice = np.arange(run + len(beyond))
    strength = np.concatenate([np.full(run, 40.0), beyond])
    there = np.ones(len(lattice), bool)
    longer = replace(e, lattice=lattice, present=there, like_marks=there, strength=strength)
    assert labels._count(replace(fit, evidence=longer))[1] == counted


@pytest.mark.parametrize(("legible", "asked"), [(False, 1), (True, 4)])
def test_at_a_glance_one_look_is_enough_where_nothing_is_legible(monkeypatch, legible, asked):
    """Else every look is tried, and the numbers beside all marks, too."""
    looks, beside = [], []
    patch = SimpleNamespace(confidence=0.9 if legible else 0.1, unreadable=0.0, text="7")
    side = labels._Side(1, [3], SimpleNamespace(patches=(patch,), doubting=lambda _: (0,),
                                                agreeing=lambda _: ()))
    found = SimpleNamespace(verdict="unsettled", agreeing=0, doubting=0, best=0, margin=0.0)
    monkeypatch.setattr(labels, "_looks", lambda fit: ((fit, 10.5) for _ in range(4)))
    monkeypatch.setattr(labels, "_clearer_side", lambda *_: looks.append(1) or side)
    monkeypatch.setattr(labels, "_settle", lambda *_: found)
    monkeypatch.setattr(labels, "_in_rings", lambda *_: iter(()))
    monkeypatch.setattr(labels, "_numbers_beside_all_marks", lambda *_: beside.append(1))
    assert check_numerals(right(), at_a_glance=True).verdict == "unread"
    assert (len(looks), len(beside)) == (asked, int(legible))
