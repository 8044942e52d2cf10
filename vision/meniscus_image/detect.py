"""The liquid surface on the unrolled wall: where it is, and what else it could be.

Two looks have to agree (``vision.meniscus_image.candidates``): the row network, which knows the
whole chamber, and the offset network, which sees one place closely.  From the front contact line
there the offset network says how far below it the level lies (rise of the meniscus, lean), as
a probability.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.graduations.rings_wiped import without_rings
from vision.meniscus_image.candidates import (
    AWAY_MM,
    LevelMode,
    MeniscusCandidate,
    RowPeak,
    Search,
    posterior_weights,
)
from vision.meniscus_image.contact_line import ContactLine
from vision.meniscus_image.features import HIDDEN_COOLING
from vision.meniscus_image.misread_risk import (
    chance_of_misreading,
    largest_chance,
    least_moved_mm,
)
from vision.meniscus_image.networks import MOST_ODDS
from vision.meniscus_image.occlusion import not_of_the_room, occluded, room_share
from vision.meniscus_image.parting import Parting, parting_at
from vision.meniscus_image.printed_ring import is_outshone, is_printed_ring
from vision.meniscus_image.reflection import ends_there
from vision.parameters import (
    ABSENT,
    ALONE_ODDS,
    ARC_DEG,
    AS_BELIEVED,
    BESIDE_SHARE,
    BOTH_BELIEVE,
    BOTH_ODDS,
    HARDLY_ODDS,
    LEAST_BELIEVED,
    LEAST_LEVEL_ODDS,
    LEAST_ODDS,
    LEAST_PARTED_ODDS,
    NOTHING_UNEXPLAINED_LEVELS,
    PLAIN_PARTED_SHARE,
    PLAIN_PLACE,
    RING_ODDS,
    ROOM_ODDS,
    STRANGE_ODDS,
    SURE_PLACE,
    UNEXPLAINED_LEVELS,
    UNLIKE_ODDS,
    WORTH_SHOWING,
)
from vision.scale_file.scale import Scale

#: So many places are looked at closely.
_MOST_PLACES = 4


@dataclass(frozen=True)
class MeniscusPosterior:
    """The front contact line and the level that follows.

    Attributes
    ----------
    line
        The contact line on the outer wall; None where no edge could be followed.
    reference_mm, offset_mm, offset_probability
        The level lies ``offset_mm`` (N,) below the reference, each with its probability (N,).
    shift_mm
        The part of that offset which the wall's refraction makes.
    candidates, p_absent
        Places of the row network, likeliest first, and its probability of no surface in sight.
    occluded
        The line runs on past the chamber, or what it hides is seen again: of something else.
    contested
        Another line close beside may as well be the front edge.
    chosen_mm
        The height read where it is not the median.
    tail
        What the 95 % interval leaves out on either side, less where that would leave out what
        the choice was made for.
    modes
        All ways to understand the picture that were looked at, the one that is read among them;
        what their weights leave was not thought of.
    ring
        The line is a mark that runs round the tube.
    outshone
        The line lies on such a mark, and the surface may as well be where the tube plainly looks
        otherwise above than below.
    hidden
        The liquid is as dark as its meniscus.
    of_a_light
        The place is unlike a surface and the end of a light mirrored in the wall.
    at_step
        What looks most like a surface is at the rim of a step of the bore, or that rim.
    odds
        Of the place that is read, by the offset network: how like a front contact line it is.
    other_side_nats
        How much better, at the most, the surface is understood as one that is seen from the
        other side of its plane.
    doubted
        Seen closely, the place may as well be something else.
    of_the_room
        The place is unlike a surface and the room shows more there than the wall does; or it is
        rather like one, and the wall shows nothing but the room.
    parts_nothing
        The place is unlike a surface, and the tube looks below it as it does above.
    """

    line: ContactLine | None
    reference_mm: float
    offset_mm: np.ndarray
    offset_probability: np.ndarray
    shift_mm: float
    bore_radius_mm: float
    wall_mm: float
    candidates: tuple[RowPeak, ...]
    p_absent: float
    occluded: bool = False
    contested: bool = False
    chosen_mm: float | None = None
    tail: float = 0.025
    modes: tuple[LevelMode, ...] = ()
    ring: bool = False
    outshone: bool = False
    hidden: bool = False
    other_side_nats: float = 0.0
    doubted: bool = False
    of_the_room: bool = False
    parts_nothing: bool = False
    of_a_light: bool = False
    at_step: bool = False
    odds: float = MOST_ODDS

    @property
    def competing(self) -> bool:
        """Whether another place, or another line close by, may as well be the surface."""
        if not self.candidates or self.p_absent > ABSENT:
            return False
        if self.candidates[0].weight < SURE_PLACE:
            return any(c.weight > WORTH_SHOWING for c in self.candidates[1:])
        return self.contested or self.outshone

    @property
    def something_else(self) -> bool:
        """Whether what was found looks like something that is no surface."""
        return (self.ring or self.doubted or self.of_the_room or self.parts_nothing
                or self.of_a_light)

    @property
    def stands(self) -> bool:
        """Whether there is a place in which both networks believe and against which nothing
        speaks."""
        return (bool(self.candidates) and self.p_absent <= ABSENT
                and self.candidates[0].weight >= SURE_PLACE
                and not (self.competing or self.something_else or self.at_step or self.occluded))

    @property
    def level_mm(self) -> float:
        """Height that is read: the median, since the probability is skewed and half of it
        lies on either side, or what was chosen."""
        if self.chosen_mm is not None:
            return self.chosen_mm
        total = np.cumsum(self.offset_probability) - 0.5 * self.offset_probability
        return self.reference_mm - float(np.interp(0.5, total, self.offset_mm))

    @property
    def possible_mm(self) -> np.ndarray:
        """(N,) heights that the level may have; ``offset_probability`` is theirs."""
        return np.asarray(self.reference_mm - self.offset_mm)

    def chance_of_misreading(self, scale: Scale) -> float:
        """Chance that the level lies more than a division from what is read."""
        return float(chance_of_misreading(np.array([self.level_mm]), self.possible_mm,
                                          self.offset_probability, scale)[0])

    @property
    def meniscus_sd_mm(self) -> float:
        """Standard deviation of the offset."""
        mean = float(self.offset_mm @ self.offset_probability)
        return float(np.sqrt(max(self.offset_mm**2 @ self.offset_probability - mean**2, 0.0)))


def find_meniscus(rgb: np.ndarray, fit: GraduationFit, px_per_mm: float,
                  near_mm: float | None = None) -> MeniscusPosterior:
    """Look for the surface in ``rgb`` ((H, W, 3) uint8, the picture of the ladder).

    ``near_mm`` restricts the search to a height that a person has pointed at.

    Marks that run right round are level lines like the surface.  Such a tube is looked at as it is
    and without them, and where that shows no place that stands, without them alone: what is found
    so has to look much like a surface.
    """
    bare = without_rings(rgb, fit)
    if bare is None:
        return _found_in((rgb,), fit, px_per_mm, near_mm)
    found = _found_in((rgb, bare), fit, px_per_mm, near_mm)
    if found.stands:
        return found
    alone = _found_in((bare,), fit, px_per_mm, near_mm)
    return alone if alone.stands and alone.odds >= HARDLY_ODDS else found


def _found_in(pictures: Sequence[np.ndarray], fit: GraduationFit, px_per_mm: float,
              near_mm: float | None) -> MeniscusPosterior:
    """What is found in pictures of one tube that differ by what is printed on it; the first is
    asked what runs on beside the tube, and what is print."""
    rgb = pictures[0]
    search = Search(pictures, fit, px_per_mm)
    candidates, p_absent, p_rims = search.candidates(near_mm)
    if not candidates:
        empty = np.array([0.0])
        return MeniscusPosterior(None, search.middle_mm, empty, np.array([1.0]), 0.0, 1.0, 0.0,
                                 (), p_absent, at_step=p_rims > ABSENT)
    places = [search.measure(candidates[0])]
    weighed = posterior_weights(places, p_absent)
    # where the row network believes in another place as well, one look does not tell which it is
    if len(candidates) > 1 and (
            weighed[0][0] < PLAIN_PLACE or candidates[1].weight > WORTH_SHOWING):
        places += [search.measure(c) for c in candidates[1:_MOST_PLACES]]
        weighed = posterior_weights(places, p_absent)
        if search.at_back_rim(weighed[0][1].height_mm):
            # seen closely the rim of a step, under a clear liquid, looks like any surface
            weighed = posterior_weights(places, p_absent, by_look=False)
    best = weighed[0][1]
    centre = best.height_mm
    radius, wall = search.bore(centre)
    first, *others = (search.mode(place, weight) for weight, place in weighed)
    # a place that is not believed in is refused anyway, and a person's word settles it
    believed = near_mm is None and first.weight >= SURE_PLACE
    rival = search.rival_line(best) if believed else None
    if rival is not None:
        share = rival.look.odds / (rival.look.odds + best.look.odds)
        others.append(search.mode(rival, first.weight * share))
        first = replace(first, weight=first.weight * (1.0 - share))
    line_mm = centre if best.line is None else best.line.height_mm
    odds = best.look.odds
    unlike, strange = odds < UNLIKE_ODDS, odds < STRANGE_ODDS
    parting = parting_at(search.whole, search.grid, fit, line_mm) if unlike else None
    plain = parting is not None and parting.is_plain
    # where a person points, what the row network believes is no longer its own
    belief, untold = _belief_near(candidates, centre), near_mm is None
    both = untold and belief >= BOTH_BELIEVE and odds >= BOTH_ODDS
    alone = untold and belief < LEAST_BELIEVED and odds < ALONE_ODDS
    least = LEAST_ODDS if both or not _is_level(fit, line_mm) else LEAST_LEVEL_ODDS
    room = not both and odds < ROOM_ODDS and _of_the_room(rgb, fit, line_mm, odds, parting)
    found = MeniscusPosterior(
        best.line, centre, centre - first.level_mm, first.probability,
        search.wall_shift_mm(centre), radius, wall,
        tuple(RowPeak(place.height_mm, weight) for weight, place in weighed), p_absent,
        occluded(rgb, fit, centre), rival is not None, modes=(first, *others),
        ring=not both and odds < RING_ODDS and is_printed_ring(rgb, fit, line_mm),
        outshone=believed and is_outshone(rgb, fit, line_mm, (c.height_mm for c in candidates[1:])),
        hidden=best.look.hidden,
        odds=odds,
        other_side_nats=search.other_side_nats(places) if believed else 0.0,
        doubted=alone or odds < (LEAST_PARTED_ODDS if plain and not room else least),
        of_the_room=room,
        at_step=p_rims > ABSENT,
        parts_nothing=strange and parting is not None and parting.of_nothing,
        of_a_light=unlike and ends_there(
            rgb, fit, line_mm, px_per_mm, search.whole, search.grid))
    if unlike and first.weight >= SURE_PLACE and not found.something_else:  # tapped or not
        plainer = search.plainer_place(places, odds)
        if plainer is not None:
            share = plainer.look.odds / (plainer.look.odds + odds)
            found = _with(plainer, share, found, search)
        elif parting is not None and near_mm is None:
            found = _with(*_as_likely(search, candidates, best, parting), found, search)
    return _least_moved(_as_before_cooling(found) if found.hidden else found, fit)


def _as_likely(search: Search, peaks: list[RowPeak], best: MeniscusCandidate, parting: Parting
               ) -> tuple[MeniscusCandidate | None, float]:
    """A place of the row network that may as well be the surface as the one that is unlike it, and
    its share of the row network's belief in the two.

    It is one where the tube changes more than here, unless it plainly changes here, too, and that
    the offset network does not call something else: the edge of a film can be the plainer line,
    and what it parts is little.  Or one in which the row network believes about as much, and the
    tube does change, where the offset network hardly believes in this one: then the two networks
    do not say the same.
    """
    here = _belief_near(peaks, best.height_mm)
    for peak in peaks:
        if abs(peak.height_mm - best.height_mm) <= AWAY_MM:
            continue
        there = parting_at(search.whole, search.grid, search.fit, peak.height_mm)
        if there is None:
            continue
        more = not parting.is_plain and (
            there.share > parting.share and there.contrast > parting.contrast)
        differ = (best.look.odds < HARDLY_ODDS and peak.weight >= AS_BELIEVED * here
                  and not there.of_nothing)
        if not (more or differ):
            continue
        place = search.measure(peak)
        if differ or place.look.odds >= LEAST_ODDS:
            return place, peak.weight / (peak.weight + here)
    return None, 0.0


def _belief_near(peaks: Sequence[RowPeak], height_mm: float) -> float:
    """The row network's belief in a place, wherever within a window's reach it put it."""
    return sum(p.weight for p in peaks if abs(p.height_mm - height_mm) <= AWAY_MM)


def _with(other: MeniscusCandidate | None, share: float, found: MeniscusPosterior, search: Search
          ) -> MeniscusPosterior:
    """The same with another place that may be the surface, for that share of the belief."""
    if other is None:
        return found
    (first, *rest), belief = found.candidates, found.candidates[0].weight
    mode, *modes = found.modes
    return replace(
        found, candidates=(RowPeak(first.height_mm, belief * (1.0 - share)),
                           RowPeak(other.height_mm, belief * share), *rest),
        modes=(replace(mode, weight=mode.weight * (1.0 - share)),
               search.mode(other, mode.weight * share), *modes))


def _is_level(fit: GraduationFit, height_mm: float) -> bool:
    """Whether a place is seen so nearly level that a surface there is hardly an arc."""
    return abs(math.degrees(float(fit.pose.elevation_rad(height_mm)))) < ARC_DEG


def _of_the_room(rgb: np.ndarray, fit: GraduationFit, height_mm: float, odds: float,
                 parting: Parting | None) -> bool:
    """Whether a place of such odds may be a line of the room behind, seen through the tube: where
    it is rather like a surface, only if the room explains all that the wall shows."""
    if not _is_level(fit, height_mm) or room_share(rgb, fit, height_mm) <= BESIDE_SHARE:
        return False
    if odds >= STRANGE_ODDS:
        return not_of_the_room(rgb, fit, height_mm) < NOTHING_UNEXPLAINED_LEVELS
    plain = parting is not None and parting.share >= PLAIN_PARTED_SHARE
    return not (plain and not_of_the_room(rgb, fit, height_mm) > UNEXPLAINED_LEVELS)


def _as_before_cooling(meniscus: MeniscusPosterior) -> MeniscusPosterior:
    """The same, read where the networks would have it: a hidden meniscus makes the interval
    wider, and what they guess of it is still the best guess there is."""
    p = meniscus.offset_probability**HIDDEN_COOLING
    sharp = replace(meniscus, offset_probability=p / p.sum())
    return replace(meniscus, chosen_mm=sharp.level_mm)


def _least_moved(meniscus: MeniscusPosterior, fit: GraduationFit) -> MeniscusPosterior:
    """The same, read elsewhere where the median is too likely more than a division off."""
    elevation = math.degrees(float(fit.pose.elevation_rad(meniscus.level_mm)))
    limit = largest_chance(elevation, meniscus.wall_mm, meniscus.hidden)
    if meniscus.chance_of_misreading(fit.scale) <= limit:
        return meniscus
    between = least_moved_mm(meniscus.level_mm, meniscus.possible_mm, meniscus.offset_probability,
                             fit.scale, limit)
    moved = replace(meniscus, chosen_mm=between, tail=min(meniscus.tail, 0.5 * limit))
    return moved if moved.chance_of_misreading(fit.scale) < limit else meniscus
