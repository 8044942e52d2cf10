"""Drafts: what is proposed to a person.  A draft is never a record; ``confirm`` makes one.

Every draft offers ``kind``, ``subject``, ``unit`` and ``fields()`` (the parts of
:class:`~app.records.content.Content` that it knows).  Constructors raise
ConfirmError when their content makes no sense.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from app.records.errors import ConfirmError
from app.records.kinds import EVENTS, MACHINE_STATUSES, PART_NAMES, PARTS
from app.records.moment import Moment
from app.records.parts import MachineView, OwnReading
from app.records.picture import KeptPicture
from app.records.quantity import in_unit, measured, quantity
from vision.reading import VolumeReading
from vision.scale_file.scale import Scale

if TYPE_CHECKING:
    from app.records.content import Entry

Number = str | int | Decimal

#: A chamber holds a little more than its highest mark; beyond this share of the
#: capacity a typed value is taken for a slip of the finger (our choice).
OVERFULL = Decimal("1.25")


def _machine_view(seen: Mapping[str, Any], value: str, interval: str) -> MachineView:
    status = str(seen.get("status"))
    if status not in MACHINE_STATUSES:
        raise ConfirmError(f"'{status}' is no status of a reading.")
    flags = tuple(str(f) for f in seen.get("flags", ()))
    if status != "read" or seen.get(value) is None:
        return MachineView(status, flags=flags)
    low, high = seen.get(interval) or (None, None)
    return MachineView(status, measured(seen[value]),
                       None if low is None else measured(low),
                       None if high is None else measured(high), flags)


@dataclass(frozen=True)
class ReadingDraft:
    """A chamber reading to be confirmed: from a photo (:meth:`of`) or :meth:`by_eye`."""

    unit: str
    scale: str
    first: OwnReading
    machine: MachineView | None = None
    capacity: Decimal | None = None
    photo_sha256: str | None = None
    payload: Mapping[str, Any] = field(default_factory=dict)
    kind = subject = "volume-reading"

    @classmethod
    def of(cls, reading: VolumeReading, *, scale: Scale, photo_sha256: str,
           first: OwnReading, picture: KeptPicture | None = None) -> ReadingDraft:
        """From what the machine saw; also for a refused reading (then without a value).

        ``picture`` is a crop that the person chose to keep; hand the same one to
        ``Store.add``.
        """
        seen = reading.as_json()
        return cls(
            unit=reading.unit, scale=scale.name, first=first,
            machine=_machine_view(seen, "value", "interval"),
            capacity=measured(scale.capacity), photo_sha256=photo_sha256,
            payload={"method": "photo", "division": measured(reading.division),
                     "capacity": measured(scale.capacity),
                     "tolerance": None if scale.tolerance is None else measured(scale.tolerance),
                     "seen": seen,
                     **({} if picture is None else {"picture_sha256": picture.sha256})})

    @classmethod
    def by_eye(cls, *, scale: Scale, first: OwnReading) -> ReadingDraft:
        """A reading without any photo: the person's eye alone."""
        if first.value is None:
            raise ConfirmError("Without a photo there is only your own reading; type it.")
        division = measured(scale.division_at(float(first.value)))
        return cls(unit=scale.unit, scale=scale.name, first=first,
                   capacity=measured(scale.capacity),
                   payload={"method": "eye", "division": division,
                            "capacity": measured(scale.capacity),
                            "tolerance": None if scale.tolerance is None
                            else measured(scale.tolerance)})

    def fields(self) -> dict[str, Any]:
        """The parts of a content that this draft knows."""
        return {"machine": self.machine, "first": self.first, "unit": self.unit,
                "scale": self.scale, "photo_sha256": self.photo_sha256, "payload": self.payload}


