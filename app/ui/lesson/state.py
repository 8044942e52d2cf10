"""What a lesson page knows between two runs; no Streamlit in here."""

from __future__ import annotations

import secrets
import uuid
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from vision.lesson.rounds import Verdict
from vision.scale_file.scale import Scale

_PICTURES_KEPT = 40


@dataclass
class PictureShelf:
    """Pictures that were made in this session, by what they show; the oldest go first."""

    made: OrderedDict[tuple[Any, ...], bytes] = field(default_factory=OrderedDict)

    def get(self, key: tuple[Any, ...], make: Callable[[], bytes]) -> bytes:
        """The picture of ``key``; it is made where it is not on the shelf."""
        if key not in self.made:
            self.made[key] = make()
            while len(self.made) > _PICTURES_KEPT:
                self.made.popitem(last=False)
        self.made.move_to_end(key)
        return self.made[key]


@dataclass(frozen=True)
class OwnPhoto:
    """An own photo for the screen, without camera data, and what is true of it in mL."""

    name: str
    jpeg: bytes
    true_value: float
    division: float


@dataclass
class Round:
    """A round of tasks: predict first, see then.

    The truth is asked of this object only once the answer is in (``shown``).
    """

    tasks: tuple[Any, ...] = ()
    verdicts: list[Verdict] = field(default_factory=list)
    answers: list[float] = field(default_factory=list)
    shown: bool = False
    problem: str = ""
    key: str = field(default_factory=lambda: uuid.uuid4().hex[:8])

    @property
    def running(self) -> bool:
        """A task is in hand."""
        return bool(self.tasks) and self.index < len(self.tasks)

    @property
    def finished(self) -> bool:
        """Every task has been answered and looked at."""
        return bool(self.tasks) and not self.running

    @property
    def index(self) -> int:
        """Number of the task in hand, from 0; an answered one stays until ``go_on``."""
        return len(self.verdicts) - (1 if self.shown else 0)

    @property
    def task(self) -> Any:
        """The task in hand."""
        return self.tasks[self.index]

    @property
    def field_key(self) -> str:
        """Names the field of the task in hand, so that no text carries over."""
        return f"{self.key}-{self.index}"

    def begin(self, plan: Callable[[int], tuple[Any, ...]]) -> None:
        """A new round, another one each time."""
        self.__init__(tasks=plan(secrets.randbelow(2**31)))  # type: ignore[misc]

    def commit(self, answer: float, verdict: Verdict) -> None:
        """Keep the first answer; a second one for the same task changes nothing."""
        if self.running and not self.shown:
            self.answers.append(answer)
            self.verdicts.append(verdict)
            self.shown, self.problem = True, ""

    def go_on(self) -> None:
        """To the next task."""
        self.shown, self.problem = False, ""


@dataclass
class LessonState:
    """``kept`` holds the positions of sliders, so that they outlive a visit to another
    page; ``held`` the rows of the comparison table."""

    kept: dict[str, Any] = field(default_factory=dict)
    held: list[tuple[float, ...]] = field(default_factory=list)
    round: Round = field(default_factory=Round)
    pictures: PictureShelf = field(default_factory=PictureShelf)
    level_choice: int = 0
    #: Nothing is told before it was asked for; what was predicted, and which question stands.
    hidden: bool = True
    question: int = 0
    said: float | None = None
    problem: str = ""
    #: The educator's own: a scale instead of the lesson's, and photos with their true values.
    scale: Scale | None = None
    photos: tuple[OwnPhoto, ...] = ()
    own_problem: str = ""
    #: Names the fields of own material, so that a file let go is let go by the browser, too.
    own_key: int = 0
    class_set: bytes = b""

    def hold(self, row: tuple[float, ...]) -> None:
        """Keep a reading for comparison; the last six stay."""
        if row not in self.held:
            self.held = [*self.held, row][-6:]
