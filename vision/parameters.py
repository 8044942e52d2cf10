"""Limits that decide what is read and what is refused: each once, with unit and source.

Where the source is "our choice", the limit was chosen on our own drawn scenes (seeds below
20270607, never on pictures made by others), and `python -m vision.accuracy.outcomes` shows
what a change of it does.
"""

from __future__ import annotations

import math

# ------------------------------------------------------------------ the row of graduations
#: Grey levels added to every background that a mark is compared with, so that grain in the dark is
#: not taken for ink.  Our choice.
DARKEST_LEVEL = 12.0
#: Misfit of the marks as a share of their distance (``GraduationFit.relative_residual``), from
#: strict to loose.  Our choice.  Up to the first no better row is looked for; up to the second
#: the count of marks may stand without legible numbers; up to the third it may if it leads
#: clearly; beyond the last the scale is another one.
CLEAR_RESIDUAL, COUNTED_RESIDUAL, LED_RESIDUAL, WRONG_SCALE_RESIDUAL = 0.03, 0.05, 0.1, 0.2
#: From this misfit on the marks were not understood, whatever numbers them: of 64 traced chambers
#: the elevation was off by 3 to 29 degrees in six of the nine with as much, and by less than 2 in
#: all others.
UNSOUND_RESIDUAL = 0.06
#: The same where the offset network finds the surface like those that it was taught at that
#: elevation: of 17 places refused for the former in 1,969 fresh pictures of three physics those
#: seven were off by 0.33 of a division at most, and all were inside their intervals.
UNSOUND_SEEN_RESIDUAL = 0.1
#: Standard uncertainty of the elevation (deg) that a misfit of more than the second above adds: of
#: 24 such readings in 3,300 pictures of three physics 21 intervals held the truth without it; the
#: elevation was off by 2.1 degrees (root mean square), by 0.8 where the misfit was 0.02 to 0.03.
MISFIT_DOUBT_DEG = 2.0
#: How light a row is on average, from 0, as dark as its marks, to 1, as light as beside them: marks
#: are narrower than their gaps.  Of 60 traced chambers the four in which the gaps had been taken
#: for the marks had 0.23 to 0.45, all others 0.52 or more; a blurred row comes near a half.
LEAST_LIGHTNESS = 0.45
#: Share of the marks that a clear row shows, and by how much less it may show once it is numbered
#: otherwise.  Our choice.
CLEAR_SEEN, CLEAR_LOST = 0.85, 0.05
#: Share of the marks that is seen, at least, of a row that is clear but for what hides the rest: a
#: part of a rule can be as even.  Our choice.
MOSTLY_SEEN = 0.7
#: Pixels between neighbouring marks: under the first the finer picture is worth its time,
#: under the second marks cannot be told apart (two samples a period and a blur of one pixel:
#: our choice near the sampling theorem's 2); from the third on they are still plain in a picture
#: of half the size (our choice).
FINE_PICTURE_PITCH_PX, LEAST_PITCH_PX, LARGE_PITCH_PX = 9.0, 3.2, 12.0
#: Blur (sigma) of the working picture, pixels, from which the full one shows no finer marks: what
#: such a blur leaves of them, at a distance of two and a half sigma, the working one shows as well.
NOTHING_FINER_PX = 2.0
#: So many ways to lay a row of strokes against the scale are followed in one picture (16 for each
#: pairing in a stepped tube, one for every elevation), about a millisecond each.  Our choice: of
#: 224 readings of three renderers one needed more, and it was wrong.
MOST_ROWS_TRIED = 3000
#: Nats by which a row in another colour of the picture has to explain it better.  Our choice.
BETTER_ROW_NATS = 6.0
#: An unbroken row of so many strokes is some scale, if not the chosen one.  Our choice.
SOME_SCALE_MARKS = 24