@dataclass(frozen=True)
class LevelDraft:
    """A level check to be confirmed: the height offset in cm, positive = hangs too high."""

    method: str
    machine: MachineView | None = None
    first: OwnReading | None = None
    photo_sha256: str | None = None
    payload: Mapping[str, Any] = field(default_factory=dict)
    kind = subject = "level-check"
    unit = "cm"

    @classmethod
    def of(cls, level: Mapping[str, Any], *, photo_sha256: str | None = None,
           first: OwnReading | None = None) -> LevelDraft:
        """From the level reading's JSON object (``offset_cm``, ``interval_cm``, ...)."""
        return cls("photo", _machine_view(level, "offset_cm", "interval_cm"), first, photo_sha256,
                   {"method": "photo", "seen": dict(level)})

    @classmethod
    def usual_method(cls, *, landmark: str | None = None) -> LevelDraft:
        """Checked and found level by the ward's usual method; no offset is claimed."""
        return cls("usual", payload={"method": "usual", "landmark": landmark})

    def fields(self) -> dict[str, Any]:
        """The parts of a content that this draft knows."""
        return {"machine": self.machine, "first": self.first, "unit": self.unit,
                "photo_sha256": self.photo_sha256, "payload": self.payload}


@dataclass(frozen=True)
class SettingDraft:
    """Where the chamber's pointer stands on the pressure scale, to be confirmed."""

    unit: str
    machine: Mapping[str, Any] | None = None
    first: OwnReading | None = None
    scale: str | None = None
    photo_sha256: str | None = None
    kind = subject = "setting-check"

    def fields(self) -> dict[str, Any]:
        """The parts of a content that this draft knows."""
        seen = self.machine
        return {"machine": None if seen is None else _machine_view(seen, "value", "interval"),
                "first": self.first, "unit": self.unit, "scale": self.scale,
                "photo_sha256": self.photo_sha256,
                "payload": {"method": "eye"} if seen is None
                else {"method": "photo", "seen": dict(seen)}}


@dataclass(frozen=True)
class OrderDraft:
    """An order as the written order says it, typed by a person.

    ``threshold`` in ``unit`` may be negative or absent; ``limits`` are the fields
    of :class:`vision.output.limits.Limits` that the order names, nothing by default.
    """

    landmark: str = ""
    threshold: Number | None = None
    unit: str | None = None
    drain: str = ""
    limits: Mapping[str, Number] = field(default_factory=dict)
    tell_whom: str = ""
    kind = subject = "order"

    def fields(self) -> dict[str, Any]:
        """The parts of a content that this draft knows."""
        from vision.output.limits import limits_from

        if (self.threshold is None) != (self.unit is None):
            raise ConfirmError("A threshold needs its unit, cm[H2O] or mm[Hg].")
        limits = {k: quantity(v, f"The limit '{k}'") for k, v in self.limits.items()}
        limits_from(limits)  # refuses unknown names and limits that make no sense
        payload = {"landmark": self.landmark.strip(), "drain": self.drain.strip(),
                   "limits": limits, "tell_whom": self.tell_whom.strip()}
        value = None if self.threshold is None or self.unit is None else in_unit(
            self.threshold, self.unit, "The threshold")
        if value is None and not any(payload.values()):
            raise ConfirmError("The order is empty; type what the written order says.")
        return {"unit": self.unit, "confirmed_value": value, "payload": payload}


@dataclass(frozen=True)
class EventDraft:
    """Something done at the bedside, to be confirmed.

    ``before_ml`` and ``after_ml``: what stood in the chamber before and after it
    was emptied (None = not read; the output then says so).  ``volume_ml`` and
    ``source`` ("port" on the patient's side, or "chamber"): of a sample.  ``seen`` says
    that the drain was seen open or closed, and not that anybody opened or closed it.
    Which of the parts belong to which event, and what they may say, stands in
    ``app.records.kinds.PARTS``.
    """

    name: str
    before_ml: Number | None = None
    after_ml: Number | None = None
    volume_ml: Number | None = None
    source: str | None = None
    detail: str = ""
    seen: bool = False
    tests: str | None = None
    closed_for: str | None = None
    look: str | None = None
    cause: str | None = None
    about: str | None = None
    whom: str | None = None
    reply: str | None = None
    dressing: str | None = None
    site: str | None = None
    kind = subject = "event"
    unit = None

    def fields(self) -> dict[str, Any]:
        """The parts of a content that this draft knows."""
        if self.name not in EVENTS:
            raise ConfirmError(f"'{self.name}' is not one of {', '.join(EVENTS)}.")
        payload: dict[str, Any] = {"detail": self.detail.strip()} if self.detail.strip() else {}
        for name in PART_NAMES:
            value = self._part(name)
            if value is not None:
                payload[name] = value
        if "before_ml" in payload and payload["before_ml"] < payload.get("after_ml", 0):
            raise ConfirmError("More stands in the chamber after emptying than before; check both.")
        if self.seen:
            if not self.name.startswith("drain-"):
                raise ConfirmError(f"'{self.name}' is done, not seen.")
            payload["seen"] = True
        return {"event": self.name, "payload": payload}

    def _part(self, name: str) -> Decimal | str | None:
        """A part as it is kept; ConfirmError where it is missing, wrong or of another event."""
        value, part = getattr(self, name), PARTS.get(self.name, {}).get(name)
        said = value is not None and (not isinstance(value, str) or bool(value.strip()))
        if part is None:
            if said:
                raise ConfirmError(f"'{self.name}' has no {name}.")
            return None
        if part.choices is not None and said and value not in part.choices:
            raise ConfirmError(f"'{value}' is not one of {', '.join(part.choices)}.")
        if not said:
            if part.ask:
                raise ConfirmError(part.ask)
            return None
        return in_unit(value, "mL", f"The volume {name}") if part.volume else str(value).strip()


