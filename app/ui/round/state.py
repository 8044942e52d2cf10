"""What the page "Round" knows between two runs; no Streamlit in here.

Only what a reload may lose: initials, a photo in hand, what is typed.  The steps
behind are in the round's own file and on record.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field

from app.ui.chamber.state import ChamberState
from app.ui.level.state import LevelState


@dataclass
class RoundState:
    """``turn`` counts what was confirmed and keys every widget of the step in hand;
    ``missing`` is why the last press did nothing, shown at the place ``missing_at``."""

    bed: str = ""
    initials: str = ""
    turn: int = 0
    form_key: str = field(default_factory=lambda: uuid.uuid4().hex)
    missing: tuple[str, ...] = ()
    missing_at: str = ""
    clock_doubt: bool = False
    said: str = ""
    level: LevelState = field(default_factory=LevelState)
    chamber: ChamberState = field(default_factory=ChamberState)

    def go_on(self, said: str = "") -> None:
        """Something was confirmed or gone through: the next form is a new one."""
        self.turn += 1
        self.form_key = uuid.uuid4().hex
        self.missing, self.clock_doubt, self.said = (), False, said
        self.level.forget()

    def at_bed(self, bed: str) -> None:
        """Another bed: nothing of the last one stays, but for who is at work."""
        if bed != self.bed:
            self.bed = bed
            self.chamber = ChamberState()
            self.go_on()