# ------------------------------------------------------------------ which mark has which value
#: Log-odds (nats) with which the count of marks counts beside numbers: 400 to 1.  Our choice.
COUNT_LOG_ODDS = 6.0
#: Log-odds with which the count of marks alone settles the numbering: two marks' worth, since one
#: that a highlight hides or grain pretends weighs 5.1; and more where the marks are less well in
#: place (rows found in grain lead by up to 11).  Our choice.
ALONE_LOG_ODDS, CLEAR_COUNT_LOG_ODDS = 10.2, 15.0
#: So near, in gaps between marks, numbers have to stand to a whole mark beside their own before the
#: numbering is moved, and then to their own.  Our choice: of 939 readings of three physics that
#: were read before this was asked six are moved, and all six were wrong, by 0.65 to 1.1 divisions.
A_MARK_BESIDE = 0.35
#: Rows whose marks lie nearer together than this, in gaps, have them numbered alike.  Our choice.
ONE_MARK = 0.4
#: How much of the two marks at either end has to be seen before all are counted to be there: grain
#: shows a quarter of a mark that is none.  Our choice: 26 of 27 rows that were counted rightly show
#: 0.6 and more there, one that was not 0.25.
END_MARK_SHOWN = 0.5
#: Log-odds by which the marks may speak for a place one or two marks beside that which the numbers
#: prove: a number can be read from the mark beside its own.  Three marks' worth; our choice.
BESIDE_LOG_ODDS = 15.0
#: Share of the marks that has to be seen, averaged over their width, before a row without
#: legible numbers is believed to be a scale: rows of chance in photographs without a chamber
#: show 0.30 to 0.43, scales of drawn scenes 0.69 and more.  Our choice between them.
BELIEVED_SHOWN = 0.45
#: Log-odds of a numbering by the marks below which no number makes up for it.  Our choice.
HOPELESS_LOG_ODDS = -50.0
#: Numbers that have to be legible, and the share of all marks that has to be seen, before an end
#: of the scale may be hidden altogether.  Our choice.
HIDDEN_END_LABELS, HIDDEN_END_SEEN = 3, 0.5
#: So many labels show that a scale is another one (our choice).
FEWEST_LABELS = 3
#: Log-odds of the printed numbers and of the count that settle a numbering together; where
#: no two labels can be read for sure, so much of both.  Our choice.
NUMERALS_LOG_ODDS, BOTH_LOG_ODDS = 5.0, 15.0
#: A scale with more marks beyond its ends than this is another one: two where they are counted,
#: and where the numbers agree as many as the rims of lid and collar may look like.  Our choice.
MOST_UNMATCHED_MARKS, MOST_RIMS = 2, 4
#: Beyond those, as a share of the scale's marks: a row so much longer is no scale in any look.  Our
#: choice.
FAR_LONGER = 0.25
#: Nor is it this one where more marks stand between its own beside such that are missing: of 62
#: drawn chambers read against a scale that prints the same numbers in its upper part 59 show more,
#: of 590 readings against the right one none.  Our choice.
MOST_STRAY_MARKS = 3
#: A row elsewhere that explains so much (share) of what the best one does may be another
#: chamber, and so many rows beside the chamber are looked at.  Our choice.
RIVAL_SHARE, MOST_ROWS_BESIDE = 0.55, 3

