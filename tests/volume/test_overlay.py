"""The picture for the person: its size, what is drawn where, and what is not."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.imaging.photo import load_photo, photo_from_array
from vision.reading import Annotation, VolumeReading
from vision.scale_file.scale import load_scale
from vision.volume import decide
from vision.volume.overlay import chamber_box, draw_overlay
from vision.volume.read import read_volume

GREY = 128


def photo(width: int = 300, height: int = 400, scale: int = 1):
    return photo_from_array(np.full((height, width, 3), GREY, np.uint8), working_scale=scale)


def level(y: float, x0: float = 100.0, x1: float = 200.0) -> np.ndarray:
    return np.array([[x0, y], [(x0 + x1) / 2, y], [x1, y]])


def annotations() -> tuple[Annotation, ...]:
    return (
        *(Annotation("mark-short", level(y, 120, 160)) for y in (120, 140, 180, 200)),
        Annotation("mark-long", level(160.0), "20"),
        Annotation("mark-hidden", level(220.0, 120, 160)),
        Annotation("rim-front", level(240.0), "edge of the liquid"),
        Annotation("interval", np.vstack([level(244.0), level(256.0)[::-1]])),
        Annotation("reading", level(250.0), "17.5"),
    )


def reading(status: str = "read", *, of: tuple[Annotation, ...] | None = None) -> VolumeReading:
    read = status == "read"
    return VolumeReading(
        status=status, unit="mL", division=1.0, scale="quay-60",  # type: ignore[arg-type]
        value=17.5 if read else None, interval=(17.1, 17.9) if read else None,
        annotations=annotations() if of is None else of)


def changed(picture: np.ndarray) -> np.ndarray:
    return (picture.astype(int) - GREY).__abs__().max(axis=2) > 12


class TestSize:
    @settings(max_examples=20, deadline=None)
    @given(width=st.integers(60, 700), height=st.integers(60, 700), tall=st.integers(200, 900))
    def test_whole_photo(self, width, height, tall):
        picture = draw_overlay(photo(width, height), reading("refused", of=()), crop=False,
                               tall_px=tall)
        assert picture.dtype == np.uint8 and picture.ndim == 3 and picture.shape[2] == 3
        h, w = picture.shape[:2]
        assert h == pytest.approx(min(tall, 2400 * height / width), abs=1)
        # either side loses less than a pixel to whole pixels
        assert w == pytest.approx(h * width / height, abs=1 + width / height)

    @pytest.mark.parametrize("width", [300, 420, 640, 900])
    def test_the_words_below_are_not_cut_off(self, width):
        picture = draw_overlay(photo(width, 900), reading(of=()), crop=False, tall_px=1400)
        below = picture[-40:]
        assert (below[:, 10:-10].max(axis=2) > 200).any(), "there are words"
        assert not (below[:, -6:].max(axis=2) > 200).any(), "and they end within the picture"

    def test_crop_keeps_all_that_was_found(self):
        big = photo(900, 1200)
        x0, y0, x1, y1 = chamber_box(big, reading())
        assert 0 <= x0 < 100 and 0 <= y0 < 120 and 200 < x1 <= 900 and 256 < y1 <= 1200
        picture = draw_overlay(big, reading(), tall_px=700)
        assert picture.shape[0] == 700
        assert picture.shape[1] / 700 == pytest.approx((x1 - x0) / (y1 - y0), rel=0.02)

    def test_nothing_found_shows_the_whole_photo(self):
        assert chamber_box(photo(), reading("refused", of=())) == (0, 0, 300, 400)
        nowhere = (Annotation("reading", np.full((3, 2), np.nan)),)
        assert chamber_box(photo(), reading("refused", of=nowhere)) == (0, 0, 300, 400)


class TestDrawn:
    def test_marks_lie_where_they_were_found(self):
        picture = draw_overlay(photo(), reading(), crop=False, tall_px=800)  # twice as large
        on = changed(picture)
        for y in (120, 140, 160, 180, 200):
            rows = on[2 * y - 3:2 * y + 5, 250:310]
            assert rows.any(axis=0).mean() > 0.9, f"mark at {y}"
        assert not on[2 * 128:2 * 132, 250:310].any()
        assert not on[2 * 148:2 * 152, 250:310].any()

    def test_half_size_working_picture_gives_the_same_places(self):
        full = changed(draw_overlay(photo(), reading(), crop=False, tall_px=800))
        half = changed(draw_overlay(photo(scale=2), reading(), crop=False, tall_px=800))
        rows = [np.flatnonzero(on[200:420, 260:300].mean(axis=1) > 0.5) for on in (full, half)]
        assert len(rows[0]) and rows[0].mean() == pytest.approx(rows[1].mean(), abs=2)

    def test_interval_is_veiled_only_when_there_is_a_value(self):
        veil = (Annotation("interval", np.vstack([level(244.0), level(356.0)[::-1]])),)
        seen = draw_overlay(photo(), reading(of=veil), crop=False, tall_px=400)
        none = draw_overlay(photo(), reading("refused", of=veil), crop=False, tall_px=400)
        assert changed(seen)[300, 150] and not changed(none)[300, 150]

    @pytest.mark.parametrize("status", ["read", "refused", "above-scale", "below-scale"])
    def test_a_banner_says_what_the_machine_says(self, status):
        picture = draw_overlay(photo(), reading(status), crop=False, tall_px=800)
        banner = picture[-16:]
        assert (banner.reshape(-1, 3).max(axis=1) < 60).mean() > 0.5  # dark plate
        assert (banner.reshape(-1, 3).min(axis=1) > 200).any()  # light words

    def test_a_refusal_shows_no_value(self):
        line = (Annotation("reading", level(250.0), "17.5"),)
        read = draw_overlay(photo(), reading(of=line), crop=False, tall_px=800)
        refused = draw_overlay(photo(), reading("refused", of=line), crop=False, tall_px=800)
        # the plate with the value stands at the left of its line
        assert changed(read)[490:512, 6:60].mean() > 0.5
        assert not changed(refused)[490:512, 6:60].any()

    @pytest.mark.parametrize("points", [
        np.full((3, 2), np.nan), np.zeros((0, 2)), np.array([[1.0, 1.0]]),
        level(9000.0), level(-500.0, -3000, 8000)],
        ids=["nan", "empty", "one-point", "far-below", "far-out"])
    def test_odd_lines_do_no_harm(self, points):
        odd = (*annotations(), Annotation("mark-long", points, "5"),
               Annotation("candidate", points))
        picture = draw_overlay(photo(), reading(of=odd), tall_px=500)
        assert picture.shape[0] >= 2 and picture.dtype == np.uint8

    def test_the_same_every_time_and_the_photo_untouched(self):
        p = photo()
        first, second = (draw_overlay(p, reading(), tall_px=500) for _ in range(2))
        assert (first == second).all() and (p.rgb == GREY).all()


@pytest.mark.slow
def test_no_reading_line_is_drawn_where_nothing_was_read(monkeypatch):
    """A line beside "no liquid surface was found" would be taken for the reading."""
    def refuse(evidence):  # type: ignore[no-untyped-def]
        return decide.Refusal("surface-not-found", lambda e: True)

    sample = Path(__file__).parents[2] / "sample_images"
    label = next(x for x in map(json.loads, (sample / "labels.jsonl").read_text().splitlines())
                 if x.get("tier") == "easy" and x.get("expect") == "read")
    scene, scale = load_photo(sample / label["file"]), load_scale(Path(label["scale"]).stem)
    read = read_volume(scene, scale)
    monkeypatch.setattr(decide, "refusal_of", refuse)
    refused = read_volume(scene, scale)
    assert read.status == "read" and refused.status == "refused"
    assert {"reading", "interval"} <= {a.role for a in read.annotations}
    assert not {"reading", "interval"} & {a.role for a in refused.annotations}
    assert draw_overlay(scene, refused).shape[2] == 3


def test_a_unit_stands_there_as_people_write_it():
    """Not by its code: a panel says cmH2O, and "cm[H2O]" is read as two units."""
    code, words = (draw_overlay(photo(), replace(reading(), unit=unit), crop=False, tall_px=800)
                   for unit in ("cm[H2O]", "cmH2O"))
    other = draw_overlay(photo(), replace(reading(), unit="mmHg"), crop=False, tall_px=800)
    assert np.array_equal(code, words) and not np.array_equal(code, other)
