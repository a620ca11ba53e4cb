"""What README, docs/ and deploy/ say is so: names, words, settings and exit codes agree with the code."""

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest
import typer

from relay import errors
from relay.cli.commands import app
from relay.ledger.words import Word
from relay.settings import VARIABLES
from tests.acceptance.command import REPO

README = (REPO / "README.md").read_text(encoding="utf-8")
DOCUMENTS = [REPO / "README.md", REPO / "DEVELOPERS.md", *sorted((REPO / "docs").rglob("*.md"))]
FORMAT = (REPO / "docs" / "FORMAT.md").read_text(encoding="utf-8")


def commands(command: Any = None, name: str = "relay") -> Iterator[tuple[str, Any]]:
    """Yield every command with its full name: `relay reel show`."""
    command = command or typer.main.get_command(app)
    for word, inner in getattr(command, "commands", {}).items():
        yield from commands(inner, f"{name} {word}")
    if not hasattr(command, "commands") or (name != "relay" and command.invoke_without_command):
        yield name, command


COMMANDS = dict(commands())


def named_in_readme() -> set[str]:
    """Return the commands in the README's table: `relay reel list`, `show` names two."""
    names = set()
    for row in re.findall(r"^\| (`relay .*?) \|", README, re.MULTILINE):
        before: list[str] = []
        for cell in re.findall(r"`([a-z -]+)`", row):
            words = cell.split()
            before = words if words[0] == "relay" else [*before[:-1], words[0]]
            names.add(" ".join(before))
    return names


def test_the_readme_names_every_command_and_no_other():
    assert named_in_readme() == set(COMMANDS)


def test_every_command_that_a_document_shows_exists():
    for path in [*DOCUMENTS, REPO / "deploy" / "RUNBOOK.md"]:
        text = path.read_text(encoding="utf-8")
        shown = re.findall(r"(?:`|^ *|/)relay((?: --home \S+)?(?: [a-z][a-z-]*){1,2})", text, re.MULTILINE)
        for words in shown:
            name = "relay" + re.sub(r" --home \S+", "", words)
            assert any(
                each == name or name.startswith(f"{each} ") or each.startswith(f"{name} ") for each in COMMANDS
            ), f"{path.name} shows `{name}`"


def test_every_option_that_a_document_shows_exists():
    options = {option for command in COMMANDS.values() for each in command.params for option in each.opts}
    options |= {"--home", "--version", "--help", "--install-completion"}
    for path in DOCUMENTS[:1]:
        for line in re.findall(r"^relay .*$", path.read_text(encoding="utf-8"), re.MULTILINE):
            assert set(re.findall(r"--[a-z-]+", line)) <= options, line


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself_and_each_of_its_words(name: str):
    command = COMMANDS[name]
    first = command.help.partition("\n")[0]

    assert first.endswith("."), f"{name}: {first}"
    for each in command.params:
        assert each.help or each.name == "help", f"{name} says nothing about {each.name}"
        is_flag = getattr(each, "is_flag", False)
        assert is_flag or (each.metavar or "").isupper(), f"{name}: {each.name} has no word for what it takes"


def test_no_line_of_the_list_of_commands_is_cut():
    groups = [typer.main.get_command(app)]
    groups += [inner for inner in groups[0].commands.values() if hasattr(inner, "commands")]  # type: ignore[attr-defined]
    for group in groups:
        for name, command in group.commands.items():  # type: ignore[attr-defined]
            assert not command.get_short_help_str(limit=58).endswith("..."), name


def test_exit_codes_are_the_same_in_code_readme_and_help():
    told = {code: words for code, words in re.findall(r"(\d+) ([a-z][^,.]*)", app.info.epilog or "") if int(code) < 256}
    assert {int(code) for code in told} == {0, 130} | {
        family.exit_code
        for family in vars(errors).values()
        if isinstance(family, type) and hasattr(family, "exit_code")
    }
    plain = re.sub(r"\s+", " ", README)
    for code, words in told.items():
        assert f"{code} {words.strip()}" in plain


def test_the_drawing_of_the_errors_is_the_tree_of_the_errors():
    drawn = dict(re.findall(r"^      (\w+Error) .*?exit (\d+)$", errors.__doc__ or "", re.MULTILINE))
    defined = {
        name: str(family.exit_code)
        for name, family in vars(errors).items()
        if isinstance(family, type) and issubclass(family, errors.RelayError) and family is not errors.RelayError
    }
    assert drawn == defined


def test_every_word_of_the_ledger_stands_in_the_format():
    words = {get_args(word.model_fields["word"].annotation)[0] for word in get_args(Word)}
    table = FORMAT.partition("| word | says")[2].partition("\n\n")[0]

    assert set(re.findall(r"`([a-z]+-[a-z-]+)`", table)) == words


def test_every_prefix_of_the_store_stands_in_the_format():
    from relay.store import keys

    prefixes = {value for name, value in vars(keys).items() if name.endswith("_PREFIX")}
    assert set(re.findall(r"^  ([a-z-]+/)", FORMAT, re.MULTILINE)) == prefixes


def test_every_setting_is_in_the_example_and_no_other():
    example = REPO / "deploy" / "relay.env.example"
    text = example.read_text(encoding="utf-8")
    assert set(re.findall(r"^#? ?(RELAY_[A-Z_]+)=", text, re.MULTILINE)) == set(VARIABLES)


def test_every_setting_that_a_document_names_exists():
    for path in DOCUMENTS:
        assert set(re.findall(r"RELAY_[A-Z]+", path.read_text(encoding="utf-8"))) <= set(VARIABLES), path.name


def test_what_the_readme_says_to_install_can_be_installed():
    project = tomllib.loads((REPO / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = {extra for named in re.findall(r"\[([a-z,]+)\]'", README) for extra in named.split(",")}

    assert extras <= set(project["optional-dependencies"])
    assert "relay" in project["scripts"]
    for target in re.findall(r"`?make ([a-z]+)", README):
        assert re.search(rf"^{target}:", (REPO / "Makefile").read_text(), re.MULTILINE), target


def test_every_file_that_a_document_links_to_is_there():
    for path in DOCUMENTS:
        for link in re.findall(r"\]\(([^)#:]+?)(?:#[^)]*)?\)", path.read_text(encoding="utf-8")):
            assert (path.parent / link).exists(), f"{path.name} links to {link}"


def test_the_words_of_the_command_are_the_glossarys():
    """Words that the house does not use, by its glossary, where it has one for the same thing."""
    others = re.compile(
        r"\b(asset|shot list|upload|download|sync|repository|repo|commit|push|pull|checkout|task|ticket|user|client|"
        r"server|workflow|pipeline|vendor|facility|project|checksum|hash sum|log in|token)\b",
        re.IGNORECASE,
    )
    for name, command in COMMANDS.items():
        said = " ".join([command.help, *(each.help or "" for each in command.params if each.name != "help")])
        said = re.sub(r"\bpull lists?\b", "", said)  # the trade's word, in the glossary
        assert not (found := others.search(said)), f"{name} says {found[0] if found else ''}"


def test_no_document_names_this_machine():
    for path in [*DOCUMENTS, *sorted((REPO / "deploy").rglob("*.md"))]:
        assert not re.search(r"/(?:work|root|tmp)/", path.read_text(encoding="utf-8")), Path(path).name
