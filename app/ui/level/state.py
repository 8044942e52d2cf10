"""What the page "Level" has in hand; everything belongs to the photos of one check."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from app.another_photo import minutes_apart
from app.records import Moment
from app.ui.photos_in_hand import MOST_IN_HAND, PhotosInHand
from vision.imaging.photo import Photo
from vision.level.result import LevelReading

Point = tuple[float, float]
Way = Literal["cards", "tap", "two-taps"]


@dataclass
class LevelState(PhotosInHand[LevelReading]):
    """The photos, what was measured in them, and the form that may confirm it.

    ``turn`` changes with every photo and every record, so that no widget and no
    second tap meets the wrong one.  ``tolerance`` is the ward's tolerance for
    "level" as it was typed, in cm; it outlives the photo and a visit to another
    page, and ``first_tolerance`` is what its field began with on this visit.  ``measured`` is
    what was tapped and typed when the reading was made: landmark, zero reference, depth.
    ``pending`` is how a press asked to measure, until that is done.
    ``small`` holds the pictures of several photos by their SHA-256, ``used`` which photos are on
    record already, in sentences; None before that was looked up.
    """

    turn: int = 0
    form_key: str = field(default_factory=lambda: str(uuid.uuid4()))
    problem: str = ""
    another_problem: str = ""
    way: Way = "cards"
    pending: Callable[[], LevelReading] | None = None
    picture: bytes | None = None
    small: dict[str, bytes | None] = field(default_factory=dict)
    used: tuple[str, ...] | None = None
    measured: tuple[Point | None, Point | None, str] | None = None
    bed: str = ""
    missing: tuple[str, ...] = ()
    clock_doubt: bool = False
    recorded: str = ""
    tolerance: str = ""
    first_tolerance: str | None = None

    @property
    def key(self) -> str:
        """Key of every widget that belongs to the photos in hand."""
        return f"level-{self.turn}-{self.photo.sha256[:12] if self.photo else 'none'}"

    def take(self, photo: Photo) -> None:
        """A first photo: whatever was measured before is gone."""
        self.forget()
        self.photos, self.came_in = (photo,), (Moment.now(),)

    def refuse(self, sentence: str) -> None:
        """A file that is no photo."""
        self.forget()
        self.problem = sentence

    def add(self, photo: Photo) -> None:
        """One more photo of the same cards, or the sentence why it is none.

        Both have to show the same: what hangs may be hung anew within minutes.
        """
        photos, came_in = (*self.photos, photo), (*self.came_in, Moment.now())
        apart = minutes_apart(photos, [m.utc.timestamp() / 60 for m in came_in])
        self.another_problem = ""
        if self.holds(photo):
            self.another_problem = ("This is a photo that you have in hand already: take another "
                                    "one, from beside it.")
        elif apart is not None:
            self.another_problem = (
                f"{apart:.0f} minutes lie between the photos: something may have been moved. Take "
                "all of them anew, one right after the other.")
        elif self.photos and len(self.photos) < MOST_IN_HAND:
            self.photos, self.came_in = photos, came_in
            self._measure_anew()

    def refuse_another(self, sentence: str) -> None:
        """A file that is no usable photo: those in hand stay."""
        self.another_problem = sentence

    def take_out(self, place: int) -> None:
        """One of several photos is not to count; what it said is kept for the record."""
        if self.may_take_out(place):
            self.put_aside(place)
            self._measure_anew()

    def _measure_anew(self) -> None:
        self.turn += 1
        self.form_key = str(uuid.uuid4())
        self.reading = self.picture = self.measured = self.used = None
        self.pending = None
        self.missing, self.another_problem = (), ""

    def forget(self) -> None:
        """Nothing in hand."""
        self._measure_anew()
        self.photos, self.came_in, self.taken_out = (), (), ()
        self.small = {}
        self.problem, self.clock_doubt, self.recorded = "", False, ""

    def finish(self, sentence: str) -> None:
        """The check is on record."""
        self.forget()
        self.recorded = sentence
