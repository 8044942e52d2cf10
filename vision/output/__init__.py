"""mL over time: intervals, rates, windows, shifts and the ward's own limits.  Pure."""

from vision.output.account import Account, make_account
from vision.output.drain import is_open, open_hours
from vision.output.findings import (
    Finding,
    collecting_since,
    content_now,
    findings,
    full_at,
    reading_due,
)
from vision.output.limits import Limits, limits_from
from vision.output.model import ChamberEvent, ChamberReading, Interval, Question
from vision.output.shifts import ShiftPlan, parse_starts, shift_totals
from vision.output.windows import (
    WindowTotal,
    cumulative,
    ends,
    joint_total,
    rolling,
    window_total,
)

__all__ = [
    "Account", "ChamberEvent", "ChamberReading", "Finding", "Interval", "Limits", "Question",
    "ShiftPlan", "WindowTotal", "collecting_since", "content_now", "cumulative", "ends",
    "findings", "full_at", "is_open", "joint_total", "limits_from", "make_account",
    "open_hours", "parse_starts", "reading_due", "rolling", "shift_totals", "window_total",
]
