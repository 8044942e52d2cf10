"""The bare JPEG stream: what is needed to decode the picture, and nothing else.

A phone's JPEG carries its place, its serial number, a thumbnail and often a
second picture behind the first.  Only the coded picture is kept for a later
full decode, so none of that can travel on.

Source of the marker layout: ITU-T Recommendation T.81 (1992) | ISO/IEC
10918-1:1994, Annex B.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_SOI, _EOI, _SOS = 0xD8, 0xD9, 0xDA
#: APP14 says how colours are coded and must stay; other APPn and COM go.
_KEEP_APP = 0xEE


class JpegStreamError(ValueError):
    """The stream breaks the marker layout; ``truncated`` when it just ends early."""

    def __init__(self, message: str, truncated: bool = False) -> None:
        super().__init__(message)
        self.truncated = truncated


@dataclass(frozen=True)
class JpegStream:
    """The first picture of a JPEG file without its metadata, and its scan count."""

    data: bytes
    scans: int


def bare_jpeg(data: bytes) -> JpegStream:
    """Copy the first picture of ``data`` up to its end marker, metadata left out.

    Raises JpegStreamError where the markers make no sense or the end is missing.
    """
    if data[:2] != b"\xff\xd8":
        raise JpegStreamError("no start of image")
    markers = _marker_positions(data)
    parts = [b"\xff\xd8"]
    scans = 0
    at = 2
    while True:
        while data[at:at + 2] == b"\xff\xff":
            at += 1
        if len(data) - at < 2:
            raise JpegStreamError("the picture ends early", truncated=True)
        if data[at] != 0xFF:
            raise JpegStreamError("no marker where one belongs")
        marker = data[at + 1]
        if marker == _EOI:
            parts.append(b"\xff\xd9")
            return JpegStream(b"".join(parts), scans)
        end = at + 2 + int.from_bytes(data[at + 2:at + 4], "big")
        if end > len(data):
            raise JpegStreamError("a segment runs past the end", truncated=True)
        if end < at + 4 or marker == _SOI:
            raise JpegStreamError("a segment that makes no sense")
        if marker == _SOS:
            scans += 1
            after = int(np.searchsorted(markers, end))
            if after == len(markers):
                raise JpegStreamError("the picture ends early", truncated=True)
            end = int(markers[after])
        if not (0xE0 <= marker <= 0xEF or marker == 0xFE) or marker == _KEEP_APP:
            parts.append(data[at:end])
        at = end


def _marker_positions(data: bytes) -> np.ndarray:
    """Where 0xFF stands before a byte that can only be a marker inside coded data
    (there 0xFF is followed by a stuffed zero, a restart marker or a fill byte)."""
    octets = np.frombuffer(data, np.uint8)
    at = np.flatnonzero(octets[:-1] == 0xFF)
    code = octets[at + 1]
    return at[(code != 0) & (code != 0xFF) & ((code < 0xD0) | (code > 0xD7))]