# ------------------------------------------------------------------ the surface
#: Probability of a place from which it is read, and from which no other is looked at closely.
SURE_PLACE, PLAIN_PLACE = 0.85, 0.98
#: Probability of a place from which it is worth being shown as another one.  Our choice.
WORTH_SHOWING = 0.05
#: Probability that no surface is in sight from which none is read.
ABSENT = 0.5
#: Azimuth (deg) that marks cover from which they may run round the tube; how near to one (mm, and
#: px where pixels are coarser) a line may be one; and how many times as unlike the marks above and
#: below as those are to each other it has to be to count as something else.  Our choice: in drawn
#: scenes half of the marks away from the surface are more alike than that, one surface in fifteen.
RING_DEG, ON_A_MARK_MM, ON_A_MARK_PX, LIKE_A_MARK = 60.0, 0.8, 1.5, 1.5
#: Azimuth (deg) from the front to which such marks have to reach on one side to be taken to run
#: right round (on the other a number may stand before them): their back is then seen through the
#: tube, and a line on one that can be compared with no others is a mark.  Of a tube some 66 show on
#: either side.  Our choice.
ALL_ROUND_DEG = 60.0
#: Odds below which the offset network would as soon have the place be something else: not read,
#: whatever the row network says.  Our choice: 5 of 590 readings, off by 0.34 on average.
LEAST_ODDS = 2.0
#: The same in a view less steep than ARC_DEG, where a surface is easily told, unless the place
#: plainly parts two fluids: an empty tube before a papered wall was read at odds of 9.  Our choice:
#: of 66 right readings of drawn pictures none is lost by it.
LEAST_LEVEL_ODDS = 20.0
#: The row network's own belief in a place, before the offset network is asked, and that one's odds,
#: from which the two are taken to say the same: no more is then asked of it for being level, before
#: a room that changes or on a mark that runs round.  Our choice: of 154 empty chambers and nine
#: places that were no surface none is believed in so at odds of more than 1.03, and of 37 surfaces
#: that were refused eight are read by it (docs/accuracy.md).
BOTH_BELIEVE, BOTH_ODDS = 0.95, 5.0
#: Belief below which a place is not read on the offset network's word alone, up to odds of the
#: second.  Our choice: of 149 surfaces that were read none is believed in by less than 0.66, and
#: of those empty chambers one would have been called over-full.
LEAST_BELIEVED, ALONE_ODDS = 0.5, 2_000.0
#: Odds of the offset network below which a place is unlike the taught ones, and the row network's
#: next choices are asked about.  Our choice, from 157 scenes of both physics (docs/accuracy.md).
UNLIKE_ODDS = 400.0
#: Odds below which it is so unlike them that it may be a line of the room, or may part nothing.
#: Our choice: of the places that were refused for this in 1,969 fresh pictures of three physics
#: those that were wrong had odds of 94 at most, and of 37 that were right eleven had more than 150.
STRANGE_ODDS = 150.0
#: There what runs on beside the chamber may change so many times as much as the wall does before it
#: is taken for what is seen through an empty tube, in views less steep than the second (deg): from
#: there on a surface is an arc, and a line of the room is none (our choice).
BESIDE_SHARE, ARC_DEG = 1.1, 12.0
#: It is not taken for that where the wall on both sides of the print changes its colour by so many
#: grey levels that the room beside does not explain, and the tube by such a share of its largest
#: change elsewhere.  Our choice: of 13 surfaces refused for a line of the room five are read by it,
#: and neither of two that were wrong.
UNEXPLAINED_LEVELS, PLAIN_PARTED_SHARE = 12.0, 0.5
#: Up to odds of the second a place is of the room where that changes more beside the chamber than
#: the wall does, and leaves so few grey levels of the wall's change unexplained: an empty tube
#: before a blind's slats was read so, at odds of 1,111.  Our choice: of 53 right readings of drawn
#: pictures one is like that, a clear liquid at odds of 23,000.
NOTHING_UNEXPLAINED_LEVELS, ROOM_ODDS = 3.0, 2_000.0
#: Odds from which a place elsewhere on the tube is asked about where they are better than those of
#: a place that is unlike a surface.  Our choice: three of 580 right readings were lost by it, then
#: one of 714.
PLAIN_ODDS = 100.0
#: Where the offset network's odds of a place are below the first, and the row network believes in
#: another one by at least this share as much, the person is asked which it is.  Our choice: of 82
#: readings of places unlike a surface none was lost by it that was right, of 1,170 fresh ones one
#: was wrong by 24 divisions.  What is read all the same says that it is unlike most: of 3,912
#: readings that did not call the meniscus uncertain 58 say so, three of nine wrong ones among them.
HARDLY_ODDS, AS_BELIEVED = 30.0, 0.5
#: Where a burnt-out light ends at a place that is unlike a surface (``UNLIKE_ODDS``) the rest of
#: the wall, if it is so much of the width, has to show there at least this share of the edges that
#: it shows elsewhere (their third quartile), or the place is the end of that light.  Our choice: of
#: 291 surfaces of two physics at which such a light ended none showed less than 0.52, and the one
#: reading that was wrong by eleven divisions, of odds 74, 0.13; asked at any odds it refused one of
#: 644 right readings, of odds 9,300.
LEAST_REST_COLUMNS, LEAST_SHOWN_BESIDE_GLARE = 0.25, 0.4
#: How much the tube changes, as a share of its brightness and of the largest change elsewhere in
#: a bore as wide: below both, at a place unlike the taught ones, the line parts nothing.  Our
#: choice, from 590 readings of three physics (docs/accuracy.md).
LEAST_PARTED, LEAST_PARTED_SHARE = 0.09, 0.2
#: The same from which it plainly parts two fluids.  That makes up for odds down to the third
#: where the room behind shows no such line.  Our choice: of 1,290 chambers of two physics six
#: surfaces refused for low odds are read by it, off by 0.5 of a division at most.
PLAINLY_PARTED, PLAINLY_PARTED_SHARE, LEAST_PARTED_ODDS = 0.2, 0.6, 0.1
#: Odds of a place on a mark that runs round the tube from which it is a surface that happens to
#: stand there.  Our choice: of fifteen places refused for such a mark in 1,334 fresh pictures of
#: two physics eleven were right, five of them with odds of 2,400 and more, and those that were
#: wrong had 59 at most.
RING_ODDS = 2_000.0
#: How far the edge stands above the lines around it (``ContactLine.contrast``), below which
#: it is too faint to be placed.  Our choice.
LEAST_CONTRAST = 0.3
#: Elevation (deg) from which the surface shows whether it is seen from above or from below, and
#: nats by which it may speak for the other side than the marks do.  Our choice: in 36 path-traced
#: pictures it spoke for the wrong side by up to 1.95, and by over 3.5 for the right one in 19 of
#: 20 seen from beyond 10 degrees.  Of five in 286 more that 2 nats refused falsely, 3.5 refuse two.
OTHER_SIDE_DEG, OTHER_SIDE_NATS = 3.0, 3.5
#: Elevation (deg) beyond which nothing is read: the correction grows faster than what is known
#: of it.  Our choice; design range is 30.
STEEPEST_DEG = 40.0
#: Elevation (deg) from which a reading is flagged as steep, azimuth (deg) as turned.  Our choice.
STEEP_FLAG_DEG, TURNED_FLAG_DEG = 15.0, 32.0
#: Slant of the liquid's edge across the marks (deg) from which the chamber leans.  Our choice.
LEAN_FLAG_DEG = 2.0
#: Share of the marks seen under which a reading says that some are covered.  Our choice.
COVERED_FLAG_SEEN = 0.8
#: Standard uncertainty that pictures unlike those that taught the networks add, as a share of all
#: other terms together: the first where the odds of the offset network are at least so high, near
#: the highest that it gives, the second elsewhere.  Of 358 readings of four renderers 97 % are held
#: so, of 49 of the third kind, which taught nothing, 98 %, of 155 of the fourth 95 (split conformal
#: prediction within two groups: J. Lei et al., J Am Stat Assoc 2018;113:1094-1111;
#: docs/accuracy.md).
UNLIKE_SHARE, UNLIKE_DOUBTED_SHARE, TAUGHT_PLACE_ODDS = 0.4, 0.8, 60_000.0
#: Standard deviation (mm) of the meniscus from which a reading is flagged.  Our choice.
MENISCUS_FLAG_SD_MM = 0.45
#: Blur (px, as standard deviation) against the distance of the marks.  Our choice.
BLUR_SHARE_OF_PITCH = 0.55
#: How far beyond an end mark, in divisions, a level still counts as on the scale.  Our choice.
END_SLACK_DIVISIONS = 0.3
#: What a meniscus takes up on the wall (mm): rises of up to sqrt(2) capillary lengths, 3.9 mm for
#: water (Batchelor, *An Introduction to Fluid Dynamics*, 1967, section 1.9: from memory).
MENISCUS_ROOM_MM = 4.0
#: A tap counts for the surface within so much (mm) below and above the scale.  Our choice.
TAP_BELOW_MM, TAP_ABOVE_MM = 8.0, 16.0
#: Places no farther apart than this (mm) are one surface, whether a tap narrowed the search or not:
#: the larger steps with which lines beside a place are looked at.  Our choice.
SAME_PLACE_MM = 3.0

