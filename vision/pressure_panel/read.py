"""From a photo of the panel to where the chamber's pointer stands on its flat pressure scale.

The way through: :mod:`find the marks <vision.pressure_panel.locate>` ->
:mod:`number <vision.pressure_panel.number>` ->
:mod:`map and estimate <vision.pressure_panel.estimate>` ->
:mod:`decide <vision.pressure_panel.decide>`.
"""

from __future__ import annotations

from vision.imaging.photo import Photo
from vision.pressure_panel.decide import decide
from vision.pressure_panel.evidence import gather
from vision.pressure_panel.inputs import Point, check_inputs
from vision.pressure_panel.result import SettingReading
from vision.scale_file.scale import Scale


def read_setting(photo: Photo, scale: Scale, pointer: Point, *,
                 number: tuple[float, Point] | None = None,
                 pointer_sd_px: float | None = None) -> SettingReading:
    """Read the pointer on the flat pressure scale of the panel.

    Parameters
    ----------
    photo : Photo
        From :func:`vision.load_photo`.
    scale : Scale
        The flat scale, in the unit that is to be read; from :func:`vision.load_scale`.
    pointer : (x, y)
        Tip of the pointer, in pixels of the upright photo, origin at the centre of the
        top-left pixel.
    number : (float, (x, y)), optional
        A value typed by a person for the mark nearest to the point.
    pointer_sd_px : float, optional
        How well the tip was tapped: standard uncertainty in pixels of the photo.

    Returns
    -------
    SettingReading
        Value and interval in the scale's unit, or an honest "no reading" with its reasons,
        which is a result and no error.

    Raises
    ------
    InputError
        For a scale with a bore, a point outside the photo, or a number that the scale does
        not have.

    References
    ----------
    JCGM 100:2008 (budget).
    """
    check_inputs(photo, scale, pointer, number)
    return decide(gather(photo, scale, pointer, number, pointer_sd_px))
