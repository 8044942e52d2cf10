"""The key with which this station signs what it seals: Ed25519 (RFC 8032).

The private half lies in a file of its own, readable by this user only; the public
half is an entry of the record.  A lost key is replaced by a new one.
"""

from __future__ import annotations

import os
import tempfile
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from app.records.errors import ReadOnlyError, RecordError
from app.records.private import make_private
from app.settings import key_file
from vision.plain_file import private_folder

#: What is signed names its use, so that a signature of one thing is none of another.
_ENTRY, _ANCHOR = "countersight entry 1\n", "countersight anchor 1\n"


#: A key file has about 120 bytes.
_MOST_BYTES = 16 * 1024


@dataclass(frozen=True)
class StationKey:
    """``public`` is the public half, 64 hexadecimal digits."""

    public: str
    _private: Any

    def sign_entry(self, entry_hash: str) -> str:
        """The signature of an entry by its hash, 128 hexadecimal digits."""
        return self._signed(_ENTRY + entry_hash)

    def sign_anchor(self, text: str) -> str:
        """The signature of an anchor."""
        return self._signed(_ANCHOR + text)

    def _signed(self, text: str) -> str:
        return self._private.sign(text.encode("utf-8")).hex()


def station_key(file: Path | None = None) -> StationKey:
    """This station's key, or the one in ``file``, made on first use.  Raises a RecordError
    with a sentence."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    path = file or key_file()
    try:
        if not path.exists():
            _make(path)
        if not path.is_file():  # a device has no end, a pipe no beginning
            raise ValueError(path)
        with suppress(PermissionError):
            make_private(path)
        with path.open("rb") as stream:
            private = load_pem_private_key(stream.read(_MOST_BYTES), password=None)
    except OSError:
        raise ReadOnlyError(
            "The station's key cannot be made or read. Nothing was recorded. Ask who looks after "
            "this machine; COUNTERSIGHT_KEY names another place.") from None
    except (ValueError, TypeError):
        private = None
    if not isinstance(private, Ed25519PrivateKey):
        raise RecordError(
            "The file of the station's key holds no key. Nothing was recorded. Ask who looks after "
            "this machine to move it away: a new key is made then, and old entries stay checkable."
        )
    return StationKey(private.public_key().public_bytes_raw().hex(), private)


def entry_signed(public: str, signature: str, entry_hash: str) -> bool:
    """Is this the signature of an entry by that key?"""
    return _verified(public, signature, _ENTRY + entry_hash)


def anchor_signed(public: str, signature: str, text: str) -> bool:
    """Is this the signature of an anchor by that key?"""
    return _verified(public, signature, _ANCHOR + text)


def _verified(public: str, signature: str, text: str) -> bool:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
        raw = bytes.fromhex(signature)
        key.verify(raw, text.encode("utf-8"))
    except (InvalidSignature, ValueError, TypeError):
        return False
    return raw.hex() == signature  # one text for one signature


def _make(path: Path) -> None:
    """Write a new key whole and under its name only where there is none: two stations that
    start at once end with one."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import (
        Encoding,
        NoEncryption,
        PrivateFormat,
    )

    private_folder(path.parent)
    handle, part = tempfile.mkstemp(prefix=".station-", dir=path.parent)  # for this user only
    try:
        with open(handle, "wb") as file:
            file.write(Ed25519PrivateKey.generate().private_bytes(
                Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
            file.flush()
            os.fsync(file.fileno())
        with suppress(FileExistsError):
            os.link(part, path)
    finally:
        Path(part).unlink(missing_ok=True)