# ------------------------------------------------------------------ several photos of a chamber
#: Share of the variance of a photo's own level (meniscus, edge, marks, view) that is common to
#: photos from other places: the wetting of the wall, misjudged alike; and the angle (deg)
#: between two sight lines over which photos become as independent as that: from one place
#: everything is misjudged alike.  Measured as the correlation of errors within drawn sets
#: (`countersight scenes --views 3`, seeds 20290501 and 20290502, 300 chambers): 0.68 for
#: elevations within 3 deg of one another, 0.34 for 3 to 8, 0.18 for 8 to 15, none beyond.
COMMON_SHARE, APART_DEG = 0.1, 4.0
#: Probability that a photo tells another level than its own probability allows for: single
#: photos made by others were silently wrong in 9 of 338.
MISLED = 0.03
#: Standard uncertainty (divisions) that a single photo's probability is known to leave out, used
#: where photos are tested for telling the same level: on pictures made by others intervals
#: held the truth in 80 to 90 %.
UNTOLD_DIVISIONS = 0.25
#: Probability by chance under which photos do not tell the same level.  Our choice: one honest
#: set in a thousand.
DISAGREE_P = 1e-3
#: Photos further apart in time than this (minutes) are questioned: fluid may have run.
APART_IN_TIME_MIN = 5.0
#: Most photos combined.
MOST_PHOTOS = 8

