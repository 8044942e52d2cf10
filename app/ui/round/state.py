"""What the page "Round" knows between two runs; no Streamlit in here.

Only what is not on record: photos in hand, what is typed and chosen, what the last press
missed.  It waits for its browser after a reload (:mod:`app.ui.kept`).
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from app.records import Entry
from app.rounds import StepName
from app.ui.chamber.state import ChamberState
from app.ui.level.state import LevelState

if TYPE_CHECKING:
    from app.ui.round.level import LevelFound

#: What the keys of a round's entries begin with; the form's own key, of 32 letters, follows.
_FORM = "round-"


@dataclass
class RoundState:
    """One bed's hour.

    ``turn`` counts what went on record and keys every widget of the page; ``form_key`` makes
    a second press the same entries.  ``eye`` is True where there is no photo.  ``after`` is the
    number of the last entry on record when the hour began.  ``fields`` are the widgets' values
    as they were last seen, for a session that begins anew; ``missing`` is why the last press
    did nothing, ``done`` what went on record with it.
    """

    bed: str = ""
    turn: int = 0
    form_key: str = field(default_factory=lambda: uuid.uuid4().hex)
    eye: bool = False
    after: int | None = None
    fields: dict[str, str | bool] = field(default_factory=dict)
    initials: str = ""
    ask_initials: bool = False
    setting_first: str = ""
    meanwhile_accepted: int | None = None
    order_accepted: int = 0
    missing: tuple[str, ...] = ()
    clock_doubt: bool = False
    done: tuple[Entry, ...] = ()
    left: bool = False
    level: LevelState = field(default_factory=LevelState)
    level_own: str = ""
    level_found: tuple[LevelFound, ...] = ()
    chamber: ChamberState = field(default_factory=ChamberState)

    @property
    def key(self) -> str:
        """Of every widget of this hour."""
        return f"hour-{self.form_key[:8]}-{self.turn}"

    @property
    def form(self) -> str:
        """What the keys of this hour's entries begin with: a second press is the same entries."""
        return f"{_FORM}{self.form_key}"

    @property
    def furthest(self) -> StepName:
        """How far the hour is; a step back shows what is behind and changes nothing."""
        if self.eye and self.chamber.committed:
            return "both"
        if self.chamber.photo is None and not self.eye:
            return "photo"
        return "both" if self.chamber.may_read else "own"

    def finish(self, done: tuple[Entry, ...]) -> None:
        """Everything is on record: the photos and the form are gone."""
        scale = self.chamber.scale
        self.turn += 1
        self.form_key = uuid.uuid4().hex
        self.eye, self.after, self.meanwhile_accepted, self.order_accepted = False, None, None, 0
        self.fields, self.missing, self.clock_doubt = {}, (), False
        self.setting_first, self.level_own = "", ""
        self.level_found, self.ask_initials = (), False
        self.level.forget()
        self.chamber = ChamberState()
        self.chamber.choose_scale(scale)
        self.done = done

    def commit_eye(self, digits: str) -> None:
        """What the eye read is what is to be confirmed."""
        self.chamber.commit_own(digits)
        self.chamber.value.set(self.chamber.own)

    def begin_eye(self) -> None:
        """This hour without a photo."""
        self.chamber.drop_photo()
        self.eye = True


def form_of(key: str) -> str:
    """What the key of an entry shares with the others of its press; "" for one that no round
    made.  The reading alone has the key of its photo."""
    length = len(_FORM) + 32
    return key[:length] if key.startswith(_FORM) and key[length:length + 1] == "-" else ""
