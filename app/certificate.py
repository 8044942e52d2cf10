"""The certificate under which the pages are served over an encrypted connection.

A phone gives its camera and its sensors only to a page that came encrypted (Secure
Contexts, W3C).  A skills lab without a certificate of its own gets one made here: nobody
vouches for it, so a phone warns, and its fingerprint is what a careful person compares.
"""

from __future__ import annotations

import ipaddress
import ssl
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from app.settings import config_dir, own_path
from vision.errors import InputError
from vision.plain_file import open_plain, private_folder, write_whole

#: A lab's certificate lasts so long, and is made anew when less than the second is left (our
#: choice): short, because its key lies on a teaching machine; kept, because a phone warns
#: anew for every new one.
LAB_LASTS, LAB_LEAST_LEFT = timedelta(days=30), timedelta(days=2)
#: No chain of certificates is longer.
_MOST_BYTES = 1_000_000


@dataclass(frozen=True)
class Certificate:
    """Two PEM files that belong together, and the SHA-256 fingerprint of the certificate."""

    file: Path
    key_file: Path
    fingerprint: str


def check_certificate(certificate: str, key: str) -> Certificate:
    """A certificate that a ward brings.  Raises InputError with a sentence."""
    file, key_file = own_path(certificate).resolve(), own_path(key).resolve()
    try:
        found = x509.load_pem_x509_certificate(_read(file))
    except (OSError, ValueError):
        raise InputError(f"--certificate: '{file}' cannot be read as a certificate (PEM)."
                         ) from None
    if found.not_valid_after_utc <= datetime.now(UTC):
        raise InputError(f"--certificate: '{file}' ran out on {found.not_valid_after_utc:%d %B %Y};"
                         " ask whoever gave it for a new one.")
    try:
        serialization.load_pem_private_key(_read(key_file), None)
    except TypeError:
        raise InputError(f"--certificate-key: '{key_file}' asks for a password, which a server "
                         "cannot type; give it without one, readable by this account only."
                         ) from None
    except (OSError, ValueError):
        raise InputError(f"--certificate-key: '{key_file}' cannot be read as a private key (PEM)."
                         ) from None
    try:
        ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(file, key_file)
    except ssl.SSLError:
        raise InputError(f"--certificate-key: '{key_file}' is not the key of '{file}'.") from None
    return Certificate(file, key_file, _fingerprint(found))


def lab_certificate(host: str, folder: Path | None = None) -> Certificate:
    """A certificate of this machine's own for ``host``, made when there is none that will do.

    It lies in ``folder`` (the user's settings) and names that address and this machine's own.
    """
    place = folder or config_dir()
    file, key_file = place / "lab.crt", place / "lab-tls.key"
    names = _names(host)
    try:
        known = x509.load_pem_x509_certificate(_read(file))
        serialization.load_pem_private_key(_read(key_file), None)
        held = known.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        left = known.not_valid_after_utc - datetime.now(UTC)
        if set(names) <= set(held) and left > LAB_LEAST_LEFT:
            return check_certificate(str(file), str(key_file))
    except (OSError, ValueError, TypeError, x509.ExtensionNotFound, InputError):
        pass  # none yet, or none that will do
    key = ec.generate_private_key(ec.SECP256R1())
    now = datetime.now(UTC)
    subject = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "Countersight skills lab")])
    made = (x509.CertificateBuilder().subject_name(subject).issuer_name(subject)
            .public_key(key.public_key()).serial_number(x509.random_serial_number())
            .not_valid_before(now - timedelta(hours=1)).not_valid_after(now + LAB_LASTS)
            .add_extension(x509.SubjectAlternativeName(names), critical=False)
            # It vouches for this machine alone: nobody can sign another one with its key.
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(x509.ExtendedKeyUsage([x509.ExtendedKeyUsageOID.SERVER_AUTH]),
                           critical=False)
            .sign(key, hashes.SHA256()))
    try:
        private_folder(place)
        write_whole(key_file, key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption()))
        write_whole(file, made.public_bytes(serialization.Encoding.PEM))
    except OSError:
        raise InputError(f"--lab: the folder '{place}' for the certificate cannot be written to."
                         ) from None
    return Certificate(file, key_file, _fingerprint(made))


def _names(host: str) -> list[x509.GeneralName]:
    """What a browser may call this machine: the address listened on, and its own names."""
    names: list[x509.GeneralName] = [x509.DNSName("localhost"),
                                     x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]
    try:
        own: x509.GeneralName = x509.IPAddress(ipaddress.ip_address(host.strip("[]")))
    except ValueError:
        own = x509.DNSName(host.lower())
    return names if own in names else [own, *names]


def _fingerprint(certificate: x509.Certificate) -> str:
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def _read(file: Path) -> bytes:
    with open_plain(file) as stream:
        return stream.read(_MOST_BYTES)
