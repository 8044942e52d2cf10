"""What the page "Threshold" knows between two runs; no Streamlit in here."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from typing import Any

from vision.hydrostatics.units import CM_H2O_CODE, MM_HG_CODE

#: Choices of the unit; none is chosen beforehand.
UNITS = {"cmH2O": CM_H2O_CODE, "mmHg": MM_HG_CODE}
LOW, LEVEL, HIGH = "hangs too low", "level", "hangs too high"


@dataclass(frozen=True)
class Inputs:
    """What was typed, as far as it makes sense; None for what is missing.

    Pressures in their own units, ``offset_cm`` positive when the system hangs too
    high, ``setting_text`` digit by digit for the record.
    """

    bed: str = ""
    landmark: str = ""
    ordered: float | None = None
    ordered_unit: str | None = None
    setting: float | None = None
    setting_text: str = ""
    setting_unit: str | None = None
    offset_cm: float | None = None
    offset_interval_cm: tuple[float, float] | None = None

    @property
    def order_complete(self) -> bool:
        """Number and unit of the order are there."""
        return self.ordered is not None and self.ordered_unit is not None

    @property
    def setting_complete(self) -> bool:
        """Number and unit of the panel are there."""
        return self.setting is not None and self.setting_unit is not None


@dataclass
class ThresholdState:
    """``kept`` holds the texts of fields, so that they outlive a visit to another page;
    ``begun`` what they began with on this visit."""

    kept: dict[str, Any] = field(default_factory=dict)
    begun: dict[str, Any] = field(default_factory=dict)
    taken_interval: tuple[float, float, float] | None = None  # offset, low, high
    missing: tuple[str, ...] = ()
    clock_doubt: bool = False
    generation: int = 0
    form_key: str = field(default_factory=lambda: uuid.uuid4().hex)
    recorded: str = ""

    def finish(self, sentence: str) -> None:
        """A setting check is on record: the next one is a new form."""
        self.generation += 1
        self.form_key = uuid.uuid4().hex
        self.missing, self.recorded, self.clock_doubt = (), sentence, False

    def begin_at(self, bed: str) -> None:
        """The page was opened for a bed: numbers typed for another one are not its own."""
        self.kept, self.taken_interval = {"th-bed": bed}, None
        self.missing, self.recorded, self.clock_doubt = (), "", False


@dataclass
class Typed:
    """What a browser comes back to after a reload.  A copy: two windows of one browser type
    each their own.  With the form's key, a second press after a lost connection is one entry."""

    fields: dict[str, Any] = field(default_factory=dict)
    taken_interval: tuple[float, float, float] | None = None
    form_key: str = field(default_factory=lambda: uuid.uuid4().hex)

    def state(self) -> ThresholdState:
        """What a session that begins anew knows."""
        return ThresholdState(dict(self.fields), taken_interval=self.taken_interval,
                              form_key=self.form_key)

    def remember(self, state: ThresholdState) -> None:
        """What is typed by now."""
        self.fields, self.taken_interval = dict(state.kept), state.taken_interval
        self.form_key = state.form_key


def signed(value: float | None, below_zero: bool) -> float | None:
    """The number with its sign: the box says minus, and so may the number itself."""
    if value is None or not below_zero:
        return value
    return -abs(value)


def signed_text(text: str, below_zero: bool) -> str:
    """The digits with their sign, for the record."""
    return "-" + text.lstrip("+-") if below_zero and text else text


def offset_cm(size: float | None, way: str | None) -> float | None:
    """Signed offset from its size and the words chosen; None while one is missing."""
    if way == LEVEL:
        return 0.0
    if size is None or way is None:
        return None
    return -abs(size) if way == LOW else abs(size)
