"""A real PostgreSQL for the tests: a cluster of its own in a temporary folder.

Needs the server programs (Debian: apt-get install postgresql); found by
``initdb`` on the path or in Debian's folder.
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def server_programs() -> Path | None:
    """The folder of ``initdb`` and ``pg_ctl``; the newest that Debian has, else the path's."""
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"),
                    key=lambda p: float(p.parts[-3]))
    if debian:
        return debian[-1].parent
    found = shutil.which("initdb")
    return Path(found).resolve().parent if found else None


def _as_server_user() -> dict[str, str]:
    """The server refuses to run as root: then the package's own user runs it."""
    if os.getuid() != 0:
        return {}
    try:
        pwd.getpwnam("postgres")
    except KeyError:
        return {"user": "nobody"}
    return {"user": "postgres"}


@contextmanager
def cluster(programs: Path) -> Iterator[str]:
    """Start a cluster; yields the address of its ``postgres`` database (a socket, no port)."""
    who = _as_server_user()
    # Short, since a socket's path may have 107 characters.
    folder = Path(tempfile.mkdtemp(prefix="cs-pg-", dir="/tmp"))
    if who:
        shutil.chown(folder, who["user"])

    def run(program: str, *args: str) -> None:
        done = subprocess.run([str(programs / program), *args], capture_output=True, text=True,
                              cwd=folder, check=False, env={**os.environ, "LC_ALL": "C"}, **who)
        if done.returncode:
            log = folder / "log"
            raise RuntimeError(done.stderr + (log.read_text() if log.exists() else ""))

    try:
        run("initdb", "-D", f"{folder}/data", "-U", "ward", "-A", "trust", "-E", "UTF8", "-N")
        run("pg_ctl", "-D", f"{folder}/data", "-l", f"{folder}/log", "-w", "-o",
            f"-k {folder} -c listen_addresses='' -c max_connections=150", "start")
        try:
            yield f"postgresql://ward@/postgres?host={folder}"
        finally:
            run("pg_ctl", "-D", f"{folder}/data", "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
