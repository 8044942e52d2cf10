"""The panel's setting from a photo: a second reading beside the person's own."""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

from app.agreement import verdict_of
from app.ui import blocks, guard, uploads
from app.ui.photo_picker import MAX_MB, TYPES
from app.ui.pictures import screen_copy
from app.ui.reading import read
from app.ui.tap import Point, chosen_point, tap_point
from app.ui.text import as_label
from app.ui.threshold.state import Inputs
from vision.errors import ScaleFileError
from vision.flags import describe
from vision.hydrostatics.units import WORDS
from vision.imaging.photo import Photo
from vision.pressure_panel.read import read_setting
from vision.pressure_panel.result import SettingReading
from vision.scale_file.scale import Scale, load_scale, parse_scale_text, shipped_scales
from vision.volume.overlay import draw_overlay

OWN_FILE = "The ward's own scale file"
#: A fingertip in the enlarged part: about 3 px of a 350 px wide screen (our estimate).
_TAP_SHARE = 3 / 350
_NEAR_SHARE = 0.3


@dataclass
class PanelPhoto:
    """The photo in hand and what was read from it; ``first`` is the person's own number,
    as it stood before the tool's was shown."""

    turn: int = 0
    photo: Photo | None = None
    problem: str = ""
    scale: Scale | None = None
    first: str = ""
    reading: SettingReading | None = None
    asked: tuple[str, Point] | None = None

    def drop(self) -> None:
        """Forget the photo and what was read from it."""
        self.turn += 1
        self.photo, self.problem, self.reading, self.asked, self.first = None, "", None, None, ""

    @property
    def key(self) -> str:
        """Key of every widget that belongs to the photo in hand."""
        return f"panel-{self.turn}-{self.photo.sha256[:12] if self.photo else 'none'}"


def panel_photo(panel: PanelPhoto, inputs: Inputs) -> None:
    """Draw the step.  The tool is asked only after the person has typed what they see."""
    if not inputs.setting_complete:
        blocks.say("Type what you see on the panel first; then a photo can be compared with it.")
        return
    _pick(panel)
    _scale(panel, inputs)
    if panel.photo is None or panel.scale is None:
        return
    if panel.scale.unit != inputs.setting_unit:
        blocks.notice("Another unit", [
            f"You typed the setting in {WORDS.get(inputs.setting_unit or '', '')}, and this scale "
            f"is divided in {WORDS.get(panel.scale.unit, panel.scale.unit)}. Choose the scale in "
            "the unit that you read."], stop=True)
        return
    tap_point(panel.photo, panel.key, "the tip of the pointer")
    point = chosen_point(panel.photo, panel.key)
    if point is not None:
        _ask(panel, inputs, point)
        _show(panel)


def _pick(panel: PanelPhoto) -> None:
    widget = f"photo-{panel.key}"

    def taken(photo: Photo | None, problem: str) -> None:
        panel.drop()
        panel.photo, panel.problem = photo, problem

    if panel.photo is None:
        st.file_uploader("Take or choose a photo of the panel, the whole scale in the picture",
                         type=TYPES, key=widget, max_upload_size=MAX_MB,
                         on_change=uploads.take, args=(widget, taken))
    else:
        st.button("Discard this photo and take another", key=f"drop-{panel.key}",
                  on_click=panel.drop, width="stretch")
    if panel.problem:
        blocks.notice("This photo cannot be used", [panel.problem], stop=True)


def _scale(panel: PanelPhoto, inputs: Inputs) -> None:
    names = [n for n in shipped_scales()
             if load_scale(n).flat and load_scale(n).unit == inputs.setting_unit]
    chosen = st.radio("Scale printed on the panel", [*names, OWN_FILE], index=None,
                      key=f"panel-scale-{inputs.setting_unit}", format_func=as_label)
    scale, problem = None, ""
    if chosen == OWN_FILE:
        file = st.file_uploader("Scale file (JSON)", type=["json"], key="panel-scale-file",
                                max_upload_size=1)
        if file is not None:
            scale, problem = guard.in_words(lambda: _own_scale(file.getvalue()))
    elif chosen is not None:
        scale, problem = guard.in_words(lambda: load_scale(chosen))
    if problem:
        blocks.notice("This scale file cannot be used", [problem], stop=True)
    if scale != panel.scale:
        panel.reading, panel.asked = None, None
    panel.scale = scale


def _own_scale(data: bytes) -> Scale:
    scale = parse_scale_text(data)
    if not scale.flat:
        raise ScaleFileError("This is the scale of a chamber; the flat pressure scale of the panel "
                             "is needed here.")
    return scale


def _ask(panel: PanelPhoto, inputs: Inputs, point: Point) -> None:
    photo, scale = panel.photo, panel.scale
    if photo is None or scale is None or panel.asked == (scale.name, point):
        return
    if not panel.first:
        panel.first = inputs.setting_text
    panel.asked = (scale.name, point)
    with st.spinner("Reading the photo"):
        panel.reading, panel.problem = guard.in_words(lambda: read(
            read_setting, photo, scale, point,
            pointer_sd_px=_TAP_SHARE * _NEAR_SHARE * photo.width))


def _show(panel: PanelPhoto) -> None:
    reading, photo = panel.reading, panel.photo
    if reading is None or photo is None:
        return
    unit = WORDS.get(reading.unit, reading.unit)
    points = [*reading.reasons]
    if reading.question is not None:
        points.append("The numbers on this panel could not be settled from this photo: rely on "
                      "your own eye.")
    if reading.value is None or reading.interval is None:
        blocks.notice("The tool gives no reading", points, stop=True)
    else:
        low, high = reading.interval
        blocks.cards(
            blocks.card("Your reading", panel.first, unit, ["typed before the tool's was shown"]),
            blocks.card("Machine reading, not a record", f"{reading.value:.1f}", unit,
                        [f"95 % interval {low:.1f} to {high:.1f} {unit}"], "machine"))
        if panel.scale is not None and verdict_of(
                float(panel.first), reading.value, reading.interval,
                panel.scale.division_at(reading.value)) != "agree":
            points.insert(0, "The two readings do not agree. Look at the panel again: the panel "
                             "is right, not the photo.")
        if points:
            blocks.notice("Please note", points)
    if reading.annotations:
        drawn, _ = guard.in_words(lambda: screen_copy(draw_overlay(photo, reading)))
        if drawn is not None:
            words = ", ".join(describe(f).short for f in reading.flags)
            st.image(drawn.jpeg, width="stretch", caption="What the tool saw",
                     alt=f"The panel with the marks that the tool found. {words}".strip())
