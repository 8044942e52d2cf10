"""Choosing the scale: one that is shipped, or the ward's own file."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

import streamlit as st

from app.bed_scales import keep_scale, kept_scale
from app.settings import ward_folder
from app.ui import ledger
from app.ui.text import as_label
from vision.errors import ScaleFileError
from vision.scale_file.scale import Scale, load_scale, parse_scale_text, shipped_scales

OWN_FILE = "The ward's own scale file"
_MAX_MB = 1
#: The files brought in this session, by the name of their scale.
_FILES = "own-scale-files"


def scale_from_file(data: bytes) -> Scale:
    """The scale in an uploaded file; ScaleFileError with one sentence otherwise."""
    scale = parse_scale_text(data)
    if scale.flat:
        raise ScaleFileError("This is a flat pressure scale; choose the scale of the chamber.")
    if scale.unit != "mL":
        raise ScaleFileError(f"The field 'unit' is '{scale.unit}'; a chamber's scale is in mL.",
                             "unit")
    if scale.name in shipped_scales() and scale != load_scale(scale.name):
        raise ScaleFileError(f"The field 'name': there is a shipped scale '{scale.name}' that is "
                             "different; give yours a name of its own.", "name")
    return scale


def chamber_scales() -> list[str]:
    """Names of the shipped scales that belong to a chamber."""
    return [name for name in shipped_scales() if not load_scale(name).flat]


def keep_own(bed: str, scale: Scale | None) -> None:
    """Keep the file of a scale of the ward's own for the next reading of this bed."""
    file = st.session_state.get(_FILES, {}).get(scale.name) if scale is not None else None
    if file is not None:
        with suppress(OSError):  # then it is asked for again, and nothing else is lost
            keep_scale(ward_folder(ledger.place()), bed, file)


def scale_of_bed(bed: str, name: str | None) -> Scale | None:
    """The scale with which a bed was last read, by its ``name`` on record; None where it is
    the ward's own and its file is not kept."""
    if name in chamber_scales():
        return load_scale(name)
    return None if name is None else kept_scale(ward_folder(ledger.place()), bed, name)


def summary(scale: Scale) -> str:
    """The scale in one line: range, division and printed numbers."""
    low, high = scale.lowest_mark.value, scale.highest_mark.value
    steps = sorted({scale.division_at(m.value) for m in scale.marks})
    division = " and ".join(f"{s:g}" for s in steps[:3])
    numbers = [m.text for m in scale.marks if m.label]
    printed = f", numbers {', '.join(numbers[:3])} ... {numbers[-1]}" if len(numbers) > 3 else ""
    outside = (". The bore changes and the file gives no outer diameter: the outside is taken as "
               f"one even cylinder of {2 * scale.outer_radius_mm:g} mm. If this chamber is "
               "narrower outside where its bore is, say so in the file (outer_diameter_mm)."
               ) if scale.outside_assumed else ""
    return f"{scale.name}: {low:g} to {high:g} {scale.unit}, one division {division} {scale.unit}" \
        + printed + outside


def pick_scale(key: str, current: Scale | None,
               choose: Callable[[Scale | None, str], None]) -> None:
    """Draw the choice; ``choose(scale, problem)`` is called when it changes.

    Nothing is chosen beforehand: a wrong scale gives a wrong reading that looks right.
    """
    names = chamber_scales()
    options = [*names, OWN_FILE]
    chosen_key, file_key = f"scale-{key}", f"scale-file-{key}"

    def changed() -> None:
        name = st.session_state.get(chosen_key)
        if name in names:
            choose(load_scale(name), "")
        elif name == OWN_FILE:
            read_file()
        else:
            choose(None, "")

    def read_file() -> None:
        file = st.session_state.get(file_key)
        if file is None:
            choose(None, "")
            return
        try:
            scale = scale_from_file(file.getvalue())
        except ScaleFileError as problem:
            choose(None, str(problem))
            return
        st.session_state.setdefault(_FILES, {})[scale.name] = file.getvalue()
        choose(scale, "")

    index = None
    if current is not None:
        index = names.index(current.name) if current.name in names else len(names)
    shown = st.radio("Scale of this chamber", options, index=index, key=chosen_key,
                     on_change=changed, format_func=as_label)
    if shown == OWN_FILE:
        st.file_uploader("Scale file (JSON)", type=["json"], key=file_key, on_change=read_file,
                         max_upload_size=_MAX_MB)
