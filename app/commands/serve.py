"""``countersight serve``: the pages, on this machine only unless allowed otherwise."""

from __future__ import annotations

import argparse
import ipaddress
import os
import socket
import ssl
import sys
import threading
import time
import urllib.request
import webbrowser
from importlib.resources import files
from pathlib import Path
from typing import Any

from app.certificate import Certificate, check_certificate, lab_certificate
from app.phone_address import code_as_text, own_network_address
from app.settings import (
    ADDRESS_VARIABLE,
    DATA_VARIABLE,
    KEY_VARIABLE,
    LAB_VARIABLE,
    data_dir,
    own_path,
    record_place,
)
from app.sign_in import SignIn, check_sign_in
from app.terminal import say
from vision.errors import InputError
from vision.plain_file import private_folder


def add_parser(subparsers: Any) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "serve", help="open the pages (also without any command)",
        description="Start the pages. They answer on this machine only; a phone needs an encrypted "
                    "connection: a proxy in front, --certificate, or --lab (docs/serving.md).")
    parser.add_argument("--host", metavar="ADDRESS",
                        help="address to listen on (default 127.0.0.1, this machine only; with "
                             "--lab this machine's address in its network)")
    parser.add_argument("--port", default="8501", metavar="N", help="port (default 8501)")
    parser.add_argument("--data", metavar="DIR",
                        help="folder of the record, or a database's address (default: "
                             "$COUNTERSIGHT_DATA or your own data folder)")
    parser.add_argument("--key", metavar="FILE",
                        help="this station's private key, made on first use (default: "
                             "$COUNTERSIGHT_KEY or station.key in your own settings folder)")
    parser.add_argument("--certificate", metavar="FILE",
                        help="serve encrypted (HTTPS) under this certificate, PEM, with its chain")
    parser.add_argument("--certificate-key", metavar="FILE",
                        help="the private key of --certificate, PEM, without a password")
    parser.add_argument("--lab", action="store_true",
                        help="for a skills lab: serve encrypted under a certificate made here, of "
                             "which every phone will warn once")
    parser.add_argument("--sign-in", metavar="FILE",
                        help="TOML file with the OpenID Connect settings; nobody sees a page "
                             "without signing in (docs/serving.md)")
    parser.add_argument("--allow-remote", action="store_true",
                        help="let other machines in without sign-in: knowingly, for a closed "
                             "network of a skills lab")
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser window")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Check everything first, then hand over to the page server."""
    port = parse_port(args.port)
    sign_in = None if args.sign_in is None else check_sign_in(args.sign_in)
    host = args.host or (own_network_address() if args.lab else "127.0.0.1")
    check_host(host, args.allow_remote, signed=sign_in is not None,
               encrypted=args.lab or args.certificate is not None)
    tls = _certificate(args, host)
    place, shown = prepare_place(args.data)
    prepare_key(args.key)
    check_free(host, port)
    os.environ[DATA_VARIABLE] = place
    phones = phone_address(host, port, sign_in, encrypted=tls is not None)
    os.environ[ADDRESS_VARIABLE] = phones
    os.environ[LAB_VARIABLE] = tls.fingerprint if tls and args.lab else ""
    script = Path(str(files("app") / "entry" / "asgi.py"))
    _check_same_house()
    url = page_url(host, port, encrypted=tls is not None)
    if not args.no_browser:
        threading.Thread(target=_open_browser, args=(url,), daemon=True).start()
    sys.stdout.write(f"Countersight: {url}  (stop with Ctrl+C)\n"
                     f"The record is kept in {shown}\n{_words_for_phones(phones)}")
    if tls and args.lab:
        sys.stdout.write(LAB_WORDS.format(tls.fingerprint))
    sys.stdout.flush()
    tell_of_the_record(place)
    if args.allow_remote and sign_in is None:
        sys.stdout.write("No sign-in: whoever reaches this address sees and confirms everything.\n")
        sys.stdout.flush()
    return _launch(server_words(script, host, port, sign_in=sign_in,
                                open_to_all=args.allow_remote, tls=tls))


#: What a phone says of a certificate made here, why, and what to do about it.
LAB_WORDS = (
    "Every phone will warn that this connection is not private: it is encrypted, but this machine "
    "vouches only for itself, and no phone knows it. In a skills lab that is to be expected: look "
    "at the details, compare the fingerprint, then go on. Never do so on a ward.\n"
    "Fingerprint (SHA-256): {}\n")