# ------------------------------------------------------------------ live picture
#: Share of the marks that one quick look has to see before the outline is shown (our choice).
AIM_SEEN = 0.5
#: The hand is asked to move while the sight line is steeper than this, deg: within it photos
#: count as easy (our choice).
AIM_LEVEL_DEG = 5.0
#: Seen more steeply, the surface is not looked for: it takes four times as long to find, and the
#: middle of the marks tells well enough where to move (our choice).
AIM_STEEP_DEG = 15.0
#: A card's side in the photo, px, below which to come nearer: its six modules across and the
#: border would have fewer than 6 px each (our choice).
AIM_CARD_PX = 48.0

#: Focal length (35 mm-equivalent) of phones' main cameras, where a live picture does not tell it:
#: for a hint in whole centimetres only.  Our assumption.
AIM_FOCAL_35MM = 26.0

# ------------------------------------------------------------------ bodies at the bedside (level)
#: Thickness of poles (mm, thinnest and thickest), and how far beside the zero card's centre one
#: may stand.  Common practice, no source.
POLE_MM, POLE_BESIDE_MM = (10.0, 48.0), 150.0
#: Cords are at most this thick, bobs at most this broad; a cord in view is this long (mm).
#: Common practice, no source.
CORD_MM, BOB_MM, CORD_LONG_MM = 6.0, 30.0, 70.0
#: A hung panel is at most this long (mm).  Common practice, no source.
PANEL_LONGEST_MM = 600.0
#: The sides of the panel lie this far beside the zero card's centre (mm), and are so many times
#: as long as the card's.  Our choice.
PANEL_SIDE_MM, PANEL_LONG = (36.0, 260.0), 1.8
#: A card that lies on its panel is not turned against its sides by more than this (deg); up to
#: the first it is square to it, so that its axes count too; it does not stick out by more than
#: the third, with what the pose leaves open in so many sigmas.  Our choice.
CARD_SQUARE_DEG, CARD_TURNED_DEG, CARD_FLAT_DEG, CARD_FLAT_SIGMAS = 1.2, 6.0, 2.5, 2.5
#: Width of chambers and length of tube in view (mm, least and most), and the widest spacing of
#: their marks (one mark, or one long mark, to the next).  Common practice, no source.
CHAMBER_MM, CHAMBER_LONG_MM, CHAMBER_MARKS_MM = (18.0, 60.0), (50.0, 300.0), 22.0
#: How far from the zero card's centre one hangs, sideways and up or down (mm).  Our choice.
CHAMBER_BESIDE_MM, CHAMBER_ABOVE_MM = 220.0, 330.0
#: A moulded tube is narrower at its foot by up to this share.  Common practice, no source.
CHAMBER_DRAUGHT = 0.04

