"""What arguments can be: choices that suggest the near one, names that a shell completes, an option many share."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Mapping
from inspect import signature
from pathlib import Path
from typing import Any, TypeVar

import click
from click.shell_completion import CompletionItem

# ---- Options that several commands share -----------------------------------------------------------------------------
# Imports nothing but click.

Command = Callable[..., Any]
_Group = TypeVar("_Group")


def cases_option(command: Command) -> Command:
    """--cases DIR."""
    return click.option(
        "--cases",
        "cases_dir",
        metavar="DIR",
        help="Where the cases are kept (else REASONER_CASES, else your system's folder for data).",
    )(command)


def option_group(kind: Callable[..., _Group], told: Mapping[str, Any]) -> _Group:
    """Options of a command that belong together, as one object. kind: a dataclass with a field for each."""
    return kind(**{name: told[name] for name in signature(kind).parameters})


# ---- What arguments can be -------------------------------------------------------------------------------------------
# Choices that suggest the near one, and names that a shell completes. Loads nothing heavy.

KEY = re.compile(r"^  ([a-z][a-z0-9-]*):", re.MULTILINE)
SECTION = re.compile(r"^([a-z][a-z ]*):", re.MULTILINE)


class NearChoice(click.Choice):  # type: ignore[type-arg]  # click before 8.2 takes no type here
    """click's choice of words, which names the near one for a word that is on no list."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter as error:
            from difflib import get_close_matches

            typed, known = str(value).lower(), [str(choice) for choice in self.choices]
            begun = [choice for choice in known if typed and choice.startswith(typed)]  # `cured` is not `not cured`
            near = begun or get_close_matches(typed, known, 1)
            if near:
                raise click.BadParameter(f"{error.message} Did you mean '{near[0]}'?", ctx, param) from None
            raise


class CaseName(click.ParamType):  # type: ignore[type-arg]
    """The name of a case, or the path of its file."""

    name = "case"

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        from reasoner.casebook import store
        from reasoner.casebook.trouble import CasebookError

        try:
            folder, _ = store.cases_folder(_cases_dir(ctx), os.environ)
            return [CompletionItem(name) for name in store.names(folder) if name.startswith(incomplete)]
        except CasebookError:
            return []


class RuleName(click.ParamType):  # type: ignore[type-arg]
    """The name of an entry of the rules. section: only of this one. Read off the files' layout: quick, and good enough
    to complete a word.
    """

    name = "name"

    def __init__(self, section: str = "") -> None:
        self.section = section

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        from reasoner.cli import shop

        found = {name for path in sorted(shop.shipped_folder("rules").glob("*.yaml")) for name in self._names(path)}
        return [CompletionItem(name) for name in sorted(found) if name.startswith(incomplete)]

    def _names(self, path: Path) -> list[str]:
        try:
            text = path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            return []
        parts = SECTION.split(text)
        sections = zip(parts[1::2], parts[2::2], strict=True)
        return [name for section, body in sections if self.section in ("", section) for name in KEY.findall(body)]


def _cases_dir(ctx: click.Context | None) -> str | None:
    """--cases of this command or of one above it."""
    while ctx is not None:
        if ctx.params.get("cases_dir"):
            return str(ctx.params["cases_dir"])
        ctx = ctx.parent
    return None


CASE, RULE, CONDITION = CaseName(), RuleName(), RuleName("conditions")
