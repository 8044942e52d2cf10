"""The report as a page: its templates, and how they say numbers."""

from __future__ import annotations

from vision.accuracy.figures import Rate
from vision.accuracy.statistics import Interval, PairedTest
from vision.drawing.templates import templates

DASH = "\N{EN DASH}"


def number(value: float | None, form: str = ".3f") -> str:
    """A number, or a dash."""
    return DASH if value is None else format(value, form)


def between(ci: Interval | None, form: str = ".3f") -> str:
    """An interval as "low to high", or a dash."""
    return DASH if ci is None else f"{ci.low:{form}} to {ci.high:{form}}"


def share(rate: Rate) -> str:
    """A proportion with its count and exact interval, or a dash for an empty one."""
    if rate.rate is None or rate.ci is None:
        return DASH
    return (f"{100 * rate.rate:.1f} % ({rate.count} of {rate.n}; "
            f"{100 * rate.ci.low:.1f} to {100 * rate.ci.high:.1f})")


def of(rate: Rate) -> str | None:
    """A proportion in short, None for an empty one."""
    return None if rate.n == 0 else f"{100 * rate.count / rate.n:.1f} % of {rate.n}"


def tested(test: PairedTest, name: str) -> str:
    """A paired test in words."""
    return f"{name}: p = {test.p_value:.3g} ({test.n} pairs that differ)"


def page(name: str, **values: object) -> str:
    """A whole page with its styles inside; nothing is fetched from anywhere."""
    environment = templates("vision.accuracy")
    environment.filters.update(number=number, between=between, share=share, tested=tested)
    return environment.get_template(name).render(values)
