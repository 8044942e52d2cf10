"""The best alignments over a few looks at one picture, painted apart from the reader."""

from __future__ import annotations

import numpy as np
import pytest
from drawn_ladders import STEPPED, camera_towards, paint_tube, paper, printed, stroke

from vision.graduations import alignment
from vision.graduations import search as module
from vision.graduations.search import Effort, Seen, search
from vision.imaging.work import Work
from vision.scale_file.scale import load_scale, parse_scale

QUAY = load_scale("quay-60")


@pytest.fixture(scope="module")
def tube() -> np.ndarray:
    size = (360, 540)
    camera = camera_towards(6.0, 130.0, (0, 0, 42.0), roll_deg=2.0, aim_deg=(0.5, 1.0),
                            focal_px=600.0, size=size)
    return np.asarray(paint_tube(camera, size, QUAY.outer_radius_mm, printed(QUAY)))


@pytest.fixture
def looks(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The stroke widths for which the picture is looked through, one by one."""
    done: list[float] = []
    find = module.find_strokes

    def noted(grey, sigma_px, **more):  # type: ignore[no-untyped-def]
        done.append(sigma_px)
        return find(grey, sigma_px, **more)

    monkeypatch.setattr(module, "find_strokes", noted)
    return done


def test_what_was_seen_is_not_sought_again_and_nothing_changes(tube, looks) -> None:
    alone = search(tube, QUAY, None)
    first = len(looks)
    seen: Seen = {}
    once, again = (search(tube, QUAY, None, None, seen) for _ in range(2))
    assert alone and len(looks) == 2 * first, "looked for itself and into ``seen``, then no more"
    for other in (once, again):
        assert [f.factor for f in other] == [f.factor for f in alone]
        assert [f.alignment.score for f in other] == [f.alignment.score for f in alone]
        assert all(np.array_equal(a.alignment.mark, b.alignment.mark)
                   for a, b in zip(other, alone, strict=True))


def test_another_question_uses_what_was_seen(tube, looks) -> None:
    """A point told later, and another scale, ask the same picture."""
    seen: Seen = {}
    search(tube, QUAY, None, None, seen)
    search(tube, load_scale("heron-100"), None, None, seen)
    known = len(looks)
    told = search(tube, QUAY, (180.0, 270.0), (30.0, (180.0, 270.0)), seen)
    assert len(looks) == known
    fresh = search(tube, QUAY, (180.0, 270.0), (30.0, (180.0, 270.0)))
    assert [f.alignment.score for f in told] == [f.alignment.score for f in fresh]


def test_an_empty_picture_is_seen_to_be_empty(looks) -> None:
    seen: Seen = {}
    assert search(paper(240, 320), QUAY, None, None, seen) == []
    assert search(paper(240, 320), QUAY, None, None, seen) == []
    assert len(looks) == len(seen)


def test_a_picture_full_of_strokes_is_given_up_after_so_many_rows(monkeypatch):
    """A blind behind no chamber at all: its slats can be laid against a stepped tube's marks in
    hundreds of ways, each from sixteen elevations."""
    scale = parse_scale(STEPPED)
    rng = np.random.default_rng(2)
    picture = np.full((600, 500), 200.0, np.float32)
    for x in range(20, 480, 60):
        for y in np.cumsum(rng.uniform(7.0, 13.0, 60)):
            picture[int(y):int(y) + 2, x:x + int(rng.integers(18, 40))] = 60.0
    grown: list[int] = []
    grow = alignment.grow

    def counted(row, scale, height_mm, pairings):
        grown.append(height_mm.shape[0] * height_mm.shape[1])
        return grow(row, scale, height_mm, pairings)

    monkeypatch.setattr(alignment, "grow", counted)
    allowed = 160
    search(picture, scale, None, work=Work(3 * allowed))
    assert sum(grown) > 2 * allowed  # or the bound below would say nothing
    grown.clear()
    search(picture, scale, None, work=Work(allowed))
    assert 0 < sum(grown) <= allowed


@pytest.mark.parametrize("coarse", [1, 2, 3])
def test_each_effort_tries_what_it_says(coarse: int) -> None:
    """LARGE and COARSE leave out what is finer than the first look, FINE tries nothing else."""
    every, rescue = module._plans(coarse, Effort.THOROUGH)
    for effort in (Effort.LARGE, Effort.COARSE, Effort.FIRST):
        plans, more = module._plans(coarse, effort)
        assert set(plans) <= set(every) and plans[0] == every[0]
        assert more == (rescue if effort is Effort.LARGE else [])
        if effort is not Effort.FIRST:
            assert {size for size, *_ in plans} == {coarse}
            assert all(plan in plans for plan in every if plan[0] == coarse)
    assert {size for size, *_ in module._plans(coarse, Effort.FINE)[0]} == {1}
    assert module._plans(coarse, Effort.GLANCE) == (every[:1], [])
    assert all(plan[0] >= coarse for plan in rescue)


def test_less_effort_finds_plain_marks_in_the_same_place(tube) -> None:
    found = [search(tube, QUAY, None, effort=effort)[0].alignment for effort in Effort]
    for one in found[1:]:
        assert np.array_equal(one.mark, found[0].mark)
        assert one.map_abc == pytest.approx(found[0].map_abc, rel=1e-2, abs=1e-6)


def test_a_row_longer_than_the_scale_is_in_no_need_of_looks_for_grain(looks) -> None:
    """All marks of the scale lie on it in place: what is wrong with it is no grain."""
    picture = paper(height=1000)
    for k in range(90):
        stroke(picture, 100.0, 140.0, 20.0 + 10.6 * k)
    seen: Seen = {}
    found = search(picture, QUAY, None, seen=seen)
    assert len(found[0].alignment.mark) >= 0.95 * len(QUAY.marks)
    assert found[0].alignment.unmatched_marks > 20
    plans, rescue = module._plans(module._coarse(picture), Effort.THOROUGH)
    assert len(seen) > 3 and not (set(rescue) - set(plans)) & set(seen)
    # nor is anything of it plain enough for a glance
    assert search(picture, QUAY, None, seen=seen, effort=Effort.GLANCE) == []
    # what was seen spares the search for the longest row on any scale
    looks.clear()
    assert module.longest_row(picture, seen) == module.longest_row(picture) == 90
    assert len(looks) == 1


def test_a_row_nearly_known_is_found_alone_as_in_the_whole_picture() -> None:
    size, plan = (1500, 1100), (1, 1.5, 0, False)
    camera = camera_towards(6.0, 330.0, (0, 0, 42.0), roll_deg=2.0, aim_deg=(0.5, 1.0),
                            focal_px=1500.0, size=size)
    picture = np.asarray(paint_tube(camera, size, QUAY.outer_radius_mm, printed(QUAY)))
    known = module._search_once(*module._look(picture, 2, 1.0, 0, False), size[1] // 2, QUAY, 2,
                                None, None, 750.0, Work())
    assert known is not None
    alone = module._looked_at_alone(picture, known, plan, QUAY, 1500.0, Work())
    whole = module._search_once(*module._look(picture, *plan), size[1], QUAY, 1, None, None,
                                1500.0, Work())
    assert alone is not None and whole is not None
    assert np.array_equal(alone.alignment.mark, whole.alignment.mark)
    assert alone.alignment.map_abc == pytest.approx(whole.alignment.map_abc, rel=1e-6)
    assert alone.alignment.column == pytest.approx(whole.alignment.column, rel=1e-6)
    grain = np.random.default_rng(4).normal(0, 12, picture.shape).astype(np.float32)
    assert module._looked_at_alone(picture + grain, known, plan, QUAY, 1500.0, Work()) is None
