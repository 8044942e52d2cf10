"""Several photos, one level: against what JCGM 100 says of correlated quantities."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from vision.errors import InputError
from vision.graduations.cylinder_pose import CylinderPose
from vision.imaging.photo import photo_from_array
from vision.meniscus_image.candidates import LevelMode, RowPeak
from vision.meniscus_image.contact_line import ContactLine
from vision.meniscus_image.detect import MeniscusPosterior
from vision.meniscus_image.features import BIN_CENTRES_MM
from vision.parameters import COMMON_SHARE, DISAGREE_P
from vision.scale_file.scale import load_scale
from vision.volume.combine import combine
from vision.volume.estimate import estimate_level
from vision.volume.evidence import PhotoEvidence
from vision.volume.locate import Hints
from vision.volume.number import Ambiguous, NumberedScale

QUAY = load_scale("quay-60")
PER_MM = 60 / 84.883
DIVISION_MM = 1 / PER_MM


def said(level_mm: float, sd_mm: float = 0.25, elevation_deg: float = 0.0, *, second: tuple[
        float, float] | None = None, taken_min: float | None = None, name: str = "",
         belief: float = 0.995) -> PhotoEvidence:
    """A photo from this elevation that tells this level, or with some weight another one."""
    d = 300.0
    h = level_mm + d * math.tan(math.radians(elevation_deg))
    covariance = np.zeros((6, 6))
    covariance[1, 1] = 1.0
    pitch = math.radians(elevation_deg)  # the lens looks at the level
    pose = CylinderPose(np.array([d, h, 0, pitch, 0, math.log(1500.0)]), covariance, 16.5,
                        (449.5, 599.5), 0.2)
    fit = SimpleNamespace(
        grey=np.zeros((1200, 900), np.float32), pose=pose,
        core_rad=(-0.2, 0.2), long_rad=(-0.2, 0.5), seen=np.ones(61, bool), scale=QUAY,
        pitch_px=8.0, relative_residual=0.02, is_of_marks=True, focal_known=True, cut=False,
        picture=None, strategy="grey",
        height_mm=np.array([m.height_mm for m in QUAY.marks]))

    def mode(middle: float, weight: float) -> LevelMode:
        p = np.exp(-0.5 * ((BIN_CENTRES_MM - 2.0) / sd_mm) ** 2)
        return LevelMode(weight, middle + 2.0 - BIN_CENTRES_MM, p / p.sum())

    first = mode(level_mm, belief if second is None else belief - second[1])
    modes = (first,) if second is None else (first, mode(second[0], second[1]))
    meniscus = MeniscusPosterior(
        ContactLine(level_mm + 2.0, 0.0, 4.0, 3.0), level_mm + 2.0, BIN_CENTRES_MM,
        first.probability, 0.0, 15.0, 1.5,
        tuple(RowPeak(level_mm + 2.0, m.weight) for m in modes), 0.0, modes=modes)
    rng = np.random.default_rng(abs(hash((level_mm, sd_mm, elevation_deg, name))) % 2**32)
    photo = replace(photo_from_array(rng.integers(0, 255, (60, 60, 3)).astype(np.uint8)),
                    taken_min=taken_min, name=name)
    return PhotoEvidence(photo, QUAY, Hints(), SimpleNamespace(  # type: ignore[arg-type]
        blur_px=0.5, noise=1.0, dark=False, clipped=False, blurred=False, flags=()),
        fit, NumberedScale(fit, None), meniscus,  # type: ignore[arg-type]
        estimate_level(meniscus, fit, QUAY))  # type: ignore[arg-type]


@pytest.fixture(autouse=True)
def only_the_level(monkeypatch):
    """Photo quality and drawing have tests of their own."""
    monkeypatch.setattr("vision.volume.decide.quality_flags", lambda *_: ())
    monkeypatch.setattr("vision.volume.decide.graduation_annotations", lambda *_: [])
    monkeypatch.setattr("vision.volume.combine.level_annotations", lambda *_: ())


def half(reading) -> float:
    return 0.5 * (reading.interval[1] - reading.interval[0])


def test_one_photo_is_read_as_ever():
    one = combine([said(40.0)])
    assert one.photos == () and one.agreement is None and one.status == "read"


def test_no_photo_is_refused():
    with pytest.raises(InputError):
        combine([])


def test_independent_photos_weigh_as_jcgm_100_says():
    # What equation (13) of JCGM 100:2008, 5.2.2, says of a mean of correlated inputs, by drawing
    # them: of each photo's variance a share is common to all, the rest is its own.
    photos = [said(40.0 + d, elevation_deg=e) for d, e in ((-0.1, -20), (0.0, 0), (0.1, 20))]
    reading = combine(photos)
    assert reading.value == pytest.approx(40.0 * PER_MM, abs=0.02)
    level = photos[1].level
    s = math.hypot(0.25, level.sd_mm(shared=False))
    common = level.sd_mm(shared=True)
    rng, n = np.random.default_rng(13), 200_000
    mean = s * (math.sqrt(COMMON_SHARE) * rng.normal(size=n) + math.sqrt(
        1 - COMMON_SHARE) * rng.normal(size=(3, n)).mean(axis=0)) + common * rng.normal(size=n)
    u = float(mean.std()) * PER_MM
    assert half(reading) == pytest.approx(1.96 * u, rel=0.08)


def test_the_same_place_again_tells_nothing_new():
    apart = combine([said(40.0, name="a"), said(40.0, elevation_deg=15, name="b")])
    beside = combine([said(40.0, name="a"), said(40.0, elevation_deg=0.2, name="b")])
    alone = combine([said(40.0)])
    assert half(apart) < 0.85 * half(alone)
    assert half(beside) > 0.95 * half(alone)


def test_one_photo_given_twice_counts_once():
    one = said(40.0)
    assert half(combine([one, one])) == pytest.approx(half(combine([one])), rel=0.02)


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1), (1, 2, 0)])
def test_the_order_does_not_matter(order):
    photos = [said(40.0, 0.2, 3), said(40.3, 0.4, -18), said(39.8, 0.3, 22)]
    first, again = combine(photos), combine([photos[k] for k in order])
    assert again.value == first.value and again.interval == first.interval
    assert [p.value for p in again.photos] == [first.photos[k].value for k in order]


@pytest.mark.parametrize("divisions", [2.0, -2.0, 4.0])
@pytest.mark.parametrize("which", [0, 1, 2])
def test_a_photo_of_another_level_is_named(which, divisions):
    photos = [said(40.0, 0.25, e) for e in (-12, 2, 14)]
    photos[which] = said(40.0 + divisions * DIVISION_MM, 0.25, 5)
    reading = combine(photos)
    assert reading.status == "refused" and reading.value is None and reading.interval is None
    assert reading.flags == ("photos-disagree",)
    assert reading.agreement.odd == which and reading.agreement.p_value < DISAGREE_P
    assert f"Photo {which + 1} shows another level" in reading.reasons[0]


def test_two_photos_of_two_levels_name_neither():
    reading = combine([said(40.0, elevation_deg=-8), said(40.0 + 2.2 * DIVISION_MM)])
    assert reading.flags == ("photos-disagree",) and reading.agreement.odd is None
    assert reading.agreement.degrees_of_freedom == 1


def test_the_statistic_of_normal_laws_is_chi_squared():
    # For normal laws twice the log of the ratio is sum((m_i - mean)^2 / s_i^2), weighted mean:
    # J. R. Taylor, An Introduction to Error Analysis (1997), chapter 7, from memory.
    photos = [said(40.0, 0.3, -10), said(40.6, 0.3, 10)]
    s = [math.sqrt(0.3**2 + p.level.sd_mm(shared=False)**2 + (0.25 * DIVISION_MM) ** 2)
         for p in photos]
    mean = sum(m / v**2 for m, v in zip((40.0, 40.6), s, strict=True)) / sum(v**-2 for v in s)
    chi2 = sum((m - mean) ** 2 / v**2 for m, v in zip((40.0, 40.6), s, strict=True))
    assert combine(photos).agreement.statistic == pytest.approx(chi2, rel=0.05, abs=0.03)


def test_a_second_photo_settles_which_of_two_edges_it_is():
    open_one = said(40.0, 0.12, 24, second=(40.0 + 2 * DIVISION_MM, 0.49))
    assert combine([open_one]).status == "refused"
    reading = combine([open_one, said(40.0 + 2 * DIVISION_MM, 0.3, 2)])
    assert reading.status == "read"
    assert reading.value == pytest.approx((40.0 + 2 * DIVISION_MM) * PER_MM, abs=0.15)
    alone = combine([said(40.0 + 2 * DIVISION_MM, 0.3, 2)])
    assert half(reading) >= 0.99 * half(alone), "what was refused alone makes none surer"


def unsettled(e: PhotoEvidence) -> PhotoEvidence:
    """The same photo, its row of marks numbered in several ways."""
    evidence = SimpleNamespace(
        shifts=np.array([-5, 0, 5]), log_likelihood=np.array([-0.5, 0.0, -1.0]),
        step_mm=1 / PER_MM, margin=lambda _: 0.5)
    fit = SimpleNamespace(**{**vars(e.fit), "evidence": evidence})
    return replace(e, numbering=Ambiguous(fit, None, ("numbering-unsettled",), "number"))


@pytest.mark.parametrize("shift", [0, 5, -5])
def test_a_photo_of_unsettled_numbering_takes_the_one_that_the_others_prove(shift):
    wide, sharp = said(40.0, 0.5, 3), unsettled(said(40.0 - shift * DIVISION_MM, 0.1, 18))
    reading = combine([wide, sharp])
    assert reading.status == "read" and reading.agreement.degrees_of_freedom == 1
    assert reading.value == pytest.approx(40.0 * PER_MM, abs=0.2)
    assert [p.status for p in reading.photos] == ["read", "refused"]


def test_a_row_that_fits_no_numbering_says_nothing_against_the_others():
    alone = said(40.0, 0.3, 3)
    reading = combine([alone, unsettled(said(40.0 + 2.5 * DIVISION_MM, 0.1, 18))])
    assert reading.status == "read" and reading.value == combine([alone]).value


def test_photos_far_apart_in_time_are_questioned():
    near = combine([said(40.0, taken_min=10.0), said(40.1, elevation_deg=9, taken_min=14.0)])
    far = combine([said(40.0, taken_min=10.0), said(40.1, elevation_deg=9, taken_min=17.0)])
    assert "photos-apart-in-time" not in near.flags and near.status == "read"
    assert "photos-apart-in-time" in far.flags and far.status == "read"
    assert any("7 minutes" in r for r in far.reasons)


def test_the_printed_object_keeps_the_contract():
    found = combine([said(40.0, name="a.jpg"), said(40.1, elevation_deg=9, name="b.jpg")]).as_json()
    assert [p["file"] for p in found["photos"]] == ["a.jpg", "b.jpg"]
    assert set(found["photos"][0]) == {"file", "status", "value", "interval", "elevation_deg",
                                       "flags", "reasons"}
    assert set(found["agreement"]) == {"statistic", "degrees_of_freedom", "p_value"}
    assert "photos" not in combine([said(40.0)]).as_json()


def test_a_place_that_a_photo_hardly_believes_in_does_not_speak_against_the_others():
    """Far off where the others agree, by itself refused: the surface does not stand out."""
    pair = [said(40.0), said(40.1, elevation_deg=10.0)]
    lost = said(55.0, elevation_deg=20.0, belief=0.01)
    both, all_three = combine(pair), combine([*pair, lost])
    assert all_three.photos[2].status == "refused"
    assert all_three.status == "read"
    assert all_three.value == pytest.approx(both.value, abs=0.02)
    assert half(all_three) > 0.98 * half(both)  # nor does it make them surer
    sure = said(55.0, elevation_deg=20.0)
    assert combine([*pair, sure]).flags == ("photos-disagree",)


def test_a_place_refused_for_what_it_looks_like_still_speaks_where_it_is_believed_in():
    """Most such places are surfaces, and one that shows another level may have been moved."""
    pair = [said(40.0), said(40.1, elevation_deg=10.0)]
    far = said(55.0, elevation_deg=20.0)
    ring = replace(far, meniscus=replace(far.meniscus, ring=True))
    found = combine([*pair, ring])
    assert found.photos[2].reading.flags == ("surface-not-found",)
    assert found.flags == ("photos-disagree",) and found.agreement.odd == 2


def test_dark_photos_that_can_be_read_alone_can_be_read_together():
    """What their own terms add to the interval is no chance of another level."""
    photos = [said(40.0, 0.5 * DIVISION_MM, e) for e in (0.0, 1.0, 5.0)]
    dark = [replace(p, level=replace(p.level, terms=tuple(
        replace(t, sd_mm=0.8) if t.name.startswith("pictures unlike") else t
        for t in p.level.terms))) for p in photos]
    assert [combine([p]).status for p in dark] == ["read"] * 3
    together = combine(dark)
    assert together.status == "read" and half(together) > half(combine(photos))
