"""The room shader and the chamber tracer that run compiled code; they hold to what they inherit."""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np

from vision.synthetic.chamber.compiled.room_rays import shade_all
from vision.synthetic.chamber.compiled.tables import packed, room_table, tube_table
from vision.synthetic.chamber.compiled.tube_rays import trace_all
from vision.synthetic.chamber.room import FAR, RoomShader, Triple, Within
from vision.synthetic.chamber.tracer import ChamberTracer


class CompiledRoom(RoomShader):
    """A room whose rays are shaded one after the other."""

    @cached_property
    def table(self) -> Any:
        """The room as a record, and its numbers."""
        return packed(room_table(self))

    def shade(self, origin: Triple, direction: Triple, met: Any = None,
              within: Within | None = None) -> tuple[Any, Any, Any]:
        """As ``RoomShader.shade``; which rays may meet a part is not asked for."""
        n = direction[0].shape[0]
        colour, far = np.empty((3, n), np.float32), np.empty(n, np.float32)
        kind = np.empty(n, np.int8)
        o, d = (tuple(np.ascontiguousarray(c) for c in way) for way in (origin, direction))
        shade_all(*self.table, o, d, np.full(n, FAR, np.float32) if met is None else met,
                  colour, far, kind)
        return colour, far, kind


class CompiledTracer(ChamberTracer):
    """A chamber whose rays are followed one after the other."""

    @cached_property
    def table(self) -> Any:
        """Chamber and room as records, their numbers, and the slopes of drops on the wall
        (2, rows x columns)."""
        none = np.empty((2, 0), np.float32)
        return (*packed(tube_table(self), room_table(self.room)),
                none if self.bumps is None else np.stack(self.bumps[:2]))

    def trace(self, rays: Any, pixels: Any, count: int, chosen: Any = None) -> tuple[Any, Any]:
        """As ``ChamberTracer.trace``, for a ray a pixel."""
        strong, weak = (np.empty((3, count)) for _ in range(2))
        told = chosen is not None
        trace_all(*self.table, np.ascontiguousarray(rays), told,
                  chosen if told else np.empty(0, bool), strong, weak)
        return strong, weak
