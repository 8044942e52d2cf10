"""How the panel's setting stands to the order, by the last check on record.  Pure.

One rule for the round, the ward, the shift and the hand-over, so that none of them calls calm
what another one asks about.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from app.records import Entry
from app.records.shift import BedAccount, of_this_drain
from app.setting_compare import compare_setting
from vision.hydrostatics.units import WORDS, exact_text
from vision.output.model import hm

Doubt = Literal["", "none", "order", "off", "moved"]
#: What the ward's line calls a doubt.
_REASONS: dict[Doubt, str] = {
    "": "", "none": "no setting check", "order": "setting check stale",
    "off": "setting not as ordered", "moved": "setting check stale"}


@dataclass(frozen=True)
class SettingState:
    """``doubt`` is why the last check does not hold, "" where it does, and ``sentence`` says so;
    ``compared`` holds both numbers where it is not as ordered: not for a person who is about
    to read the panel.  ``ordered`` is False where no order names a threshold."""

    last: Entry | None
    ordered: bool
    doubt: Doubt
    sentence: str
    compared: str = ""

    @property
    def reason(self) -> str:
        """What presses, in a few words; "" where nothing does or no threshold is ordered."""
        return _REASONS[self.doubt] if self.ordered else ""


def setting_state(bed: BedAccount, now: datetime) -> SettingState:
    """Never checked, not since the order, not as ordered, not since the position changed; or
    as it should be."""
    last, order = _last(bed), bed.order
    ordered = order is not None and order.confirmed_value is not None and order.unit is not None
    if last is None or last.confirmed_value is None or last.unit is None:
        return SettingState(last, ordered, "none", "No setting check is on record.")
    at = f"{hm(last.happened.local, now)} by {last.initials}".removesuffix(".")
    if order is not None and order.happened.utc > last.happened.utc:
        return SettingState(last, ordered, "order", "Setting: the order is newer than the last "
                            f"check, {at}.")
    if order is not None and order.confirmed_value is not None and order.unit is not None:
        found = compare_setting(float(last.confirmed_value), last.unit,
                                float(order.confirmed_value), order.unit)
        if not found.same:
            return SettingState(last, ordered, "off", "Setting: not as ordered at the last check, "
                                f"{at}.", found.sentence)
    if any(s.entry.event == "position-changed" and not s.withdrawn
           and s.entry.happened.utc >= last.happened.utc for s in bed.standings):
        return SettingState(last, ordered, "moved", "Setting: the position changed after the "
                            f"last check, {at}.")
    shown = f"{exact_text(last.confirmed_value)} {WORDS.get(last.unit, last.unit)}, checked {at}"
    return SettingState(last, ordered, "", f"Setting: as ordered, {shown}." if ordered else
                        f"Setting: {shown}; no ordered threshold is on record.")


def _last(bed: BedAccount) -> Entry | None:
    """Of this drain: the setting of one that was taken out says nothing of the next."""
    return next((s.entry for s in reversed(of_this_drain(bed.standings))
                 if s.entry.subject == "setting-check" and not s.withdrawn), None)
