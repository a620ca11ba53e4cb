"""Commands that are loaded when they are asked for: all of them take as long as whatever else a command loads."""

import gc
from collections.abc import Iterator, Mapping, MutableMapping
from functools import cache
from importlib import import_module
from typing import Any, NamedTuple

import typer


class Told(NamedTuple):
    """Where a command is to be found, and how it is listed."""

    name: str
    where: str
    """`module:name` below `relay.cli`: a function, or a `typer.Typer` with commands of its own."""
    heading: str | None = None
    help: str | None = None
    """What a command with commands of its own says of itself; a function says it in its docstring."""
    others: tuple[tuple[str, str], ...] = ()
    """Commands below this one that live elsewhere: name and where."""


@cache
def loaded(told: Told) -> Any:
    """Return the command, with its module loaded. Loading leaves no garbage, and looking for some takes long."""
    gc.disable()
    try:
        return _loaded(told)
    finally:
        gc.freeze()
        gc.enable()


def _loaded(told: Told) -> Any:
    alone = typer.Typer(rich_markup_mode=None)
    found = _found(told.where)
    if isinstance(found, typer.Typer):
        for name, where in told.others:
            found.command(name)(_found(where))
        alone.add_typer(found, name=told.name, rich_help_panel=told.heading, help=told.help)
    else:
        alone.command(told.name, rich_help_panel=told.heading)(found)
    return typer.main.get_group(alone).commands[told.name]


def _found(where: str) -> Any:
    module, _, name = where.partition(":")
    return getattr(import_module(f"relay.cli.{module}"), name)


class Table(MutableMapping[str, Any]):
    """Commands by their names, in the order in which they are told. To ask for one loads it; to ask for names, none."""

    def __init__(self, told: Mapping[str, Told]) -> None:
        self._told = told
        self._added: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        return self._added[name] if name in self._added else loaded(self._told[name])

    def __setitem__(self, name: str, command: Any) -> None:
        self._added[name] = command

    def __delitem__(self, name: str) -> None:
        del self._added[name]

    def __iter__(self) -> Iterator[str]:
        yield from self._told
        yield from (name for name in self._added if name not in self._told)

    def __len__(self) -> int:
        return len(list(iter(self)))
