"""The tubing as lines and words: handles to set, what communicates, what that allows."""

from __future__ import annotations

from app.ui.flow.block import flow_block

__all__ = ["flow_block"]
