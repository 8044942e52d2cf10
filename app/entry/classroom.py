"""The learners' pages of a class: plain HTML, since sixty phones load them at once.

``/class`` asks for the code, ``/class/CODE`` is the page, ``state`` and ``answer`` belong to its
script.  Nobody signs in here: whoever has the code sees the task in hand and nothing else.
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Awaitable, Callable
from functools import wraps
from importlib.resources import files
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from app.classroom.lessons import LESSONS, tasks_of
from app.classroom.presence import seen
from app.classroom.store import CLOSED, CODE, LEARNER, ClassState, class_store
from app.records import RecordError
from app.ui.lesson.rounds import error_words, verdict_words
from vision.drawing.templates import render
from vision.errors import InputError
from vision.hydrostatics.units import number_text

#: An answer is a number, a task and a random number: no more is read.
_MOST_BYTES = 500
#: Many phones ask the same in one second; the database is asked twice in one.
_FRESH_S = 0.5
_states: dict[str, tuple[float, ClassState]] = {}
_SCRIPT = (files("app.classroom") / "templates" / "learner.js").read_text(encoding="utf-8")

Handler = Callable[[Request], Awaitable[Response]]


def _in_words(handler: Handler) -> Handler:
    @wraps(handler)
    async def guarded(request: Request) -> Response:
        try:
            return await handler(request)
        except InputError as problem:
            return PlainTextResponse(str(problem), 404 if str(problem) == CLOSED else 400)
        except RecordError as problem:
            return PlainTextResponse(str(problem), 503)

    return guarded


def _code(request: Request) -> str:
    code = str(request.path_params["code"]).upper()
    if not CODE.fullmatch(code):
        raise InputError(CLOSED)
    return code


def _state(code: str) -> ClassState:
    kept = _states.get(code)
    if kept is not None and time.monotonic() - kept[0] < _FRESH_S:
        return kept[1]
    _states.pop(code, None)
    state = class_store().state(code)
    if len(_states) > 100:
        _states.clear()
    _states[code] = (time.monotonic(), state)
    return state


def _told(code: str, learner: str) -> dict[str, Any]:
    """All that a learner may know now."""
    state = _state(code)
    told: dict[str, Any] = {"task": state.task, "tasks": state.tasks, "shown": state.shown,
                            "over": state.over, "yours": None}
    if state.over:
        return told
    lesson = LESSONS[state.kind]
    task = tasks_of(state.kind, state.seed, state.tasks)[state.task]
    own = class_store().answers(code, state.task, learner)
    drawn = lesson.before(task)
    base = f"/class/{code}/{state.task + 1}"
    told |= {"question": lesson.question(task), "unit": lesson.unit(task),
             "sentences": lesson.sentences(task), "negative": state.kind == "level",
             "picture": f"{base}.svg" if drawn else f"{base}.jpg",
             "alt": drawn.title if drawn else "The chamber to be read",
             "yours": f"{own[0].value:g}" if own else None}
    if state.shown:
        truth = f"True: {number_text(lesson.truth(task), 2)} {lesson.unit(task)}"
        mine = []
        if own:
            verdict = lesson.judge(own[0].value, task)
            mine = [f"You said {own[0].value:g}: "
                    f"{verdict_words(verdict, lesson.causes)}, "
                    f"{error_words(verdict.error, lesson.measure)}.",
                    lesson.causes.get(verdict.cause, "")]
        told |= {"answer": [truth, *(m for m in mine if m), *lesson.why(task)],
                 "after": f"{base}-answer.svg"}
    return told


@_in_words
async def _join(request: Request) -> Response:
    given = "".join(request.query_params.get("code", "").split()).upper()[:8]
    problem = ""
    if given:
        try:
            await run_in_threadpool(class_store().state, given)
            return Response(status_code=303, headers={"Location": f"/class/{given}"})
        except InputError as reason:
            problem = str(reason)
    return HTMLResponse(render("app.classroom", "learner.html", code="", problem=problem))


@_in_words
async def _page(request: Request) -> Response:
    code = _code(request)
    try:
        await run_in_threadpool(_state, code)
    except InputError as problem:
        return HTMLResponse(render("app.classroom", "learner.html", code="", problem=str(problem)),
                            404)
    return HTMLResponse(render("app.classroom", "learner.html", code=code, problem=""))


async def _script(request: Request) -> Response:
    return Response(_SCRIPT, media_type="text/javascript")


@_in_words
async def _where(request: Request) -> Response:
    code, learner = _code(request), request.query_params.get("learner", "")
    if not LEARNER.fullmatch(learner):
        raise InputError("This page is an old one; load it again.")
    seen(code, learner)
    return JSONResponse(await run_in_threadpool(_told, code, learner),
                        headers={"Cache-Control": "no-store"})


@_in_words
async def _answer(request: Request) -> Response:
    code, body = _code(request), b""
    async for part in request.stream():
        body += part
        if len(body) > _MOST_BYTES:
            return PlainTextResponse("An answer is one number.", 413)
    try:
        given = json.loads(body)
        task, learner, value = int(given["task"]), str(given["learner"]), float(given["value"])
    except (ValueError, KeyError, TypeError, OverflowError, RecursionError):
        raise InputError("An answer is one number.") from None
    if not (math.isfinite(value) and abs(value) < 1e5):
        raise InputError("An answer is one plain number.")
    kept = await run_in_threadpool(class_store().answer, code, task, learner, value)
    told = await run_in_threadpool(_told, code, learner)
    return JSONResponse({**told, "kept": kept}, headers={"Cache-Control": "no-store"})


@_in_words
async def _picture(request: Request) -> Response:
    code, number = _code(request), int(request.path_params["number"])
    kind = request.url.path.rpartition("/")[2].lstrip("0123456789")
    state = await run_in_threadpool(_state, code)
    lesson = LESSONS[state.kind]
    told = number < state.task + 1 or number == state.task + 1 and state.shown
    if not 1 <= number <= min(state.task + 1, state.tasks) or kind == "-answer.svg" and not told:
        raise InputError(CLOSED)

    def make() -> str | bytes | None:
        task = tasks_of(state.kind, state.seed, state.tasks)[number - 1]
        if kind == ".jpg":
            return lesson.picture(task)
        drawn = lesson.after(task) if kind == "-answer.svg" else lesson.before(task)
        return None if drawn is None else str(drawn.svg)

    made = await run_in_threadpool(make)
    if made is None:
        raise InputError(CLOSED)
    return Response(made, media_type="image/jpeg" if kind == ".jpg" else "image/svg+xml",
                    headers={"Cache-Control": "private, max-age=3600"})


ROUTES = (
    Route("/class", _join), Route("/class/learner.js", _script), Route("/class/{code}", _page),
    Route("/class/{code}/state", _where), Route("/class/{code}/answer", _answer, methods=["POST"]),
    *(Route("/class/{code}/{number:int}" + kind, _picture)
      for kind in (".jpg", ".svg", "-answer.svg")),
)
