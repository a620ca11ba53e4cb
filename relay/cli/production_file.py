"""Reads a production's TOML file: the one file that a coordinator writes by hand."""

import tomllib
from pathlib import Path

from relay.errors import MissingError, RefusedError
from relay.film.gauges import parse_gauge
from relay.film.rates import parse_rate
from relay.model import Production
from relay.settings import first_fault
from relay.shifts.public_holidays import holidays_of


def read_production(path: Path) -> Production:
    """Return the production that the file at `path` describes. Raises MissingError, RefusedError."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise MissingError(f"there is no file {path}: name the production's TOML file") from error
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise RefusedError(
            f"{path} cannot be read as TOML: {first_fault(error)}. Put it right, then run this again"
        ) from error
    try:
        _write_exactly(table)
        _say_what_is_usual(table)
        production = Production.model_validate(table)
        _check_holidays(production)
        return production
    except ValueError as error:
        raise RefusedError(f"{path}: {first_fault(error, table)}. Put it right, then run this again") from error


def _say_what_is_usual(table: dict[str, object]) -> None:
    """Have every stage's work looked at, and reference copies made of what was accepted, unless the file says not so.

    It is written into the ledger as if the file had said it: what was opened and accepted by an older file stays so.
    """
    stages = table.get("stage")
    for stage in stages if isinstance(stages, list) else []:
        if isinstance(stage, dict):
            stage.setdefault("inspected", True)
            if _is_reference_copy(stage.get("command")):
                stage.setdefault("opens_on", "acceptance")


def _is_reference_copy(command: object) -> bool:
    return isinstance(command, list) and command[:1] == ["reference-copy"]


def _check_holidays(production: Production) -> None:
    """Look up whose holidays are kept, while somebody who can put them right is there."""
    for site in production.sites:
        if site.holidays:
            try:
                holidays_of(site.holidays)
            except RefusedError as error:
                raise ValueError(f"site {site.name!r}: {error}") from error


def _write_exactly(table: dict[str, object]) -> None:
    """Put speeds as exact fractions and gauges by their usual names, where they are such; else leave them as found."""
    elements = table.get("element")
    for element in elements if isinstance(elements, list) else []:
        if isinstance(element, dict):
            try:
                _write_element_exactly(element)
            except ValueError as error:
                raise ValueError(f"element {element.get('code')!r}: {error}") from error


def _write_element_exactly(element: dict[str, object]) -> None:
    if "speed" in element:
        element["speed"] = str(parse_rate(str(element["speed"])))
    if isinstance(element.get("gauge"), str):
        element["gauge"] = parse_gauge(str(element["gauge"])).name
