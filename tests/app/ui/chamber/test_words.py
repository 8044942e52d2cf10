"""A reading in words."""

import pytest

from app.ui.chamber import words
from vision.flags import FLAGS
from vision.reading import VolumeReading


def reading(**changes):
    fields = {"status": "read", "unit": "mL", "division": 1.0, "scale": "quay-60", "value": 23.4,
              "interval": (22.9, 23.9), "naive_value": 24.6, "elevation_deg": 12.1,
              "elevation_sd_deg": 1.04}
    return VolumeReading(**{**fields, **changes})


def test_every_flag_has_its_sentence_for_the_page():
    for name in FLAGS:
        (sentence,) = words.flag_points(reading(flags=(name,)))
        assert sentence.startswith(FLAGS[name].short + ".")
        assert sentence.endswith(".")


def test_every_status_without_a_value_has_its_own_head():
    heads = {words.HEAD[s] for s in ("refused", "below-scale", "above-scale")}
    assert len(heads) == 3


def test_nothing_is_said_twice():
    points = words.reasons_and_advice(reading(
        flags=("blurred", "blurred"), reasons=("Too soft to read.", "Too soft to read.")))
    assert len(points) == 2 and points[0] == "Too soft to read."


def test_what_is_wrong_with_the_photo_itself_is_said_first():
    refused = reading(status="refused", value=None, flags=("no-chamber", "blurred"),
                      reasons=("No chamber here.", "Too soft to read."))
    assert words.reasons_and_advice(refused)[0] == "Too soft to read."


def test_that_a_photo_lies_on_its_side_goes_before_all_else():
    refused = reading(status="refused", value=None, flags=("on-its-side", "blurred"),
                      reasons=("Turned on its side.", "Too soft to read."))
    assert words.reasons_and_advice(refused)[0] == "Turned on its side."


def test_the_interval_names_its_coverage():
    assert words.interval_text(reading()) == "95 % interval: 22.9 to 23.9 mL"
    assert words.interval_text(reading(interval=None)) == ""


@pytest.mark.parametrize(("angle", "words_used"), [
    (12.1, "12\u00b0 above"), (-8.0, "8\u00b0 below"), (0.4, "from the height of the surface")])
def test_the_side_the_camera_looked_from_is_named(angle, words_used):
    assert words_used in words.sight_text(reading(elevation_deg=angle))


def test_edges_that_compete_are_named_with_their_values():
    torn = reading(status="refused", value=None, flags=("competing-surfaces",),
                   candidates=(25.1, 23.4))
    assert words.candidates_text(torn) == "Edges that could be the surface stand at 23.4 and " \
        "25.1 mL."
    assert words.candidates_text(reading(candidates=(25.1, 23.4))) == ""
