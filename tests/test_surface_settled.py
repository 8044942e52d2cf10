"""Competing places of the surface, weighed by the lines that the unrolled wall shows."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from vision import surface
from vision.contact_line import ContactLine
from vision.surface import Candidate, _settled

LADDER = SimpleNamespace(pose=None, scale=None, core_rad=(0, 0), long_rad=(0, 0))


@pytest.fixture
def lines(monkeypatch):
    """What the search for a line finds from each place: {place: (height, contrast)}."""
    found: dict[float, tuple[float, float]] = {}

    def search(rgb, pose, scale, core, long, about_mm, reach_mm, px_per_mm):
        if about_mm not in found:
            return None
        height, contrast = found[about_mm]
        return ContactLine(height, 0.0, contrast + 1.0, contrast, 0.05)

    monkeypatch.setattr(surface, "find_contact_line", search)
    return found


def settle(*candidates: tuple[float, float]) -> list[Candidate]:
    return _settled([Candidate(*c) for c in candidates], None, LADDER, 10.0)


def test_places_on_one_line_are_one_surface(lines):
    lines.update({30.9: (30.1, 3.9), 29.2: (30.0, 3.6)})
    (only,) = settle((30.9, 0.6), (29.2, 0.4))
    assert only.belief == pytest.approx(1.0) and only.height_mm == pytest.approx(30.1)


def test_a_clear_line_gains_on_a_faint_one_and_belief_is_kept(lines):
    lines.update({20.0: (20.1, 4.0), 26.0: (26.0, 0.6)})
    first, second = settle((20.0, 0.7), (26.0, 0.25))
    assert first.height_mm == pytest.approx(20.1) and first.belief > surface.SURE_BELIEF
    assert first.belief + second.belief == pytest.approx(0.95)


def test_two_clear_lines_stay_two(lines):
    lines.update({20.0: (20.1, 3.0), 23.0: (23.1, 3.1)})
    first, second = settle((20.0, 0.5), (23.0, 0.5))
    assert first.belief < surface.SURE_BELIEF and second.belief > 0.3


def test_no_line_at_all_changes_nothing(lines):
    first, second = settle((20.0, 0.7), (23.0, 0.3))
    assert (first.height_mm, first.belief) == pytest.approx((20.0, 0.7))
    assert (second.height_mm, second.belief) == pytest.approx((23.0, 0.3))