@dataclass(frozen=True)
class SkipDraft:
    """A step of the routine that was left out, with the reason."""

    step: str
    reason: str
    kind = subject = "skipped-step"
    unit = None

    def fields(self) -> dict[str, Any]:
        """The parts of a content that this draft knows."""
        if not self.step.strip():
            raise ConfirmError("Say which step was skipped.")
        return {"reason": self.reason.strip(), "payload": {"step": self.step.strip()}}


@dataclass(frozen=True)
class CorrectionDraft:
    """The corrected state of an entry.  What is not given stays as it was."""

    original: Entry
    reason: str
    confirmed_value: Number | None = None
    happened_at: Moment | None = None
    payload: Mapping[str, Any] | None = None  # the fields of EventDraft or OrderDraft
    kind = "correction"

    @property
    def subject(self) -> str:
        """What the corrected entry speaks about."""
        return self.original.subject

    @property
    def unit(self) -> str | None:
        """The unit stays; a wrong unit is a withdrawal and a new entry."""
        return self.original.unit

    def fields(self) -> dict[str, Any]:
        """The parts of a content that this draft knows."""
        o = self.original
        if o.kind == "withdrawal":
            raise ConfirmError("A withdrawn entry cannot be corrected; make a new one.")
        value = o.confirmed_value
        if self.confirmed_value is not None:
            if o.unit is None:
                raise ConfirmError("This entry has no value to correct.")
            value = in_unit(self.confirmed_value, o.unit, "The confirmed value")
        return {"event": o.event, "machine": o.machine, "first": o.first, "unit": o.unit,
                "scale": o.scale, "photo_sha256": o.photo_sha256, "attestations": o.attestations,
                "confirmed_value": value, "refers_to": o.number, "reason": self.reason.strip(),
                "payload": self._payload()}

    def _payload(self) -> Mapping[str, Any]:
        """The corrected payload, held to the same rules as a new one."""
        new, o = self.payload, self.original
        if new is None:
            return o.payload
        if o.subject == "event" and o.event is not None:
            return dict(EventDraft(o.event, **new).fields()["payload"])
        if o.subject == "order":
            threshold = None if o.confirmed_value is None else o.confirmed_value
            return dict(OrderDraft(threshold=threshold, unit=o.unit, **new).fields()["payload"])
        raise ConfirmError("Only the details of an event or an order can be corrected.")


@dataclass(frozen=True)
class WithdrawalDraft:
    """Takes an entry back; it stays readable and counts nowhere."""

    original: Entry
    reason: str
    kind = "withdrawal"
    unit = None

    @property
    def subject(self) -> str:
        """What the withdrawn entry spoke about."""
        return self.original.subject

    def fields(self) -> dict[str, Any]:
        """The parts of a content that this draft knows."""
        if self.original.kind == "withdrawal":
            raise ConfirmError("This entry is withdrawn already.")
        return {"refers_to": self.original.number, "reason": self.reason.strip(),
                "event": self.original.event}


Draft = (ReadingDraft | LevelDraft | SettingDraft | OrderDraft | EventDraft | SkipDraft
         | CorrectionDraft | WithdrawalDraft)
