"""Looks at a live picture: a small frame in, what to draw over it and what to do out.

Beside the pages, since a page runs its script for every answer.  A frame goes to a free
worker or nowhere, is looked at once and kept by nobody.
"""

from __future__ import annotations

import asyncio
from dataclasses import asdict

from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from app.readers import pool
from app.readers.job import Job
from app.ui import session_files
from app.ui.camera import targets
from vision.errors import CountersightError, InputError
from vision.imaging.gravity import phone_gravity

#: A frame within the size that the page sends takes a third of this.
MOST_BYTES = 400_000
_LONGEST_S = 10.0


_looking: set[str] = set()


async def _aim(request: Request) -> Response:
    """One look of a session that was let in; never two of it at a time."""
    session = request.path_params["session"]
    if not session_files.may_bring(session, session_files.browser_of(request.headers)):
        return Response(status_code=403)
    if session in _looking:
        return Response(status_code=429)
    _looking.add(session)
    try:
        answer = await _looked(request.path_params["what"], session, request)
    finally:
        _looking.discard(session)
    answer.headers["Cache-Control"] = "no-store"
    return answer


async def _looked(what: str, session: str, request: Request) -> Response:
    length = request.headers.get("content-length", "")
    if not (length.isascii() and length.isdigit() and len(length) < 9):
        return Response(status_code=411)
    if int(length) > MOST_BYTES:
        return Response(status_code=413, headers={"Connection": "close"})
    target, workers = targets.of(what, session), pool.running()
    try:
        ratio = float(request.query_params.get("ratio", "1"))
    except ValueError:
        ratio = 1.0
    try:
        frame = await request.body()
    except ClientDisconnect:
        return Response(status_code=400)
    if target is None or workers is None:
        return Response(status_code=404)
    options = {"down": _down(request.query_params.get("down", ""))} if target.tilted else {}
    job = Job.of(target.function, (frame, *target.args, min(max(ratio, 1.0), 20.0)), options)
    ticket = None if job is None else workers.submit_if_free(job)
    if ticket is None:
        return Response(status_code=503)  # readings go first
    try:
        await asyncio.wait_for(asyncio.shield(asyncio.wrap_future(ticket.outcome)), _LONGEST_S)
        return JSONResponse(asdict(ticket.result()))
    except CountersightError:
        return Response(status_code=422)
    except (TimeoutError, RuntimeError):
        return Response(status_code=503)
    finally:
        _let_go(ticket)


def _let_go(ticket: pool.Ticket) -> None:
    """A look that nobody waits for ends.  Not where its worker has only begun: ended now, it
    would begin anew with the next look, and on a busy machine never come to an answer."""
    if ticket.cold:
        asyncio.get_running_loop().call_later(pool.LONGEST_S, ticket.give_up)
    else:
        ticket.give_up()


def _down(words: str) -> tuple[float, ...] | None:
    """Where the phone says that down is, if it is a direction: a browser may send anything."""
    try:
        return phone_gravity([float(v) for v in words.split(",")]).down
    except (ValueError, InputError):
        return None


ROUTES = [Route(targets.AIM_PATH + "{what}/{session}", _aim, methods=["POST"])]
