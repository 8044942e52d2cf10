"""From photos with both cards to the height of the zero reference over the landmark.

The way through: :mod:`locate the cards <vision.level.locate>` ->
:mod:`gather cues <vision.level.cues>` -> :mod:`fuse <vision.level.fuse>` ->
:mod:`offset <vision.level.offset>` -> :mod:`decide <vision.level.decide>`; several photos
are put together between the last two (:mod:`together <vision.level.together>`).
"""

from __future__ import annotations

from collections.abc import Sequence

from vision.imaging.gravity import PhoneGravity
from vision.imaging.photo import Photo, with_gravity
from vision.level.evidence import gather
from vision.level.inputs import Point, level_inputs
from vision.level.result import LevelReading
from vision.level.together import check_count, combine_levels


def read_level(photo: Photo | Sequence[Photo], zero_card_mm: float = 60.0,
               landmark_card_mm: float = 40.0, landmark_px: Point | None = None,
               zero_px: Point | None = None, depth_difference_mm: float | None = None,
               focal_35mm: float | None = None, tolerance_mm: float | None = None,
               gravity: PhoneGravity | Sequence[PhoneGravity | None] | None = None
               ) -> LevelReading:
    """Measure how high the zero reference hangs over the landmark.

    Parameters
    ----------
    photo : Photo or sequence of Photo
        From :func:`vision.load_photo`.  Several photos show the same cards, nothing moved in
        between, best from beside one another; their order does not matter.
    zero_card_mm, landmark_card_mm : float
        Sides of the cards' black squares, 10 to 400 mm.
    landmark_px, zero_px : (x, y), optional
        A tapped landmark in place of the landmark card and a tapped zero reference in place
        of the zero card; one card has to be there.  In pixels of the upright photo, origin at
        the centre of the top-left pixel.
    depth_difference_mm : float, optional
        How much nearer to the phone the landmark lies than the zero reference, square to the
        wall or the bed; for a tapped point.
    focal_35mm : float, optional
        35 mm-equivalent focal length (mm, by the diagonal); overrules the photo's own.
    tolerance_mm : float, optional
        The ward's tolerance for "level".
    gravity : PhoneGravity or sequence of them, optional
        Where down is by the phone's own sensor, from
        :func:`vision.imaging.gravity.phone_gravity`; overrules what the photo says.  With
        several photos one for each, in their order, None where nothing is known.

    Returns
    -------
    LevelReading
        Offset and interval in cm, or a refusal with its reasons, which is a result and no
        error.

    Raises
    ------
    InputError
        For numbers that make no sense and points outside the photo.

    References
    ----------
    JCGM 101:2008 (interval), JCGM 106:2012 (decision against the tolerance).
    """
    photos = [photo] if isinstance(photo, Photo) else list(photo)
    check_count(photos)
    photos = with_gravity(photos, gravity)
    return combine_levels([gather(each, level_inputs(
        each, zero_card_mm, landmark_card_mm, landmark_px, zero_px, depth_difference_mm,
        focal_35mm, tolerance_mm)) for each in photos])
