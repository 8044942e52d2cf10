"""A reading in words: what a person needs to know and what to do about it."""

from __future__ import annotations

from app.ui.number import show_number
from vision.flags import FLAGS, describe
from vision.output.model import percent
from vision.reading import VolumeReading

HEAD = {
    "refused": "The tool gives no reading of this photo",
    "below-scale": "The tool sees the liquid below the lowest mark",
    "above-scale": "The tool sees the liquid above the highest mark",
}

#: The same beside a small picture.
SHORT = {"refused": "no reading", "below-scale": "below the lowest mark",
         "above-scale": "above the highest mark"}

#: The place of a flag among all: those of the photo stand before those of what is in it.
_RANK = {name: n for n, name in enumerate(FLAGS)}

SIGHT_LEVEL_DEG = 1.0


def head(reading: VolumeReading) -> str:
    """Why there is no value, in a line."""
    if reading.status == "refused" and len(reading.photos) > 1:
        return "The tool gives no reading of these photos"
    return HEAD.get(reading.status, "")


def flag_points(reading: VolumeReading) -> list[str]:
    """One sentence for every flag: what it is, then what to do."""
    return [_sentence(name) for name in reading.flags]


def _sentence(flag: str) -> str:
    return describe(flag).sentence


def reasons_and_advice(reading: VolumeReading) -> list[str]:
    """The reasons given and what each flag asks for, none said twice; what is wrong with the
    photo itself comes first, since that hides the rest."""
    if len(reading.reasons) == len(reading.flags):
        order = sorted(range(len(reading.flags)), key=lambda n: _RANK[reading.flags[n]])
        said = [t for n in order for t in (reading.reasons[n], _sentence(reading.flags[n]))]
    else:
        said = [*reading.reasons, *flag_points(reading)]
    points: list[str] = []
    for text in said:
        if text and text not in points:
            points.append(text)
    return points


def value_text(value: float, reading: VolumeReading) -> str:
    """A value of this reading to a tenth of a division."""
    return show_number(value, reading.division)


def interval_text(reading: VolumeReading) -> str:
    """The interval in words; empty where there is none."""
    if reading.interval is None:
        return ""
    low, high = (value_text(v, reading) for v in reading.interval)
    return f"{percent(reading.coverage)} interval: {low} to {high} {reading.unit}"


def candidates_text(reading: VolumeReading) -> str:
    """Where the edges stand that the tool could not choose between; else empty."""
    if "competing-surfaces" not in reading.flags or len(reading.candidates) < 2:
        return ""
    values = " and ".join(value_text(v, reading) for v in sorted(reading.candidates))
    return f"Edges that could be the surface stand at {values} {reading.unit}."


def sight_text(reading: VolumeReading) -> str:
    """From where the camera looked, in words."""
    if reading.elevation_deg is None:
        return ""
    angle = reading.elevation_deg
    doubt = ("" if reading.elevation_sd_deg is None
             else f" (standard uncertainty {reading.elevation_sd_deg:.1f}\N{DEGREE SIGN})")
    which = "The camera" + _of_which(reading)
    if abs(angle) < SIGHT_LEVEL_DEG:
        return f"{which} looked from the height of the surface{doubt}."
    side = "above" if angle > 0 else "below"
    return f"{which} looked from {abs(angle):.0f}\N{DEGREE SIGN} {side} the surface{doubt}."


def naive_text(reading: VolumeReading) -> str:
    """What an eye at the camera's place would take, beside the corrected value."""
    if reading.naive_value is None:
        return ""
    height = f"the height of the camera{_of_which(reading)}" if len(reading.photos) > 1 else \
        "the camera's height"
    return f"An eye at {height} would take {value_text(reading.naive_value, reading)} " \
        f"{reading.unit}."


def _of_which(reading: VolumeReading) -> str:
    """Of several photos the view is that of one, and the others were taken from elsewhere."""
    return f" of photo {reading.drawn_on + 1}" if len(reading.photos) > 1 else ""
