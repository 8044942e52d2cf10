"""From the page to the record: one function that writes, and nothing else does."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import numpy as np

from app.records import (
    Attestations,
    Entry,
    KeptPicture,
    OwnReading,
    ReadingDraft,
)
from app.records.errors import ConfirmError
from app.ui import doubtful
from app.ui.chamber.state import ChamberState
from app.ui.confirm import Signature
from vision.imaging.photo import Photo
from vision.reading import VolumeReading
from vision.volume.overlay import chamber_box

DEMO_NOTE = "Demo photo, no patient."
SEEN_NOTE = "Own reading typed after the tool's reading of an earlier photo had been shown."


def write(state: ChamberState, value: str, who: Signature, attested: Attestations,
          note: str = "", *, second_look: str = "", clock_checked: bool = False,
          keep_picture: bool = False) -> Entry:
    """Confirm ``value`` (its digits) for the photo in hand and put it on record.

    ``second_look`` is what the person found on looking again, needed where their reading and
    the tool's are too far apart.  ``clock_checked`` says that the person has looked at this
    machine's clock, ``keep_picture`` that a crop of the chamber is to be kept with the entry.
    Raises a RecordError with a sentence where something is missing.
    """
    photo, scale = state.photo, state.scale
    if photo is None or scale is None or who.by is None or who.bed is None:
        raise ConfirmError("There is no photo in hand to confirm a reading of.")
    first = OwnReading.read(state.own) if state.own else OwnReading.skipped()
    picture = None
    if state.reading is None:
        draft = ReadingDraft.by_eye(scale=scale, first=first)
    else:
        picture = _crop(photo, state.reading) if keep_picture else None
        draft = ReadingDraft.of(state.reading, scale=scale, photo_sha256=photo.sha256,
                                first=first, picture=picture)
    if state.agreement is not None and state.agreement.second_look:
        if not second_look:
            raise ConfirmError("Look at the chamber again and say what you found.")
        draft = replace(draft, payload={**draft.payload, "second_look": second_look})
    return doubtful.put(
        state.key, value, draft, picture=picture, compare=not state.demo,
        by=who.by, bed=who.bed, confirmed_value=value, attestations=attested,
        key=form_key(state, who), happened_at=state.taken_in, clock_checked=clock_checked,
        identity=who.identity,
        note=" ".join(filter(None, (DEMO_NOTE if state.demo else "",
                                    SEEN_NOTE if state.seen_before and state.own else "", note))))


def _crop(photo: Photo, reading: VolumeReading) -> KeptPicture:
    """The chamber alone, cut from the photo's pixels."""
    left, top, right, bottom = chamber_box(photo, reading)
    return KeptPicture.of(np.ascontiguousarray(photo.rgb[top:bottom, left:right]))


def form_key(state: ChamberState, who: Signature) -> str:
    """One key for one photo at one bed: a second try after a lost connection is
    the same entry, in whatever session it comes.  Demos may be tried again and again."""
    if state.demo or state.photo is None:
        return f"page-{state.form_key}"
    bed = hashlib.sha256(str(who.bed).encode()).hexdigest()[:16]
    return f"photo-{state.photo.sha256[:48]}-{bed}"
