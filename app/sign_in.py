"""The ward's sign-in file: OpenID Connect settings, checked before anything is served."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from urllib.parse import urlsplit

from app.settings import own_path
from vision.errors import InputError
from vision.plain_file import read_text

#: What must be in the section [auth].
NEEDED = ("redirect_uri", "cookie_secret", "client_id", "client_secret", "server_metadata_url")
#: The secret signs the cookie that says who is signed in (256 bits of hexadecimal digits
#: are 64 characters; half of that is the least that we take: our choice).
SHORTEST_SECRET = 32
_HERE = ("localhost", "127.0.0.1", "::1")


@dataclass(frozen=True)
class SignIn:
    """A sign-in file that can be used; ``host`` is the name under which people reach us, and
    ``address`` the whole of it."""

    file: Path
    host: str
    address: str


def check_sign_in(name: str) -> SignIn:
    """Read the file.  Raises InputError with a sentence, never with a secret in it."""
    file = own_path(name).resolve()
    try:
        found = tomllib.loads(read_text(file)).get("auth", {})
    except (OSError, ValueError, RecursionError):
        raise InputError(f"--sign-in: '{file}' cannot be read as a TOML file.") from None
    if not isinstance(found, dict):
        found = {}
    missing = [k for k in NEEDED if not isinstance(found.get(k), str) or not found[k].strip()]
    if missing:
        raise InputError(f"--sign-in: the section [auth] of '{file}' lacks {', '.join(missing)}.")
    if len(found["cookie_secret"]) < SHORTEST_SECRET:
        raise InputError(f"--sign-in: cookie_secret needs at least {SHORTEST_SECRET} random "
                         "characters; 'python -c \"import secrets; print(secrets.token_hex())\"' "
                         "makes some.")
    back = urlsplit(found["redirect_uri"])
    host = back.hostname or ""
    if not back.path.endswith("/oauth2callback") or not host:
        raise InputError("--sign-in: redirect_uri is the pages' own address with /oauth2callback "
                         "at its end.")
    for key in ("redirect_uri", "server_metadata_url"):
        address = urlsplit(found[key])
        if address.scheme != "https" and address.hostname not in _HERE:
            raise InputError(f"--sign-in: {key} must begin with https://, or a password could be "
                             "read on the way.")
    if find_spec("authlib") is None or find_spec("httpx") is None:
        raise InputError("Sign-in needs what belongs to countersight[auth]: pip install "
                         "-e '.[auth]'.")
    return SignIn(file, host, f"{back.scheme}://{back.netloc}")
