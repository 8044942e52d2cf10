"""Driving the page "Chamber" without a browser: photos, readings and short names of fields."""

from __future__ import annotations

import html
import io
from pathlib import Path

import numpy as np
from PIL import Image
from streamlit.testing.v1 import AppTest

import vision.volume.read
from vision.budget import BudgetTerm
from vision.reading import Annotation, Question, VolumeReading

MAIN = Path(__file__).parents[1] / "app" / "entry" / "main.py"
#: The page alone; the ward's page opens the app.
SCRIPT = "from app.pages import chamber\nchamber.page()\n"
FLAT = {name: np.array([[60.0, y], [120.0, y]]) for name, y in (("reading", 90), ("surface", 92))}


def photo_file(seed: int = 1) -> bytes:
    """A small JPEG of noise: a photo by its format, and no chamber in it."""
    pixels = np.random.default_rng(seed).integers(0, 255, (200, 160, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG")
    return out.getvalue()


def reading(**changes: object) -> VolumeReading:
    """A reading whose numbers appear nowhere else on the page."""
    fields: dict[str, object] = {
        "status": "read", "unit": "mL", "division": 1.0, "scale": "quay-60", "value": 31.7,
        "interval": (31.1, 32.3), "naive_value": 33.9, "elevation_deg": 12.1,
        "elevation_sd_deg": 1.0, "flags": ("turned-view",),
        "budget": (BudgetTerm("surface", 0.2871, "mL", "edge fit"),),
        "annotations": tuple(Annotation(role, xy) for role, xy in FLAT.items()),  # type: ignore[arg-type]
    }
    return VolumeReading(**{**fields, **changes})  # type: ignore[arg-type]


REFUSED = reading(status="refused", value=None, interval=None, naive_value=None, annotations=(),
                  budget=(), flags=("blurred",), reasons=("The surface is too soft to be found.",))
ASKING = reading(status="refused", value=None, interval=None, naive_value=None, budget=(),
                 flags=("numbering-unsettled",), reasons=("The numbers cannot be read.",),
                 question=Question("number", "Tap one mark and type its value."))


class Page:
    """The page as a person meets it; every act runs the whole script once."""

    def __init__(self) -> None:
        self.at = AppTest.from_string(SCRIPT, default_timeout=30).run()

    @property
    def key(self) -> str:
        return self.at.session_state["chamber_state"].key

    @property
    def state(self):  # type: ignore[no-untyped-def]
        return self.at.session_state["chamber_state"]

    def text(self) -> str:
        """All that is on the page, as one text: words, fields, options, pictures' texts."""
        parts: list[str] = []
        for node in self.at.main:
            parts += self._texts(node)
        return html.unescape("\n".join(parts))

    def _texts(self, node: object) -> list[str]:
        children = getattr(node, "children", None)
        if children:
            return [t for child in children.values() for t in self._texts(child)]
        proto = getattr(node, "proto", None)
        return [str(proto), str(getattr(node, "value", ""))]

    def upload(self, data: bytes, name: str = "a.jpg") -> Page:
        self.at.file_uploader[0].upload(name, data, "image/jpeg")
        return self.run()

    def run(self) -> Page:
        self.at.run()
        assert not self.at.exception, self.at.exception
        return self

    def press(self, name: str) -> Page:
        self.at.button(key=f"{name}-{self.key}").click()
        return self.run()

    def field(self, name: str):  # type: ignore[no-untyped-def]
        turn = f"-{self.state.value.turn}" if name == "value" else ""
        return self.at.text_input(key=f"{name}-{self.key}{turn}")

    def type(self, name: str, text: str) -> Page:
        self.field(name).input(text)
        return self.run()

    def scale(self, name: str = "quay-60") -> Page:
        self.at.radio[0].set_value(name)
        return self.run()

    def answer(self, *yes: str) -> Page:
        """All four hold; or of each whether it does, those named in ``yes`` and no other."""
        self.at.button_group(key=f"four-{self.key}").set_value("Not all" if yes else
                                                               "All four hold")
        self.run()
        for name in FOUR if yes else ():
            group = self.at.button_group(key=f"{name}-{self.key}")
            group.set_value("Yes" if name in yes else "No")
        return self.run()

    def to_the_reading(self, data: bytes, own: str = "31,5") -> Page:
        """Upload, choose the scale, read first."""
        return self.upload(data).scale().type("own", own).press("commit")

    def sign(self, initials: str = "M.K.", bed: str = "QUAY-3") -> Page:
        self.type("bed", bed)
        return self.type("by", initials)


FOUR = ("outlet_closed", "hanging_plumb", "patient_undisturbed", "right_chamber_and_scale")


class Reader:
    """Stands in for the measuring side and remembers how it was asked."""

    def __init__(self, *answers: VolumeReading) -> None:
        self.answers, self.asked, self.hints, self.sets = list(answers), [], [], []

    def __call__(self, photo, scale, *, near=None, surface=None, number=None):  # type: ignore[no-untyped-def]
        photos = photo if isinstance(photo, tuple) else (photo,)
        self.asked.append((photos[0].sha256, scale.name, near or surface, number))
        self.sets.append([p.sha256 for p in photos])
        self.hints.append((near, surface))
        return self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]


def install(monkeypatch, reader: Reader) -> Reader:  # type: ignore[no-untyped-def]
    """Let the page ask ``reader`` in place of the measuring side."""
    monkeypatch.setattr(vision.volume.read, "read_volume", reader)
    return reader
