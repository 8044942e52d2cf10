"""What every test may rely on."""

from __future__ import annotations

import sys
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True)
def main_module_stays() -> Iterator[None]:
    """A page under test takes the place of ``__main__``; processes that a later test
    starts would then run that page instead of nothing."""
    main = sys.modules["__main__"]
    yield
    sys.modules["__main__"] = main
