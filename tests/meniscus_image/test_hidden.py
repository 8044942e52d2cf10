"""A dark liquid seen level hides its meniscus; the interval is as wide as the wetting allows."""

from __future__ import annotations

import numpy as np
import pytest

from vision import read_volume
from vision.imaging.photo import photo_from_array
from vision.meniscus_image.features import (
    BIN_CENTRES_MM,
    FLAT_CHANCE,
    FLAT_RISE_MM,
    HIDDEN_WITHIN_DEG,
    is_hidden,
    maybe_flat,
    swallows_a_colour,
)
from vision.meniscus_image.misread_risk import HIDDEN_CHANCE, LARGEST_CHANCE, largest_chance
from vision.synthetic.chamber.render import render_scene
from vision.synthetic.chamber.sample import sample_scene

AIR, RED, PINK = (210, 205, 200), (190, 30, 40), (200, 140, 150)


def window(above: tuple[int, int, int], below: tuple[int, int, int]) -> np.ndarray:
    """A close view with air above and liquid below, and print over a third of the width."""
    rgb = np.empty((160, 48, 3), np.float32)
    rgb[:80], rgb[80:] = above, below
    rgb[::6, :16] = 10
    return rgb


def test_only_a_liquid_that_swallows_a_colour_hides_and_only_seen_level() -> None:
    assert is_hidden(window(AIR, RED), 1.0)
    assert is_hidden(window(AIR, RED), -HIDDEN_WITHIN_DEG)
    assert not is_hidden(window(AIR, RED), HIDDEN_WITHIN_DEG + 0.1)
    assert not is_hidden(window(AIR, PINK), 0.0)
    assert not is_hidden(window(RED, RED), 0.0)
    assert swallows_a_colour(window(AIR, RED)) and not swallows_a_colour(window(AIR, PINK))


def test_a_shadow_behind_the_air_does_not_hide_that_a_colour_is_swallowed() -> None:
    """Above the liquid the dark wall is as dark as the liquid's green and blue."""
    shadow, red = (57, 55, 55), (84, 27, 28)
    assert swallows_a_colour(window(shadow, red)) and is_hidden(window(shadow, red), -2.7)
    grey = (20, 20, 20), (60, 62, 58)  # a lighter background behind the liquid swallows nothing
    assert not swallows_a_colour(window(*grey))
    assert not swallows_a_colour(window((120, 118, 117), (60, 59, 58)))  # shadow below: no dye


def test_where_nothing_shows_the_wall_may_be_dry_whatever_the_network_says() -> None:
    sure = np.exp(-0.5 * ((BIN_CENTRES_MM - 2.5) / 0.3) ** 2)
    sure /= sure.sum()
    p = maybe_flat(sure)
    assert p.sum() == pytest.approx(1.0)
    flat = (BIN_CENTRES_MM >= 0.0) & (BIN_CENTRES_MM <= FLAT_RISE_MM)
    assert p[flat].sum() == pytest.approx(FLAT_CHANCE, abs=1e-3)
    # the central 95 % reach the line, and what was likeliest stays so
    assert np.interp(0.025, np.cumsum(p), BIN_CENTRES_MM) < 0.5
    assert p.argmax() == sure.argmax()
    assert HIDDEN_CHANCE < FLAT_CHANCE


def test_less_chance_of_a_misreading_is_taken_where_nothing_shows() -> None:
    assert largest_chance(0.0, 1.5, hidden=True) == HIDDEN_CHANCE < LARGEST_CHANCE
    assert largest_chance(20.0, 7.0, hidden=True) == largest_chance(20.0, 7.0)


@pytest.mark.slow
def test_a_dark_liquid_on_a_dry_wall_seen_level_is_held_by_the_interval() -> None:
    # taught on such views with wetter walls, the networks alone were sure of another rise
    rng = np.random.default_rng([99, 12])
    scene = sample_scene(rng, "easy", width=750, height=1000, fluid="red",
                         contact_angle_deg=float(rng.uniform(22, 90)))
    assert scene.contact_angle_deg > 80 and abs(scene.camera.elevation_deg) < 5
    reading = read_volume(photo_from_array(render_scene(scene), scene.camera.f35), scene.scale)
    assert reading.status == "read" and reading.interval is not None
    assert reading.interval[0] <= scene.true_value <= reading.interval[1]
    assert np.ptp(reading.interval) > 0.8 * reading.division
