"""Classes in the database of the record, in tables of their own, outside its chain.

What is kept while a class runs: its code, its seed, which task is shown, and each answer under a
random number that the learner's browser made up.  No name, no address, no time of an answer.  When
the class ends, or a day after it was opened, all of it is deleted.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

from sqlalchemy import (
    Column,
    Engine,
    Float,
    Integer,
    MetaData,
    Table,
    Text,
    delete,
    func,
    insert,
    select,
    update,
)

from app.records import Store
from app.records.engine import database_url, make_engine, reading, writing
from app.settings import record_place
from vision.errors import InputError

#: No sign that is taken for another: I and 1, O and 0.
_SIGNS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
CODE = re.compile(f"[{_SIGNS}]{{5}}")
LEARNER = re.compile("[0-9a-f]{32}")
MOST_LEARNERS, MOST_TASKS = 200, 20
_KEPT = timedelta(days=1)
_WAIT_S = 10.0

_tables = MetaData()
_class = Table(
    "lesson_class", _tables, Column("code", Text, primary_key=True), Column("key", Text),
    Column("kind", Text), Column("seed", Integer), Column("tasks", Integer),
    Column("task", Integer), Column("shown", Integer), Column("opened_utc", Text))
_answer = Table(
    "lesson_answer", _tables, Column("code", Text, primary_key=True),
    Column("task", Integer, primary_key=True), Column("learner", Text, primary_key=True),
    Column("value", Float))

CLOSED = "There is no such class now; ask for the code again."


@dataclass(frozen=True)
class ClassState:
    """Where a class stands: task ``task`` of ``tasks`` (from 0), its truth ``shown`` or not."""

    code: str
    kind: str
    seed: int
    tasks: int
    task: int
    shown: bool

    @property
    def over(self) -> bool:
        """Every task has been shown."""
        return self.task >= self.tasks


@dataclass(frozen=True)
class Answer:
    """One learner's answer to one task; ``learner`` is a random number."""

    task: int
    learner: str
    value: float


class ClassStore:
    """The classes of one database."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def open_class(self, kind: str, tasks: int, seed: int | None = None) -> tuple[ClassState, str]:
        """A new class and the key with which it is led; old ones are deleted."""
        if not 1 <= tasks <= MOST_TASKS:
            raise InputError(f"A class has 1 to {MOST_TASKS} tasks.")
        code = "".join(secrets.choice(_SIGNS) for _ in range(5))
        key = secrets.token_hex(16)
        now = datetime.now(UTC)
        state = ClassState(code, kind, secrets.randbelow(2**31) if seed is None else seed, tasks,
                           0, False)
        with writing(self._engine) as run:
            old = select(_class.c.code).where(
                _class.c.opened_utc < (now - _KEPT).isoformat(timespec="seconds"))
            run.execute(delete(_answer).where(_answer.c.code.in_(old)))
            run.execute(delete(_class).where(_class.c.code.in_(old)))
            run.execute(insert(_class).values(
                code=code, key=key, kind=kind, seed=state.seed, tasks=tasks, task=0, shown=0,
                opened_utc=now.isoformat(timespec="seconds")))
        return state, key

    def state(self, code: str, key: str | None = None) -> ClassState:
        """Where a class stands; ``InputError`` where there is none (or the key is another's)."""
        with reading(self._engine) as run:
            row = run.execute(select(_class).where(_class.c.code == code)).mappings().first()
        if row is None or key is not None and not secrets.compare_digest(row["key"], key):
            raise InputError(CLOSED)
        return ClassState(code, row["kind"], row["seed"], row["tasks"], row["task"],
                          bool(row["shown"]))

    def answer(self, code: str, task: int, learner: str, value: float) -> bool:
        """Keep a learner's first answer to the task in hand; False where it came too late."""
        if not LEARNER.fullmatch(learner):
            raise InputError("This answer comes from no page of ours; load the page again.")
        with writing(self._engine) as run:
            row = run.execute(select(_class).where(_class.c.code == code)).mappings().first()
            if row is None:
                raise InputError(CLOSED)
            if row["shown"] or row["task"] != task:
                return False
            here = (_answer.c.code == code, _answer.c.task == task)
            if run.execute(select(func.count()).where(*here)).scalar_one() >= MOST_LEARNERS:
                raise InputError(f"This class is full: {MOST_LEARNERS} have answered.")
            if run.execute(select(_answer.c.value).where(
                    *here, _answer.c.learner == learner)).first() is not None:
                return False
            run.execute(insert(_answer).values(code=code, task=task, learner=learner, value=value))
        return True

    def answers(self, code: str, task: int | None = None, learner: str | None = None
                ) -> tuple[Answer, ...]:
        """The answers so far, of one task or one learner if named, in no order of time."""
        query = select(_answer).where(_answer.c.code == code)
        if task is not None:
            query = query.where(_answer.c.task == task)
        if learner is not None:
            query = query.where(_answer.c.learner == learner)
        with reading(self._engine) as run:
            rows = run.execute(query.order_by(_answer.c.task, _answer.c.learner)).mappings().all()
        return tuple(Answer(r["task"], r["learner"], r["value"]) for r in rows)

    def show(self, code: str, key: str) -> None:
        """Show the truth of the task in hand; no answer counts from now on."""
        self._lead(code, key, shown=lambda row: 1)

    def go_on(self, code: str, key: str) -> None:
        """To the next task, or to the end of the round."""
        self._lead(code, key, shown=lambda row: 0,
                   task=lambda row: min(row["task"] + row["shown"], row["tasks"]))

    def _lead(self, code: str, key: str, **change: Callable[[Any], int]) -> None:
        with writing(self._engine) as run:
            row = run.execute(select(_class).where(
                _class.c.code == code, _class.c.key == key)).mappings().first()
            if row is None:
                raise InputError(CLOSED)
            run.execute(update(_class).where(_class.c.code == code).values(
                {name: make(row) for name, make in change.items()}))

    def end(self, code: str, key: str) -> None:
        """End a class: its answers and itself are deleted."""
        self.state(code, key)
        with writing(self._engine) as run:
            run.execute(delete(_answer).where(_answer.c.code == code))
            run.execute(delete(_class).where(_class.c.code == code))


def class_store() -> ClassStore:
    """The classes of this server's database; RecordError where it cannot be used."""
    place = record_place()
    return _opened(place, _which(place)) if _which(place) else _opened(place, _made(place))


def _which(place: str) -> int:
    """Tells a database's file from another one that came into its place; 0 where there is none."""
    url = database_url(place)
    if url.get_backend_name() != "sqlite":
        return 1
    try:
        return Path(str(url.database)).stat().st_ino
    except OSError:
        return 0


def _made(place: str) -> int:
    Store.open(place)
    return _which(place)


@lru_cache(maxsize=4)
def _opened(place: str, which: int) -> ClassStore:
    Store.open(place)  # a new database is made the record's first, in its own form
    engine = make_engine(database_url(place), wait_seconds=_WAIT_S)
    with writing(engine) as run:
        for table in _tables.sorted_tables:
            if not run.dialect.has_table(run, table.name):
                table.create(run)
    return ClassStore(engine)

