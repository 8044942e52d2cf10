"""What the record and the round's file hold for one bed, looked up once a run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.records import Entry, Moment, Standing, Store
from app.records.shift import (
    BedAccount,
    LevelState,
    bed_account,
    ended,
    level_state,
    of_this_drain,
)
from app.rounds import Round, RoundBook, RoundError
from app.settings import ward_folder
from app.ui import ledger


@dataclass(frozen=True)
class View:
    """One bed now; what is last is of the drain that is in place, ``ended`` what ended the last
    one where none came after it.  ``round_problem`` says why the round's file cannot be used."""

    bed: str
    now: Moment
    account: BedAccount
    level: LevelState
    last_level: Entry | None
    last_setting: Entry | None
    last_reading: Entry | None
    ended: Entry | None
    round: Round | None
    round_problem: str = ""

    @property
    def order(self) -> Entry | None:
        """The order that stands."""
        return self.account.order


def book() -> RoundBook:
    """Where rounds under way are kept: beside the record, or with this user's data where
    the record is in a database on a server."""
    return RoundBook(ward_folder(ledger.place()) / "rounds")


def look_up(bed: str) -> View:
    """Read the record and the round.  Raises a RecordError where the record cannot be read."""
    store, now = ledger.open_store(), Moment.now()
    account = bed_account(store, bed)
    standings = of_this_drain(account.standings)
    round_, problem = None, ""
    try:
        round_ = book().get(bed)
    except RoundError as error:
        problem = str(error)
    return View(
        bed, now, account,
        level_state(account.standings, now.local, due_minutes=account.limits.level_due_minutes,
                    order=account.order),
        _last(standings, "level-check"), _last(standings, "setting-check"),
        _last(standings, "volume-reading"), ended(account), round_, problem)


def newest(store: Store) -> int:
    """The number of the last entry on record."""
    return store.count()


def _last(standings: Sequence[Standing], subject: str) -> Entry | None:
    return next((s.entry for s in reversed(standings)
                 if s.entry.subject == subject and not s.withdrawn), None)
