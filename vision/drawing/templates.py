"""Page templates: jinja2, every value escaped unless it is markup already."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from markupsafe import Markup

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def templates(package: str) -> Environment:
    """The templates in the folder ``templates`` of a package; a missing value is an error."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(loader=PackageLoader(package), autoescape=True, undefined=StrictUndefined,
                       trim_blocks=True, lstrip_blocks=True)


def render(package: str, name: str, **values: object) -> Markup:
    """The template ``name`` of a package with these values."""
    return Markup(templates(package).get_template(name).render(values))
