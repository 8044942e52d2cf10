"""Photo files made in memory for the tests: good ones, odd ones and broken ones."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
from PIL import Image

SECRET = b"WARD-SEVEN-BED-TWO"
"""Stands in every metadata field of ``told_everything``; must never survive loading."""


def picture(width: int = 240, height: int = 160) -> np.ndarray:
    """An asymmetric RGB picture: smooth colours, four different corners, one cross."""
    y, x = np.mgrid[0:height, 0:width].astype(float)
    rgb = np.stack([60 + 120 * x / width, 60 + 120 * y / height,
                    90 + 40 * np.sin(x / 17) * np.cos(y / 23)], axis=2)
    h, w = height // 5, width // 5
    rgb[:h, :w], rgb[:h, -w:] = (230, 30, 30), (30, 230, 30)
    rgb[-h:, :w], rgb[-h:, -w:] = (30, 30, 230), (230, 230, 30)
    rgb[2 * h:2 * h + h // 3, w:3 * w] = 15
    return np.clip(rgb, 0, 255).astype(np.uint8)


def encode(rgb: np.ndarray, kind: str = "JPEG", **options: object) -> bytes:
    """A picture as a file of Pillow's ``kind``."""
    buffer = io.BytesIO()
    if kind == "JPEG":
        options.setdefault("quality", 95)
        options.setdefault("subsampling", 0)
    if kind == "HEIF":
        import pillow_heif

        pillow_heif.register_heif_opener(thumbnails=False)
        options.setdefault("quality", 95)
    Image.fromarray(rgb).save(buffer, kind, **options)
    return buffer.getvalue()


def exif(orientation: object = None, focal_35mm: object = None, zoom: object = None) -> bytes:
    """EXIF with just these facts."""
    data = Image.Exif()
    if orientation is not None:
        data[0x0112] = orientation
    sub = data.get_ifd(0x8769)
    if focal_35mm is not None:
        sub[0xA405] = focal_35mm
    if zoom is not None:
        sub[0xA404] = zoom
    return data.tobytes()


def told_everything() -> bytes:
    """EXIF that gives away place, device, owner and software."""
    data = Image.Exif()
    word = SECRET.decode()
    data[0x010F], data[0x0110], data[0x013B], data[0x0131] = word, word, word, word
    sub = data.get_ifd(0x8769)
    sub[0xA431], sub[0xA435], sub[0x9286], sub[0xA405] = word, word, word.encode(), 26
    place = data.get_ifd(0x8825)
    place[1], place[2], place[27] = "N", (1.0, 2.0, 3.0), word.encode()
    return data.tobytes()


def png_header(width: int, height: int, depth: int = 8, colour: int = 2) -> bytes:
    """A PNG whose header promises a size and whose pixels are missing."""
    return (b"\x89PNG\r\n\x1a\n"
            + png_chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0))
            + png_chunk(b"IDAT", zlib.compress(bytes(100))) + png_chunk(b"IEND", b""))


def png_chunk(kind: bytes, body: bytes) -> bytes:
    """One PNG chunk with its checksum."""
    return (struct.pack(">I", len(body)) + kind + body
            + struct.pack(">I", zlib.crc32(kind + body)))


def jpeg_with_size(width: int, height: int) -> bytes:
    """A small JPEG whose frame header claims another size."""
    data = bytearray(encode(picture(64, 64)))
    at = data.index(b"\xff\xc0")
    data[at + 5:at + 9] = struct.pack(">HH", height, width)
    return bytes(data)


def animated(kind: str) -> bytes:
    """A moving picture of three frames."""
    frames = [Image.fromarray(np.roll(picture(), k * 20, axis=1)) for k in range(3)]
    buffer = io.BytesIO()
    frames[0].save(buffer, kind, save_all=True, append_images=frames[1:], duration=100)
    return buffer.getvalue()


def many_scans(scans: int = 400) -> bytes:
    """A progressive JPEG that repeats its last scan to keep a decoder busy."""
    data = encode(picture(), progressive=True)
    last = data.rindex(b"\xff\xda")
    return data[:last] + data[last:-2] * scans + b"\xff\xd9"
