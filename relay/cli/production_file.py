"""Reads a production's TOML file: the one file that a coordinator writes by hand."""

import tomllib
from pathlib import Path

from pydantic import ValidationError

from relay.errors import MissingError, RefusedError
from relay.film.gauges import parse_gauge
from relay.film.rates import parse_rate
from relay.model import Element, Production
from relay.settings import first_fault


def read_production(path: Path) -> Production:
    """Return the production that the file at `path` describes. Raises MissingError, RefusedError."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise MissingError(f"there is no file {path}: name the production's TOML file") from error
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise RefusedError(f"{path} cannot be read as TOML: {first_fault(error)}") from error
    try:
        _speeds_as_fractions(table)
        production = Production.model_validate(table)
        return production.model_copy(update={"elements": tuple(_exact(element) for element in production.elements)})
    except ValueError as error:
        raise RefusedError(f"{path}: {_with_names(error, table)}. Mend the file, then run this again") from error


def _speeds_as_fractions(table: dict[str, object]) -> None:
    elements = table.get("element")
    for element in elements if isinstance(elements, list) else []:
        if isinstance(element, dict) and "speed" in element:
            element["speed"] = str(parse_rate(str(element["speed"])))


def _exact(element: Element) -> Element:
    return element.model_copy(update={"gauge": parse_gauge(element.gauge).name})


def _with_names(error: ValueError, table: dict[str, object]) -> str:
    """Say where the fault is by the site's or element's own name rather than by its place in a list."""
    said = first_fault(error)
    if not isinstance(error, ValidationError):
        return said
    where = error.errors(include_url=False)[0]["loc"]
    if len(where) > 1 and isinstance(where[1], int):
        listed = table.get(str(where[0]))
        item = listed[where[1]] if isinstance(listed, list) and where[1] < len(listed) else {}
        name = item.get("name") or item.get("code") if isinstance(item, dict) else None
        return f"{where[0]} {name!r}, {said}" if name else said
    return said
