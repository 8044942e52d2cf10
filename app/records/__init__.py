"""The record: what a person confirmed, in one hash-linked chain.  See docs/record.md."""

from app.records.chain import Verification
from app.records.codes import BedCode, Initials
from app.records.confirm import confirm
from app.records.confirmed import ConfirmedEntry
from app.records.content import Entry
from app.records.drafts import (
    CorrectionDraft,
    Draft,
    EventDraft,
    LevelDraft,
    OrderDraft,
    ReadingDraft,
    SettingDraft,
    SkipDraft,
    WithdrawalDraft,
)
from app.records.errors import (
    AlreadySupersededError,
    ClockDoubtError,
    ConfirmError,
    DamagedError,
    DiskFullError,
    KeyReusedError,
    LockedError,
    NewerVersionError,
    NoSuchEntryError,
    NotARecordError,
    NotConfirmedError,
    ReadOnlyError,
    RecordError,
    RefusedByDatabaseError,
    UnreachableError,
)
from app.records.kinds import EVENTS, KINDS, SUBJECTS, WORDS
from app.records.moment import Moment
from app.records.parts import Attestations, MachineView, OwnReading
from app.records.picture import KeptPicture
from app.records.quantity import quantity
from app.records.standing import Standing
from app.records.store import Store

__all__ = [
    "EVENTS", "KINDS", "SUBJECTS", "WORDS", "AlreadySupersededError", "Attestations", "BedCode",
    "ClockDoubtError", "ConfirmError", "ConfirmedEntry", "CorrectionDraft", "DamagedError",
    "DiskFullError", "Draft", "Entry", "EventDraft", "Initials", "KeptPicture", "KeyReusedError",
    "LevelDraft", "LockedError", "MachineView", "Moment", "NewerVersionError", "NoSuchEntryError",
    "NotARecordError", "NotConfirmedError", "OrderDraft", "OwnReading", "ReadOnlyError",
    "ReadingDraft", "RecordError", "RefusedByDatabaseError", "SettingDraft", "SkipDraft",
    "Standing", "Store", "UnreachableError", "Verification", "WithdrawalDraft", "confirm",
    "quantity",
]
