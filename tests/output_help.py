"""Readings and events of an invented day, by the hour."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

from vision.output import ChamberEvent, ChamberReading

DAY = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def t(hours: float) -> datetime:
    return DAY + timedelta(hours=hours)


def r(hours: float, value: str, u: float = 0.25, number: int = 0, **more) -> ChamberReading:
    return ChamberReading(t(hours), Decimal(value), u, more.pop("scale", "pier-60"),
                          number=number or int(hours * 100) + 1, **more)


def e(hours: float, name: str, number: int = 0, **more) -> ChamberEvent:
    volumes = {k: Decimal(v) if k.endswith("_ml") else v for k, v in more.items()}
    return ChamberEvent(t(hours), name, number=number or int(hours * 100) + 1, **volumes)
