"""The errors of the record; every message can be shown to a person as it stands."""

from __future__ import annotations

from vision.errors import CountersightError


class RecordError(CountersightError):
    """Base of all errors of the record."""


class ConfirmError(RecordError):
    """Something is missing or makes no sense in what is to be confirmed."""


class NotConfirmedError(RecordError):
    """Something that no person confirmed was handed to the store."""


class RefusedByDatabaseError(RecordError):
    """The database's own rules refused an entry."""


class KeyReusedError(RecordError):
    """One form key came twice with different content."""


class AlreadySupersededError(RecordError):
    """The entry was corrected or withdrawn by someone else in the meantime."""


class NoSuchEntryError(RecordError):
    """No entry has that number."""


class ClockDoubtError(RecordError):
    """This machine's clock is earlier than the last entry, or much later."""


class DiskFullError(RecordError):
    """There is no room left to write."""


class ReadOnlyError(RecordError):
    """The folder or the file cannot be written."""


class LockedError(RecordError):
    """Another program keeps the database to itself."""


class NewerVersionError(RecordError):
    """The database was made by a newer version of this software."""


class NotARecordError(RecordError):
    """The file or database is not a record of this software."""


class DamagedError(RecordError):
    """The database file itself is damaged."""


class UnreachableError(RecordError):
    """The database server does not answer or does not let us in."""
