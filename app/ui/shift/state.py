"""What the page "Shift" knows between two runs; no Streamlit in here."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

#: How far back the page looks; None = all that is on record.
PERIODS: Mapping[str, timedelta | None] = {
    "12 hours": timedelta(hours=12), "24 hours": timedelta(hours=24),
    "3 days": timedelta(days=3), "Everything": None,
}
FIRST_PERIOD = "24 hours"


@dataclass(frozen=True)
class Papers:
    """Sheet of one bed and period, and files, as they were at one moment; ``problems`` says
    which one of them could not be made (None), and why."""

    bed: str
    period: str
    made_at: datetime
    sentence: str
    whole: bool
    note_elsewhere: str
    pdf: bytes | None
    csv: bytes | None
    fhir: bytes | None
    problems: tuple[str, ...] = ()


@dataclass
class Form:
    """One form of the page: a turn and a key of its own, and what kept it from being recorded.

    A second tap meets another turn and does nothing; the same form sent twice is one entry.
    """

    turn: int = 0
    key: str = field(default_factory=lambda: uuid.uuid4().hex)
    missing: tuple[str, ...] = ()
    clock_doubt: bool = False

    def renew(self) -> None:
        """The form was recorded, or another thing is to be entered."""
        self.turn += 1
        self.key = uuid.uuid4().hex
        self.missing, self.clock_doubt = (), False


@dataclass
class ShiftState:
    """``kept`` holds the texts of fields, so that they outlive a visit to another page;
    ``first`` what they began with on this visit."""

    kept: dict[str, str] = field(default_factory=dict)
    first: dict[str, str] = field(default_factory=dict)
    event: Form = field(default_factory=Form)
    correction: Form = field(default_factory=Form)
    bed: str = ""
    recorded: str = ""
    papers: Papers | None = None
    papers_problem: str = ""
    starts_problem: str = ""

    def show_bed(self, bed: str) -> None:
        """Another bed: no form and no paper of the old one stays."""
        if bed != self.bed:
            self.bed = bed
            self.event.renew()
            self.correction.renew()
            self.recorded = ""
            self.drop_papers()

    def finish(self, form: Form, sentence: str) -> None:
        """An entry is on record: what was prepared before no longer says all."""
        form.renew()
        self.recorded = sentence
        self.drop_papers()

    def drop_papers(self) -> None:
        """Files that were prepared and are no longer wanted."""
        self.papers, self.papers_problem = None, ""


def since(period: str, now: datetime) -> datetime | None:
    """Where the period begins."""
    back = PERIODS[period]
    return None if back is None else now - back
