"""Photos of one thing that a page puts together: those in hand, and those taken out again.

No Streamlit in here.  The chamber's page and the level's keep their photos alike.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, Protocol, TypeVar

from app.records import Moment
from app.records.quantity import measured
from vision.imaging.photo import Photo

#: Most photos of one chamber, or of the same cards, that a page keeps in hand: more tell nothing
#: new (our choice).
MOST_IN_HAND = 4


class _Alone(Protocol):
    @property
    def reading(self) -> Any: ...


class _Together(Protocol):
    """A reading of one photo or of several: what each says alone, and whose lines it draws."""

    @property
    def status(self) -> str: ...

    @property
    def photos(self) -> Sequence[_Alone]: ...

    @property
    def drawn_on(self) -> int: ...


R = TypeVar("R", bound=_Together)


@dataclass(frozen=True)
class TakenOut(Generic[R]):
    """A photo that was taken out again, and what it said by itself, if it was read."""

    sha256: str
    reading: R | None


@dataclass
class PhotosInHand(Generic[R]):
    """``photos`` are those that are read together, with the moments at which they came in,
    ``taken_out`` those that were taken out again, ``reading`` what is read from those in hand."""

    photos: tuple[Photo, ...] = ()
    came_in: tuple[Moment, ...] = ()
    taken_out: tuple[TakenOut[R], ...] = ()
    reading: R | None = None

    @property
    def photo(self) -> Photo | None:
        """The first photo in hand, to which points that were tapped belong."""
        return self.photos[0] if self.photos else None

    @property
    def shown(self) -> Photo | None:
        """The photo that the reading's lines belong to."""
        return self.photos[self.reading.drawn_on] if self.reading is not None else self.photo

    def holds(self, photo: Photo) -> bool:
        """Whether it is in hand already."""
        return self.place_of(photo.sha256) is not None

    def place_of(self, sha256: str) -> int | None:
        """At which place the photo with this digest is; None when it is not in hand any more, as
        when its button was pressed twice."""
        return next((n for n, p in enumerate(self.photos) if p.sha256 == sha256), None)

    def may_take_out(self, place: int) -> bool:
        """Whether the photo at a place is one of several: one stays in hand."""
        return len(self.photos) > 1 and 0 <= place < len(self.photos)

    def put_aside(self, place: int) -> None:
        """One of the photos is not to count; what it said is kept for the record."""
        alone = self.reading.photos if self.reading is not None else ()
        own = alone[place].reading if place < len(alone) else None
        self.taken_out += (TakenOut(self.photos[place].sha256, own),)
        self.photos = (*self.photos[:place], *self.photos[place + 1:])
        self.came_in = (*self.came_in[:place], *self.came_in[place + 1:])

    def named(self, value_of: Callable[[R], float | None]) -> dict[str, Any]:
        """What the record says of several photos: which they are and what each says by itself,
        which were taken out again; nothing of a single one."""
        alone = self.reading.photos if self.reading is not None else ()
        found: dict[str, Any] = {}
        if alone:
            found["photos"] = [_named(photo.sha256, own.reading, value_of)
                               for photo, own in zip(self.photos, alone, strict=True)]
        if self.taken_out:
            found["taken_out"] = [_named(t.sha256, t.reading, value_of) for t in self.taken_out]
        return found


def _named(sha256: str, reading: R | None, value_of: Callable[[R], float | None]
           ) -> dict[str, Any]:
    value = None if reading is None else value_of(reading)
    return {"sha256": sha256, "status": "not-read" if reading is None else reading.status,
            "value": None if value is None else measured(value)}
