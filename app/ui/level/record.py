"""From the photos in hand to the record: the level check that a person is about to confirm."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from app.records import LevelDraft
from app.ui import used
from app.ui.level.state import LevelState
from vision.level.result import LevelReading

KIND = LevelDraft.kind


def used_before(state: LevelState) -> None:
    """Say which of the photos in hand are on record already; looked up once for them."""
    if state.used is None:
        state.used = used.said_of(state.photos, KIND)
    used.notice(state.used, state.photos)


def draft_of(state: LevelState, bed: str, key: str) -> LevelDraft:
    """What the photos in hand say, with all of them named.

    Raises ConfirmError where one of them is on record for this bed as another level check.
    """
    reading, photo = state.reading, state.photo
    assert reading is not None and photo is not None
    used.refuse(state.photos, KIND, bed, key)
    draft = LevelDraft.of(reading.as_json(), photo_sha256=photo.sha256)
    return replace(draft, payload={**draft.payload, **_several(state, reading)})


def _several(state: LevelState, reading: LevelReading) -> dict[str, Any]:
    """What the record says of several photos, and on how many of them the level rests."""
    found = state.named(lambda alone: alone.offset_cm)
    if reading.photos:
        found["rests_on"] = reading.rests_on
    return found
