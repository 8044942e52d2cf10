"""The parts of an entry: what was stated, what the machine saw, what the person read first."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from app.records.quantity import quantity


@dataclass(frozen=True)
class Attestations:
    """The four things that make a chamber reading valid, each answered yes or no."""

    outlet_closed: bool
    hanging_plumb: bool
    patient_undisturbed: bool
    right_chamber_and_scale: bool

    @property
    def all_true(self) -> bool:
        """True when nothing speaks against using the reading for an output."""
        return (self.outlet_closed and self.hanging_plumb and self.patient_undisturbed
                and self.right_chamber_and_scale)


@dataclass(frozen=True)
class MachineView:
    """What the machine saw; ``value``, ``low`` and ``high`` are None unless it read."""

    status: str
    value: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class OwnReading:
    """What the person read before seeing the machine's value, or that they chose not to."""

    value: Decimal | None

    @classmethod
    def read(cls, value: str | int | Decimal) -> OwnReading:
        """The person's own reading, typed before the machine's was shown."""
        return cls(quantity(value, "Your own reading"))

    @classmethod
    def skipped(cls) -> OwnReading:
        """The person chose to see the machine's value first."""
        return cls(None)
