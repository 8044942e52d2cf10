"""What kind of file the bytes are, told by their beginning and never by the name."""

from __future__ import annotations

_HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"mif1", b"mif2", b"miaf"}
_SEQUENCE_BRANDS = {b"hevc", b"hevx", b"hevm", b"hevs", b"msf1", b"avis"}

_OTHERS: tuple[tuple[bytes, str], ...] = (
    (b"GIF8", "This is a GIF picture; take a photo with the camera and send that."),
    (b"BM", "This is a bitmap picture; send the photo as JPEG, PNG, WebP or HEIC."),
    (b"II*\x00", "This is a raw or TIFF picture; send the photo as JPEG, PNG, WebP or HEIC."),
    (b"MM\x00*", "This is a raw or TIFF picture; send the photo as JPEG, PNG, WebP or HEIC."),
    (b"%PDF", "This is a PDF document; send the photo itself."),
    (b"PK\x03\x04", "This is a packed archive or a document; send the photo itself."),
    (b"\x1f\x8b", "This is a packed archive; send the photo itself."),
    (b"RIFF", "This is a sound or a film; take a single photo."),
    (b"\x1aE\xdf\xa3", "This is a film; take a single photo."),
    (b"\xff\x0a", "JPEG XL is not read; send the photo as JPEG, PNG, WebP or HEIC."),
    (b"\x00\x00\x00\x0cJXL ", "JPEG XL is not read; send the photo as JPEG, PNG, WebP or HEIC."),
    (b"\x00\x00\x00\x0cjP  ", "JPEG 2000 is not read; send the photo as JPEG, PNG, WebP or HEIC."),
    (b"\x89PNG\n", "The photo was damaged in transfer; send it again as a file, not as text."),
)
_UNKNOWN = "This file is not a photo; send a JPEG, PNG, WebP or HEIC picture."


def name_file_kind(data: bytes) -> tuple[str, str]:
    """(Pillow's format name, "") for a kind that is read, else ("", one sentence).

    ``data`` is the whole file or at least its first 64 bytes.
    """
    if data[:3] == b"\xff\xd8\xff":
        return "JPEG", ""
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG", ""
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP", ""
    if data[4:8] == b"ftyp":
        return _boxed_kind(data)
    for start, sentence in _OTHERS:
        if data.startswith(start):
            return "", sentence
    text = data[:512].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if text.startswith((b"<!doctype html", b"<html", b"<head", b"<body")):
        return "", ("This is a web page saved under a photo's name; open the page and save the"
                    " photo itself.")
    if text.startswith((b"<?xml", b"<svg")):
        return "", "This is a drawing or a text file; send a photo taken with the camera."
    if text and all(32 <= c < 127 or c in b"\t\r\n" for c in text):
        return "", "This is a text file, not a photo; send a JPEG, PNG, WebP or HEIC picture."
    return "", _UNKNOWN


def _boxed_kind(data: bytes) -> tuple[str, str]:
    """HEIF, AVIF and films share one container; the brands tell them apart."""
    size = min(int.from_bytes(data[:4], "big"), 256)
    major = data[8:12]
    brands = {major} | {data[i:i + 4] for i in range(16, size, 4)}
    if major in _SEQUENCE_BRANDS:
        return "", "This is a moving picture; take a single photo."
    if major == b"avif" or (b"avif" in brands and not brands & {b"heic", b"heix"}):
        return "", "AVIF is not read; send the photo as JPEG, PNG, WebP or HEIC."
    if brands & _HEIF_BRANDS:
        return "HEIF", ""
    return "", "This is a film; take a single photo."
