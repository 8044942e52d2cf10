"""A small picture of the chamber, kept only when the person asks for it."""

from __future__ import annotations

from app.ui import ledger
from app.ui.chamber.state import ChamberState
from app.ui.pictures import screen_copy
from vision.overlay import chamber_box


def picture(state: ChamberState, number: int) -> str:
    """Write the cropped photo of entry ``number`` to the data folder; a sentence on it.

    Only pixels are written: no camera data, no file name.  The entry stands
    whether or not the picture could be kept.
    """
    photo, reading = state.photo, state.reading
    if photo is None or reading is None:
        return ""
    box = chamber_box(photo, reading)
    folder = ledger.picture_folder()
    if folder is None:
        return " Pictures are not kept here; the entry is whole."
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"entry-{number:06d}.jpg").write_bytes(screen_copy(photo.rgb, box).jpeg)
    except OSError:
        return " The picture could not be kept; the entry is whole."
    return " A small picture of the chamber was kept."
