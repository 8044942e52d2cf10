"""From the page to the record: what a person is about to confirm."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import Any

import numpy as np

from app.entering import Proposed
from app.records import Attestations, KeptPicture, OwnReading, ReadingDraft
from app.records.errors import ConfirmError
from app.ui import used
from app.ui.chamber.several import between_question
from app.ui.chamber.state import ChamberState
from vision.imaging.photo import Photo
from vision.reading import VolumeReading
from vision.volume.overlay import chamber_box

DEMO_NOTE = "Demo photo, no patient."
SEEN_NOTE = "Own reading typed after the tool's reading of an earlier photo had been shown."


def proposed(state: ChamberState, value: str, bed: str, attested: Attestations, note: str = "",
             *, second_look: str = "", between: str = "", keep_picture: bool = False) -> Proposed:
    """``value`` (its digits) for the photos in hand, or by eye alone, to be confirmed.

    ``second_look`` is what the person found on looking again, needed where their reading and
    the tool's are too far apart, ``between`` what happened between photos that disagree or
    are some time apart; ``keep_picture`` says that a crop of the chamber is to be kept with the
    entry.  Raises a RecordError with a sentence where something is missing.
    """
    photo, scale = state.photo, state.scale
    if scale is None:
        raise ConfirmError("Choose the scale that is printed on the chamber.")
    key = form_key(state, bed)
    if not state.demo:
        used.refuse(state.photos, ReadingDraft.kind, bed, key)
    first = OwnReading.read(state.own) if state.own else OwnReading.skipped()
    picture = None
    if state.reading is None or photo is None:
        draft = ReadingDraft.by_eye(scale=scale, first=first)
    else:
        picture = _crop(state.shown or photo, state.reading) if keep_picture else None
        draft = ReadingDraft.of(state.reading, scale=scale, photo_sha256=photo.sha256,
                                first=first, picture=picture)
    if state.agreement is not None and state.agreement.second_look:
        if not second_look:
            raise ConfirmError("Look at the chamber again and say what you found.")
        draft = replace(draft, payload={**draft.payload, "second_look": second_look})
    if between_question(state) and not between:
        raise ConfirmError("Say what happened between the photos.")
    draft = replace(draft, payload={**draft.payload, **_several(state, between)})
    notes = (DEMO_NOTE if state.demo else "", SEEN_NOTE if state.seen_before and state.own else "",
             note)
    return Proposed(draft, {
        "confirmed_value": value, "attestations": attested, "key": key,
        "happened_at": state.taken_in, "note": " ".join(filter(None, notes))}, picture)


def _several(state: ChamberState, between: str) -> dict[str, Any]:
    """What the record says of several photos, on how many of them the value rests, and what
    happened between them."""
    found = state.named(lambda alone: alone.value)
    reading = state.reading
    if reading is not None and reading.photos and reading.value is not None:
        found["rests_on"] = reading.rests_on
    if between:
        found["between_photos"] = between
    return found


def _crop(photo: Photo, reading: VolumeReading) -> KeptPicture:
    """The chamber alone, cut from the photo's pixels."""
    left, top, right, bottom = chamber_box(photo, reading)
    return KeptPicture.of(np.ascontiguousarray(photo.rgb[top:bottom, left:right]))


def form_key(state: ChamberState, bed: str) -> str:
    """One key for one photo at one bed: a second try after a lost connection is
    the same entry, in whatever session it comes.  Demos may be tried again and again."""
    if state.demo or state.photo is None:
        return f"page-{state.form_key}"
    digest = hashlib.sha256(bed.encode()).hexdigest()[:16]
    return f"photo-{state.photo.sha256[:48]}-{digest}"