def _certificate(args: argparse.Namespace, host: str) -> Certificate | None:
    """Under which certificate the pages are served; None for no encryption of our own."""
    brought = [args.certificate is not None, args.certificate_key is not None]
    if args.lab and any(brought):
        raise InputError("--lab makes a certificate of its own; leave --certificate and "
                         "--certificate-key away, or --lab.")
    if any(brought) and not all(brought):
        raise InputError("--certificate FILE and --certificate-key FILE belong together; give "
                         "both.")
    if args.lab:
        return lab_certificate(host)
    return check_certificate(args.certificate, args.certificate_key) if all(brought) else None


def phone_address(host: str, port: int, sign_in: SignIn | None, *, encrypted: bool) -> str:
    """The encrypted address under which a phone reaches the pages; "" where none does."""
    if sign_in is not None:
        address = sign_in.address  # a proxy's, or our own
    elif is_loopback(host) or not encrypted:
        return ""
    else:
        bare = host.strip("[]")
        address = page_url(own_network_address() if bare in ("0.0.0.0", "::") else host, port,
                           encrypted=True)
    return address if address.startswith("https://") else ""


def _words_for_phones(address: str) -> str:
    if not address:
        return ""
    code = f"{code_as_text(address)}\n" if "utf" in (sys.stdout.encoding or "").lower() else ""
    return f"For phones: {address}\n{code}"


def parse_port(text: str) -> int:
    """A port number that a person may use."""
    try:
        port = int(text)
    except ValueError:
        port = 0
    if not 1 <= port <= 65535:
        raise InputError(f"--port: '{text}' is not a port; give a number from 1024 to 65535.")
    return port


def is_loopback(host: str) -> bool:
    """True for an address that only this machine reaches."""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def check_host(host: str, allow_remote: bool, *, signed: bool = False, encrypted: bool = False
               ) -> None:
    """Refuse an address that is none, or that others reach without sign-in (``signed``)
    or its being allowed; ``encrypted`` keeps nobody out, and only changes the words."""
    if is_loopback(host):
        return
    if not (allow_remote or signed) and encrypted:
        raise InputError(
            f"Whoever reaches {host} would see and confirm everything: encryption keeps strangers"
            " from reading, not from entering. For a skills lab with invented codes add"
            " --allow-remote; for a ward set up --sign-in FILE (docs/serving.md).")
    if not (allow_remote or signed):
        raise InputError(
            f"--host {host} would show patient pages to the network without encryption or"
            " sign-in; set up --sign-in FILE and TLS (docs/serving.md), or allow it knowingly with"
            " --allow-remote.")
    try:
        socket.getaddrinfo(host, None)
    except (OSError, UnicodeError):
        raise InputError(f"--host: '{host}' is not an address of this machine.") from None


def prepare_place(given: str | None) -> tuple[str, str]:
    """Where the record is kept, and how that is told: a folder or a database's address."""
    if given is not None and not given.strip():
        raise InputError("--data: name a folder.")
    address = record_place(given)
    if "://" in address:
        from app.records.engine import database_url

        return address, database_url(address).render_as_string(hide_password=True)
    folder = prepare_data_dir(given)
    return str(folder), str(folder)


def prepare_data_dir(given: str | None) -> Path:
    """The folder of the record, made if need be, readable by this user only."""
    folder = (own_path(given) if given else data_dir()).resolve()
    try:
        if not folder.exists():
            private_folder(folder)
        if not folder.is_dir():
            raise InputError(f"--data: '{folder}' is a file; name a folder.")
        if not os.access(folder, os.W_OK | os.X_OK):
            raise OSError
    except (OSError, ValueError):
        raise InputError(f"--data: the folder '{folder}' cannot be made or written to.") from None
    return folder


def prepare_key(given: str | None) -> None:
    """The station's key is made or read now, and not when somebody confirms; RecordError."""
    from app.records.station_key import station_key

    if given is not None:
        os.environ[KEY_VARIABLE] = str(own_path(given).absolute())
    station_key()


