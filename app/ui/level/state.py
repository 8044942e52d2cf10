"""What the page "Level" has in hand; everything belongs to one photo."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from typing import Literal

from vision.imaging.photo import Photo
from vision.level.result import LevelReading

Point = tuple[float, float]
Way = Literal["cards", "tap", "two-taps"]


@dataclass
class LevelState:
    """The photo, what was measured in it, and the form that may confirm it.

    ``turn`` changes with every photo and every record, so that no widget and no
    second tap meets the wrong one.  ``tolerance`` is the ward's tolerance for
    "level" as it was typed, in cm; it outlives the photo and a visit to another
    page, and ``first_tolerance`` is what its field began with on this visit.  ``measured`` is
    what was tapped and typed when the reading was made: landmark, zero reference, depth.
    """

    turn: int = 0
    form_key: str = field(default_factory=lambda: str(uuid.uuid4()))
    photo: Photo | None = None
    problem: str = ""
    way: Way = "cards"
    reading: LevelReading | None = None
    picture: bytes | None = None
    measured: tuple[Point | None, Point | None, str] | None = None
    bed: str = ""
    missing: tuple[str, ...] = ()
    clock_doubt: bool = False
    recorded: str = ""
    tolerance: str = ""
    first_tolerance: str | None = None

    @property
    def key(self) -> str:
        """Key of every widget that belongs to the photo in hand."""
        return f"level-{self.turn}-{self.photo.sha256[:12] if self.photo else 'none'}"

    def take(self, photo: Photo) -> None:
        """Another photo: whatever was measured in the last one is gone."""
        self.forget()
        self.photo = photo

    def refuse(self, sentence: str) -> None:
        """A file that is no photo."""
        self.forget()
        self.problem = sentence

    def forget(self) -> None:
        """Nothing in hand."""
        self.turn += 1
        self.form_key = str(uuid.uuid4())
        self.photo = self.reading = self.picture = self.measured = None
        self.problem, self.missing, self.clock_doubt, self.recorded = "", (), False, ""

    def finish(self, sentence: str) -> None:
        """The check is on record."""
        self.forget()
        self.recorded = sentence
