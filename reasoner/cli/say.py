"""The one way from a command to the screen: text in which a terminal finds nothing to obey, and JSON in plain ASCII."""

from __future__ import annotations

import json
from dataclasses import asdict, is_dataclass
from typing import Any

import click

from reasoner.session.plain import harmless


def say(text: str = "", err: bool = False, nl: bool = True) -> None:
    """Print text; control characters and escape sequences in it are made visible. nl: end the line."""
    click.echo(harmless(text), err=err, nl=nl)


def say_json(document: Any, indent: int | None = None) -> None:
    """Print a document (a dataclass or plain values) as JSON. What is not ASCII is escaped (RFC 8259, section 7)."""
    plain = asdict(document) if is_dataclass(document) and not isinstance(document, type) else document
    click.echo(json.dumps(plain, ensure_ascii=True, indent=indent).replace("\x7f", "\\u007f"))