def tell_of_the_record(place: str) -> None:
    """Say what is wrong with a record that is there; the pages open all the same, since a
    photo can be read without it, and say so where they need it."""
    from app.records import NotARecordError, RecordError, Store

    try:
        Store.open(place, create=False, wait_seconds=3)
    except NotARecordError:
        pass  # none yet: the pages make it
    except RecordError as error:
        say(str(error))


def check_free(host: str, port: int) -> None:
    """Refuse a port that somebody listens on already, or an address that is not ours."""
    bare = host.strip("[]")
    family = socket.AF_INET6 if ":" in bare else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((bare, port))
        except PermissionError:
            raise InputError(f"--port: {port} is reserved for the system; give a number from 1024"
                             " to 65535.") from None
        except OSError:
            raise InputError(f"Port {port} on {host} is taken or not of this machine; choose"
                             " another with --port.") from None


def page_url(host: str, port: int, *, encrypted: bool = False) -> str:
    """The address to type into a browser on this machine."""
    bare = own_name(host)
    scheme = "https" if encrypted else "http"
    return f"{scheme}://[{bare}]:{port}" if ":" in bare else f"{scheme}://{bare}:{port}"


def own_name(host: str) -> str:
    """A name under which a browser on this machine reaches the address listened on."""
    bare = host.strip("[]")
    return "localhost" if bare in ("0.0.0.0", "::", "") else bare


def server_words(script: Path, host: str, port: int, *, sign_in: SignIn | None = None,
                 open_to_all: bool = False, tls: Certificate | None = None) -> list[str]:
    """The page server's command line: safety options as flags beat any config file.

    Without sign-in only a browser that calls this machine by its own name is let in,
    so a proxy put in front opens nothing by accident; ``open_to_all`` lifts that.
    """
    options = {
        "server.address": host.strip("[]"),
        "server.port": str(port),
        "server.headless": "true",
        "server.enableCORS": "true",
        "server.enableXsrfProtection": "true",
        "server.maxUploadSize": "40",
        "server.fileWatcherType": "none",
        "server.runOnSave": "false",
        # Fast reruns can lose a press that is followed quickly by another one.
        "runner.fastReruns": "false",
        # Longer than app.ui.session_files waits, which ends sessions for good.
        "server.disconnectedSessionTTL": "3600",
        # Said, so that the page server looks for no address of this machine.
        "browser.serverAddress": sign_in.host if sign_in else own_name(host),
        "browser.gatherUsageStats": "false",
        "client.showErrorDetails": "none",
        "client.showErrorLinks": "false",
        "client.toolbarMode": "minimal",
    }
    if tls is not None:
        options |= {"server.sslCertFile": str(tls.file), "server.sslKeyFile": str(tls.key_file)}
    words = [f"--{k}={v}" for k, v in options.items()]
    if sign_in is not None:
        words.append(f"--secrets.files={sign_in.file}")
    if not open_to_all:
        names = {"localhost", "127.0.0.1", "::1", host.strip("[]").lower()}
        names |= {sign_in.host} if sign_in is not None else set()
        words += [f"--server.allowedHosts={name}" for name in sorted(names)]
    return ["streamlit", "run", str(script), *words]


def _check_same_house() -> None:
    """Another package named app or vision would give wrong pages or wrong numbers."""
    import vision

    ours = Path(__file__).resolve().parents[2]
    if Path(str(vision.__file__)).resolve().parents[1] != ours:
        raise InputError("Another package named 'vision' hides Countersight's own; install"
                         " Countersight in a virtual environment of its own.")


def _launch(words: list[str]) -> int:
    try:
        from streamlit.web import cli as server
    except ImportError:
        raise InputError("The pages need Streamlit; install it with 'pip install"
                         " streamlit'.") from None
    sys.argv = words
    server.main(standalone_mode=False)
    return 0


def _open_browser(url: str) -> None:
    """Open a window once the server answers, where there is a screen to open it on."""
    if sys.platform.startswith("linux") and not (
            os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        return
    ours = ssl.create_default_context()  # we ask ourselves, whoever vouches for us
    ours.check_hostname, ours.verify_mode = False, ssl.CERT_NONE
    for _ in range(100):
        try:
            with urllib.request.urlopen(f"{url}/_stcore/health", timeout=1, context=ours):
                webbrowser.open(url)
                return
        except OSError:
            time.sleep(0.2)
