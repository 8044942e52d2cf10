"""Where a person stands on the page "Chamber": one value, and the steps between.

No Streamlit in here.  The rules that must hold are kept by the steps: a new
photo clears everything that belonged to the old one; the tool is asked only
after the person has typed a reading or chosen to go without; what is confirmed
is what belongs to the photo shown.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field, replace

from app.agreement import Agreement, compare_readings
from app.records import Moment
from app.ui.photo_picker import Source
from app.ui.photos_in_hand import MOST_IN_HAND, PhotosInHand
from app.ui.pictures import ScreenCopy
from vision.imaging.photo import Photo
from vision.reading import VolumeReading
from vision.scale_file.scale import Scale

#: Views of the drawn photo, which go when the reading goes.
DRAWN = ("Surface", "Chamber", "Whole photo")
#: What the names of the small copies of several photos begin with.
SMALL = "photo "


@dataclass(frozen=True)
class Recorded:
    """What the page says after an entry has been written."""

    number: int
    sentence: str
    bed: str
    demo: bool


@dataclass
class ValueEntry:
    """The value about to be confirmed, and what its field said last.

    A press can reach the program before the screen has shown what an earlier press
    changed; the browser then sends the field's old text along.  So the value is
    kept here, and whenever the program sets it, the field is replaced by a new one
    (``turn``): what the old one still says counts for nothing.  ``first`` is what the
    present field began with: it is given as the field's own beginning, since a value
    set from outside is lost when a quick hand interrupts the first run.
    """

    text: str = ""
    turn: int = 0
    seen: str = ""
    first: str = ""

    def set(self, text: str) -> None:
        """A value taken over: the field starts anew from it."""
        self.text = self.seen = self.first = text
        self.turn += 1

    def take_in(self, typed: str | None) -> None:
        """What the present field says, where it differs from the last time."""
        if typed is not None and typed != self.seen:
            self.text = self.seen = typed


@dataclass
class ChamberState(PhotosInHand[VolumeReading]):
    """Everything the page knows between two runs, and nothing a widget owns.

    ``own`` holds the person's digits as typed.  ``seen_before`` is True when a value of the
    tool's was shown for an earlier photo that was then discarded: a reading typed after
    that is not blind.  ``between`` is what was said of the time between the photos, and
    ``between_first`` what its present field began with.  ``generation`` counts first photos and
    keys every widget that belongs to them, ``answers`` every way in which they are read.
    """

    generation: int = 0
    begun_with: str = ""
    source: Source = "file"
    photo_problem: str = ""
    used: tuple[str, ...] = ()
    between: str = ""
    between_first: str = ""
    scale: Scale | None = None
    scale_problem: str = ""
    own: str = ""
    seen_before: bool = False
    skipped: bool = False
    near: tuple[float, float] | None = None
    surface: tuple[float, float] | None = None
    number: tuple[float, tuple[float, float]] | None = None
    answers: int = 0
    asked: VolumeReading | None = None
    reading_problem: str = ""
    value: ValueEntry = field(default_factory=ValueEntry)
    far_accepted: str = ""
    missing: tuple[str, ...] = ()
    unanswered: str = ""
    clock_doubt: bool = False
    undrawable: bool = False
    copies: dict[str, ScreenCopy] = field(default_factory=dict)
    form_key: str = field(default_factory=lambda: uuid.uuid4().hex)
    recorded: Recorded | None = None

    @property
    def taken_in(self) -> Moment | None:
        """When the first of the photos came in."""
        return self.came_in[0] if self.came_in else None

    @property
    def demo(self) -> bool:
        """True while the photo in hand is one of the demo photos."""
        return self.photo is not None and self.source == "demo"

    @property
    def committed(self) -> bool:
        """True once the person has read first, or has chosen to go without."""
        return bool(self.own) or self.skipped

    @property
    def may_read(self) -> bool:
        """True when the tool may be asked: photo, scale and the person's own turn are done."""
        return self.photo is not None and self.scale is not None and self.committed

    @property
    def turn(self) -> tuple[object, ...]:
        """What a reading that is being made belongs to: photos, scale, answers."""
        return (self.generation, self.photos, self.scale, self.answers, self.near, self.surface,
                self.number)

    def accept(self, turn: tuple[object, ...], reading: VolumeReading | None,
               problem: str) -> None:
        """The tool's answer, taken only while nothing that it belongs to has changed."""
        if turn != self.turn:
            return
        if reading is None and self.asked is not None:
            self.take_back_answer(problem)
        else:
            self.reading, self.reading_problem = reading, problem

    @property
    def agreement(self) -> Agreement | None:
        """The person's reading against the tool's; None while one of them is missing."""
        if not self.own or self.reading is None or self.scale is None:
            return None
        return compare_readings(float(self.own), self.reading, self.scale)

    def take_photo(self, photo: Photo, source: Source) -> None:
        """A new photo: nothing of the old one stays."""
        self.drop_photo()
        self.photos, self.came_in, self.source = (photo,), (Moment.now(),), source
        self.begun_with = photo.sha256
        self.recorded = None

    def add_photo(self, photo: Photo) -> None:
        """One more photo of the same chamber: all are read together, from the beginning."""
        self.photo_problem = ""
        if self.holds(photo):
            self.photo_problem = "This is a photo that you have in hand already: take another one."
        elif self.photos and len(self.photos) < MOST_IN_HAND:
            self.photos, self.came_in = (*self.photos, photo), (*self.came_in, Moment.now())
            self._read_anew()

    def refuse_another(self, sentence: str) -> None:
        """A file that is no usable photo: those in hand stay."""
        self.photo_problem = sentence

    def take_out(self, place: int) -> None:
        """One of several photos is not to count; what it said is kept for the record."""
        if not self.may_take_out(place):
            return
        self.put_aside(place)
        if place == 0:
            self.near = self.surface = self.number = None
        self._read_anew()

    def _read_anew(self) -> None:
        hints = self.near, self.surface, self.number
        self._forget_reading()
        self.near, self.surface, self.number = hints
        self.answers += 1

    def refuse_photo(self, sentence: str) -> None:
        """A file that is no usable photo: the old photo goes as well."""
        self.drop_photo()
        self.photo_problem = sentence
        self.recorded = None

    def drop_photo(self) -> None:
        """Forget the photo and all that was read from it; the scale stays chosen."""
        if self.reading is not None and self.reading.value is not None:
            self.seen_before = True
        self.generation += 1
        self.photos, self.came_in, self.taken_out, self.source = (), (), (), "file"
        self.photo_problem = self.begun_with = ""
        self.used = ()
        self.between = ""
        self.own, self.skipped = "", False
        self.form_key = uuid.uuid4().hex
        self.copies.clear()
        self._forget_reading()

    def choose_scale(self, scale: Scale | None, problem: str = "") -> None:
        """Another scale: the tool's reading against the old one is void."""
        if scale != self.scale:
            self._forget_reading()
        self.scale, self.scale_problem = scale, problem

    @property
    def key(self) -> str:
        """Key of every widget that belongs to the photos in hand: the digest of the one that
        they began with, and its turn."""
        return f"{self.begun_with[:12] or 'none'}-{self.generation}"

    def commit_own(self, digits: str) -> None:
        """The person's own reading, typed before the tool's is known; it stands."""
        if not self.committed:
            self.own = digits

    def skip_own(self) -> None:
        """The person chooses to see the tool's reading without one of their own."""
        if not self.committed:
            self.skipped = True

    def answer(
        self,
        near: tuple[float, float] | None = None,
        surface: tuple[float, float] | None = None,
        number: tuple[float, tuple[float, float]] | None = None,
    ) -> None:
        """An answer to the tool's question: where the chamber is, where its surface, or what
        a mark says, in the photo that is ``shown``.  The photo is then read again."""
        asked = self._asked_first()
        near, surface = near or self.near, surface or self.surface
        number = number or self.number
        self._forget_reading()
        self.near, self.surface, self.number, self.asked = near, surface, number, asked
        self.answers += 1

    def _asked_first(self) -> VolumeReading | None:
        """The reading that asks, with the photo that it asks about as the first one: points
        belong to that, and the order of photos does not matter."""
        asked = self.reading
        if asked is None or asked.drawn_on == 0:
            return asked
        order = (asked.drawn_on, *(n for n in range(len(self.photos)) if n != asked.drawn_on))
        self.photos = tuple(self.photos[n] for n in order)
        self.came_in = tuple(self.came_in[n] for n in order)
        self.near = self.surface = self.number = None
        return replace(asked, drawn_on=0, photos=tuple(asked.photos[n] for n in order))

    def take_back_answer(self, sentence: str) -> None:
        """An answer that cannot be used: the question stands again, with the sentence why."""
        asked = self.asked
        self._forget_reading()
        self.reading, self.unanswered = asked, sentence

    def finish(self, recorded: Recorded) -> None:
        """An entry is on record: the photo and the form are gone."""
        self.drop_photo()
        self.seen_before = False
        self.recorded = recorded

    def _forget_reading(self) -> None:
        self.near = self.surface = self.number = self.reading = self.asked = None
        self.reading_problem = self.far_accepted = self.unanswered = ""
        self.value.set("")
        self.missing = ()
        self.clock_doubt = self.undrawable = False
        for view in DRAWN:
            self.copies.pop(view, None)
        for small in [name for name in self.copies if name.startswith(SMALL)]:
            del self.copies[small]
