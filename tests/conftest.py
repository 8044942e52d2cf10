"""What every test may rely on."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Generator, Iterator
from functools import cache
from typing import Any

import pytest

#: A test that asks for one of these starts a server or a browser.
STARTS_SOMETHING = {"chromium", "browser", "page_server", "served", "server", "pages",
                    "signed_pages"}


#: While tests are collected nearly nothing becomes free, and looking for it over and over is a
#: third of the work; what was collected stays to the end and need not be looked through again.
gc.disable()


@pytest.hookimpl(optionalhook=True, wrapper=True)
def pytest_xdist_auto_num_workers(config: pytest.Config) -> Generator[None, int, int]:
    """One worker more than processors: the one that drives the browser mostly waits for a page,
    and the others work in the meantime."""
    workers = yield
    told = "PYTEST_XDIST_AUTO_NUM_WORKERS" in os.environ
    return workers if told or config.option.markexpr == "quick" else workers + 1


def pytest_collection_finish() -> None:
    """Memory is cleared up as always once tests run.  Workers that drive no browser step back
    behind the one that does: pages answer as fast as if nothing else ran."""
    gc.freeze()
    gc.enable()
    if os.environ.get("PYTEST_XDIST_WORKER", "gw0") != "gw0":
        os.nice(3)


@pytest.hookimpl(tryfirst=True)  # before the choice by ``-m``
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark as ``quick`` what a contributor runs at every change.  What drives a browser comes
    first, and so is the first worker's (``sharing_out``)."""
    for item in items:
        starts = STARTS_SOMETHING & set(getattr(item, "fixturenames", ()))
        if not (starts or item.get_closest_marker("slow") or item.get_closest_marker("browser")):
            item.add_marker("quick")
    items.sort(key=lambda item: item.get_closest_marker("browser") is None)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """What drives a browser is the first worker's, all else for the others to begin with."""
    if config.getvalue("dist") != "load":
        return None
    from sharing_out import BrowserFirst

    return BrowserFirst(config, log)


@pytest.fixture(autouse=True, scope="session")
def own_station_key(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No test signs with the key of the user who runs it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COUNTERSIGHT_KEY", str(tmp_path_factory.mktemp("station") / "station.key"))
        yield


@pytest.fixture(autouse=True, scope="session")
def packages_looked_through_once() -> Iterator[None]:
    """Every page under test would look through all installed packages for parts of pages, 0.15 s
    of the processor each time (Streamlit 1.67); what is installed stays while the tests run.
    Nor is noted what a page calls, as where the pages are served (``app/commands/serve.py``)."""
    if "streamlit.testing.v1" not in sys.modules:  # no page in what was collected
        yield
        return
    from streamlit import config
    from streamlit.components.v2 import manifest_scanner

    config.set_option("browser.gatherUsageStats", False)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(manifest_scanner, "scan_component_manifests",
                      cache(manifest_scanner.scan_component_manifests))
        yield


@pytest.fixture(autouse=True, scope="session")
def records_laid_out_once() -> Iterator[None]:
    """The migrations lay out the first record of a run in a file; those made new after it take
    over the statements that stand in it, at a tenth of the work.  A record that is there already
    is migrated as always, and so is every record of another process."""
    version = sys.modules.get("app.records.version")
    if version is None:  # no record in what was collected
        yield
        return
    migrate, stand = version.migrate, []

    def laid_out(connection: Any, form: str) -> None:
        new = (form == version.HEAD and connection.dialect.name == "sqlite"
               and not connection.exec_driver_sql("SELECT 1 FROM sqlite_master").first())
        if new and stand:
            for statement in stand:
                connection.exec_driver_sql(statement)
            return
        migrate(connection, form)
        if new:
            stand.extend(connection.exec_driver_sql(
                "SELECT sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY rowid").scalars())
            stand.append(f"INSERT INTO alembic_version VALUES ('{form}')")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(version, "migrate", laid_out)
        yield


@pytest.fixture(autouse=True)
def main_module_stays() -> Iterator[None]:
    """A page under test takes the place of ``__main__``; processes that a later test
    starts would then run that page instead of nothing."""
    main = sys.modules["__main__"]
    yield
    sys.modules["__main__"] = main
