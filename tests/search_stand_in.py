"""A stand-in for the search for places of the surface: what no test of it changes."""

from __future__ import annotations

from vision.meniscus_image.candidates import LevelMode
from vision.meniscus_image.features import BIN_CENTRES_MM


class StandIn:
    """No picture, one bore, nothing beside a place that speaks against it."""

    whole = grid = None

    def bore(self, height_mm):
        return 12.0, 1.6

    def wall_shift_mm(self, height_mm):
        return 0.0

    def mode(self, place, weight):
        return LevelMode(weight, place.height_mm - BIN_CENTRES_MM, place.look.probability)

    def rival_line(self, place):
        return None

    def other_side_nats(self, places):
        return 0.0

    def plainer_place(self, places, odds):
        return None