# ------------------------------------------------------------------ gravity and the level
#: A pose of a card this much worse (chi-square) than the best is not the true one, and cues that
#: contradict each other count against a pose no further than the second.  Our choice.
RULED_OUT_CHI2, WORST_CUES_CHI2 = 18.0, 40.0
#: Probability by chance under which a panel's sides and the card on it are not of one body, or
#: the phone and the chamber that it sees contradict each other.  Our choice.
CUES_DISAGREE_P = 0.002
#: Probability that a body is off plumb by far more than its tolerance, or is not the body it was
#: taken for; then it leans by so much (deg), one standard deviation, either way.  A cord with a
#: free bob can only touch something; a panel is hooked on by hand and is what most often hangs
#: askew.  Our assumptions, no source.
LEANS_P = {"hanging cord": 0.02, "pole": 0.05, "hung panel": 0.10, "chamber axis": 0.05,
           "zero card": 0.10, "phone sensor": 0.02}
LEANS_DEG = 5.0
#: Probability that lines taken for the sides of a panel or a pole are other things' (a door's, a
#: picture's), while a card seen between them does lie on a panel.  Our assumption.
FALSE_LINES_P = 0.03
#: How far a card that was stuck on its panel by hand is turned against the panel's sides, and
#: stands off its face (deg, one standard deviation).  Our assumption.
CARD_LAID_DEG = 0.4
#: Cues none of which says a direction better than the first (deg) leave the vertical open; where
#: all of them are bad, a card or a picture is upright to the second (one standard deviation).
#: Our choice.
OPEN_DEG, START_DEG = 12.0, 60.0
#: An interval of the offset wider than this either way (mm) helps nobody.  Our choice.
USELESS_OFFSET_MM = 80.0
#: A card whose side is shorter, in pixels of the picture searched, is flagged.  Our choice.
SMALL_CARD_PX = 32.0
#: Probability of the card's other pose, and what that does to the offset (mm), from which it is
#: flagged.  Our choice.
TWO_WAYS_P, TWO_WAYS_MM = 0.05, 1.0
#: A phone held as near as this to the height of the zero reference (mm) needs no coaching.
SAME_HEIGHT_MM = 30.0

