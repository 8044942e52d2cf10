"""What an entry says: one frozen value, the same in memory, in the table and in the hash."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from app.records.canonical import canonical_json
from app.records.drafts import CorrectionDraft, WithdrawalDraft
from app.records.errors import ConfirmError, DamagedError
from app.records.moment import Moment
from app.records.parts import Attestations, MachineView, OwnReading

#: What is confirmed so many minutes after it was seen or done is a late entry (our choice).
LATE_MINUTES = 15


@dataclass(frozen=True, kw_only=True)
class Content:
    """Everything an entry says, without its place in the chain.

    ``subject`` is the kind of thing it speaks about: the kind itself, except for
    corrections and withdrawals, which carry the subject of the entry they name in
    ``refers_to``.  A correction carries the whole corrected state.  ``happened``
    is when it was seen or done, ``recorded`` when it was confirmed.
    """

    key: str
    kind: str
    subject: str
    bed: str
    initials: str
    happened: Moment
    recorded: Moment
    software_version: str
    event: str | None = None
    identity: str | None = None
    clock_checked: bool = False
    machine: MachineView | None = None
    first: OwnReading | None = None
    confirmed_value: Decimal | None = None
    unit: str | None = None
    scale: str | None = None
    photo_sha256: str | None = None
    attestations: Attestations | None = None
    refers_to: int | None = None
    reason: str | None = None
    note: str = ""
    payload: Mapping[str, Any] = field(default_factory=dict)

    @property
    def act(self) -> str | None:
        """The event, or that its state was seen: the key of its words."""
        return f"{self.event}-seen" if self.payload.get("seen") else self.event

    @property
    def by(self) -> str:
        """The initials for the end of a sentence, whose point follows."""
        return self.initials.rstrip(".")

    @property
    def late_minutes(self) -> float:
        """Minutes between seeing and confirming."""
        return (self.recorded.utc - self.happened.utc).total_seconds() / 60

    def row(self) -> dict[str, Any]:
        """Column -> text, whole number or None: what is stored and hashed."""
        m, a = self.machine, self.attestations
        return {
            "key": self.key, "kind": self.kind, "subject": self.subject, "event": self.event,
            "bed": str(self.bed), "initials": str(self.initials), "identity": self.identity,
            "happened_utc": self.happened.utc_text,
            "happened_offset_min": self.happened.offset_min,
            "recorded_utc": self.recorded.utc_text,
            "recorded_offset_min": self.recorded.offset_min,
            "clock_checked": int(self.clock_checked),
            "machine_status": m.status if m else None,
            "machine_value": _text(m.value) if m else None,
            "machine_low": _text(m.low) if m else None,
            "machine_high": _text(m.high) if m else None,
            "flags": canonical_json(list(m.flags) if m else []),
            "first_read": None if self.first is None
            else "skipped" if self.first.value is None else "read",
            "first_value": _text(self.first.value) if self.first else None,
            "confirmed_value": _text(self.confirmed_value),
            "unit": self.unit, "scale": self.scale, "photo_sha256": self.photo_sha256,
            "outlet_closed": int(a.outlet_closed) if a else None,
            "hanging_plumb": int(a.hanging_plumb) if a else None,
            "patient_undisturbed": int(a.patient_undisturbed) if a else None,
            "right_chamber_and_scale": int(a.right_chamber_and_scale) if a else None,
            "refers_to": self.refers_to, "reason": self.reason, "note": self.note,
            "payload": canonical_json(self.payload),
            "software_version": self.software_version,
        }


@dataclass(frozen=True, kw_only=True)
class Entry(Content):
    """A content on record: ``number`` is its place in the chain, counted from 1 (0 names
    the key of the station that began the record).

    ``signature`` is over ``hash``, by the key that the entry ``signer`` names; None in
    entries made before there were keys.
    """

    number: int
    previous_hash: str
    hash: str
    signer: int | None = None
    signature: str | None = None

    def correction(self, reason: str, **changes: Any) -> CorrectionDraft:
        """A draft that corrects this entry (``confirmed_value``, ``happened_at``, ``payload``)."""
        return CorrectionDraft(self, reason, **changes)

    def withdrawal(self, reason: str) -> WithdrawalDraft:
        """A draft that takes this entry back (wrong bed, wrong patient, never happened)."""
        return WithdrawalDraft(self, reason)


def entry_from_row(row: Mapping[str, Any]) -> Entry:
    """The inverse of :meth:`Content.row`, with the place in the chain.

    Raises DamagedError for a row that this software cannot have written.
    """
    try:
        return _entry(row)
    except (ValueError, ArithmeticError, TypeError, ConfirmError):
        raise DamagedError(
            f"Entry {row['number']} cannot be read; it was changed by hand. 'countersight verify' "
            "says where the record is broken.") from None


def _entry(row: Mapping[str, Any]) -> Entry:
    attested = row["outlet_closed"] is not None
    return Entry(
        number=int(row["number"]), previous_hash=row["previous_hash"], hash=row["hash"],
        signer=row.get("signer"), signature=row.get("signature"),
        key=row["key"], kind=row["kind"], subject=row["subject"], event=row["event"],
        bed=row["bed"], initials=row["initials"], identity=row["identity"],
        happened=Moment.parse(row["happened_utc"], row["happened_offset_min"]),
        recorded=Moment.parse(row["recorded_utc"], row["recorded_offset_min"]),
        clock_checked=bool(row["clock_checked"]),
        machine=None if row["machine_status"] is None else MachineView(
            row["machine_status"], _number(row["machine_value"]), _number(row["machine_low"]),
            _number(row["machine_high"]), tuple(json.loads(row["flags"]))),
        first=None if row["first_read"] is None else OwnReading(_number(row["first_value"])),
        confirmed_value=_number(row["confirmed_value"]), unit=row["unit"], scale=row["scale"],
        photo_sha256=row["photo_sha256"],
        attestations=None if not attested else Attestations(
            bool(row["outlet_closed"]), bool(row["hanging_plumb"]),
            bool(row["patient_undisturbed"]), bool(row["right_chamber_and_scale"])),
        refers_to=row["refers_to"], reason=row["reason"], note=row["note"],
        payload=json.loads(row["payload"]), software_version=row["software_version"],
    )


def _text(number: Decimal | None) -> str | None:
    return None if number is None else f"{number:f}"


def _number(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)