# ------------------------------------------------------------------ the phone's own sensor
#: Standard uncertainty (deg) of gravity as a phone says it, in either direction.  Our choice:
#: consumer sensors "typically struggle to detect less than 1 deg" (a sensor maker's article,
#: 2021); a bias of 20 mg is 1.1 deg (arcsine).  Half of its variance belongs to the phone and
#: is the same in all of its photos, half to the moment.  Our choice.
PHONE_GRAVITY_SD_DEG = 0.7
#: A phone is at rest while its sensor shows 1 g to this share; a moving hand is off.  Our choice.
AT_REST_G = 0.03
#: A photo counts as upright when down lies within this (deg) of its lower edge's direction: half
#: way to the next orientation is 45, and phones turn the picture late.  Our choice.
UPRIGHT_WITHIN_DEG = 60.0
#: A phone that looks up or down more steeply than this (deg) cannot say which edge that is.
#: Our choice.
STEEPEST_PHONE_DEG = 75.0
#: How far a hung chamber is off plumb, one standard deviation (deg): sideways in the picture and
#: along the line of sight.  Common practice, no source.
CHAMBER_PLUMB_SD_DEG = (0.5, 1.2)

# ------------------------------------------------------------------ what no photo shows (level)
#: Standard uncertainty of a tap on the level's photo, as a share of its long side.  Our assumption.
LEVEL_TAP_SHARE = 0.0012
#: Standard uncertainty of a stated depth: at least this (mm), and this share of it; of a depth
#: that nobody stated.  Our assumption.
DEPTH_SD_MM, DEPTH_SHARE, UNKNOWN_DEPTH_SD_MM = 10.0, 0.05, 200.0
#: Standard uncertainties: printed size against nominal (share, checked with the ruler), the
#: pointer's tip against the landmark that it is held at and the card's centre against the zero
#: reference (mm, in height), residual distortion (share of the picture's diagonal).  Our
#: assumptions.
PRINT_SHARE, POINTER_TIP_MM, ZERO_CARD_MM, LENS_SHARE = 0.004, 1.0, 0.5, 2e-4
#: Standard uncertainty (deg) of the camera's axis against square to the wall or bed.  Two
#: doubts, both our assumptions: people stand within 12 degrees of square (12 / sqrt(3)), and
#: they turn the phone to get both points into the picture (about 6).  The panel that carries the
#: zero card is turned against the wall by up to 20 (20 / sqrt(3)).
AXIS_SD_DEG = math.hypot(12.0 / math.sqrt(3.0), 6.0)
PANEL_FACES_SD_DEG = 20.0 / math.sqrt(3.0)
#: Probability that an edge which is not upright runs along the wall or square to it; how far such
#: an edge is off level as seen, with what is not known of the vertical, and how far beds and
#: shelves are turned against the wall (deg, one standard deviation).  Our assumptions.
ROOM_EDGE_P, LEVEL_EDGE_SD_DEG, ROOM_SQUARE_SD_DEG = 0.6, 1.5, 2.0
#: Probability that the edges of a photo say nothing of its room, however well they go together.
#: Our assumption: of 45 drawn rooms 3 were off by more than twice what their edges alone say.
EDGES_MISLEAD_P = 0.1

# ------------------------------------------------------------------ the panel's pressure scale
#: Standard uncertainty of a tap on the pointer, as a share of the photo's diagonal.  Our choice.
SETTING_TAP_SHARE = 0.001
#: How far a pointer may stand in front of the print (mm), and how steeply that is seen (deg):
#: half widths.  Our assumption, common panels, no source.
POINTER_DEPTH_MM, POINTER_VIEW_DEG = 5.0, 15.0
#: A pointer may stand so far beyond an end mark, and an interval wider than the second either
#: way helps nobody (divisions).  Our choice.
POINTER_BEYOND_DIVISIONS, USELESS_DIVISIONS = 1.5, 2.5
#: Two rows are in two units when their steps are in the units' ratio to this share.  Our choice.
UNIT_RATIO_SHARE = 0.05
#: Share of the marks missing in between from which the scale is another one.  Our choice.
MOST_MISSED_SHARE = 0.25
#: Log-odds (nats) with which the numerals beside a flat scale settle its numbering, and by how
#: much a numbering may be behind by its marks to be worth reading them.  Our choice.
FLAT_NUMERALS_LOG_ODDS, FLAT_HOPELESS_LOG_ODDS = 6.0, 25.0
