"""`reasoner measure replies`: raw replies of the standard services in words."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping
from typing import Any

import click

from reasoner.cli import exits
from reasoner.cli.say import say, say_json
from reasoner.measure.codes import described
from reasoner.measure.obd import (
    ClearedReply,
    Codes,
    ControllerReply,
    Current,
    MonitorResult,
    Monitors,
    Pasted,
    RefusedReply,
    read_pasted,
)
from reasoner.measure.pids import DecodedValue, Readiness

LONGEST_PASTED = 1_000_000  # characters


@click.command(epilog='Example: reasoner measure replies "43 01 01 72" "41 06 5A 07 66"')
@click.argument("replies", nargs=-1, metavar="[HEX]...")
@click.option("--json", "as_json", is_flag=True, help="As one JSON document.")
def measure_replies_command(replies: tuple[str, ...], as_json: bool) -> None:
    """Raw replies of the services 01, 02, 03, 06, 07 and 0A as codes, readiness, freeze frame and values.

    HEX is one reply, in quotes; without any they are read from standard input, one a line. Addresses, lengths and
    checksums around a reply may stay. A maker's own codes are named as such, not interpreted.
    """
    names = _names()
    text = "\n".join(replies) if replies else sys.stdin.read(LONGEST_PASTED)
    found = read_pasted(text)
    if not found.replies and not found.slips:
        raise click.UsageError("no reply was given: such as 43 01 01 72")
    if as_json and not found.slips:
        say_json([_document(reply, names) for reply in found.replies])
    elif not as_json:
        for reply in found.replies:
            say("\n".join(_lines(reply, names)))
    _say_slips(found)


def _names() -> Mapping[str, str]:
    """Standard names of codes, as the rules have them; none where the rules cannot be read."""
    from reasoner.cli import loading, shop
    from reasoner.rulebook.problem import Notebook

    book = loading.read_layers(shop.layers((), False, os.environ), Notebook())
    return {} if book is None else {name: code.title for name, code in book.codes.items()}


def _says(code: str, names: Mapping[str, str]) -> str:
    return f"{code} {names[code]}" if code in names else described(code)


def _say_slips(found: Pasted) -> None:
    for slip in found.slips:
        mend = f" (perhaps: {slip.mend})" if slip.mend else ""
        if os.path.isfile(slip.stood):
            mend = f" (from a file: reasoner measure replies < {slip.stood})"
        say(f"Error: {slip.said}{mend}", err=True)
    if found.slips:
        raise click.exceptions.Exit(exits.PROBLEMS)


def _lines(reply: ControllerReply, names: Mapping[str, str]) -> Iterator[str]:
    if isinstance(reply, Codes):
        yield from (f"{', '.join(sorted(c.states))}: {_says(c.code, names)}" for c in reply.codes)
        if not reply.codes:
            yield "no codes of this kind"
    elif isinstance(reply, Current):
        if reply.frame is not None:
            yield f"freeze frame {reply.frame}" + (f", of {reply.froze}" if reply.froze else "")
        if reply.readiness:
            yield from _ready(reply.readiness)
        yield from (_value(value) for value in reply.values)
        if reply.supported:
            yield "supported: " + " ".join(f"{pid:02X}" for pid in reply.supported)
    elif isinstance(reply, Monitors):
        yield from (_result(result) for result in reply.results)
        if reply.supported:
            yield "supported: " + " ".join(f"{monitor:02X}" for monitor in reply.supported)
    elif isinstance(reply, RefusedReply):
        yield f"service {reply.service:02X} refused: {reply.why}"
    elif isinstance(reply, ClearedReply):
        yield "codes, freeze frame, readiness and test results were cleared; permanent codes were not"


def _value(value: DecodedValue) -> str:
    if value.value is None:
        return f"{value.name}: not there"
    return (
        f"{value.name}: {value.value if isinstance(value.value, str) else f'{value.value:.4g}'} {value.unit}".rstrip()
    )


def _ready(found: Readiness) -> Iterator[str]:
    yield f"warning lamp {'on' if found.lamp else 'off'}, {found.codes} confirmed code{'' if found.codes == 1 else 's'}"
    if found.compression_ignition:
        yield "this ECU says that it is of a diesel: the monitors below are those of a petrol engine"
    yield "monitors the car has: " + (", ".join(found.supported) or "none")
    yield "not complete since clearing: " + (", ".join(found.waiting) or "none")


def _result(result: MonitorResult) -> str:
    unit = f" {result.unit}" if result.unit else ", as sent"
    verdict = "within" if result.passed else "OUTSIDE"
    limits = f"{verdict} {result.least:g} to {result.most:g}"
    return f"{result.monitor}, test {result.test:02X}: {result.value:g}{unit}, {limits}"


def _document(reply: ControllerReply, names: Mapping[str, str]) -> dict[str, Any]:
    kind = type(reply).__name__.removesuffix("Reply").lower()
    if isinstance(reply, Codes):
        listed = [{"code": c.code, "states": sorted(c.states), "says": _says(c.code, names)} for c in reply.codes]
        return {"reply": kind, "codes": listed}
    if isinstance(reply, Current):
        ready = reply.readiness
        return {
            "reply": kind,
            "values": [{"name": v.name, "value": v.value, "unit": v.unit} for v in reply.values],
            "supported": list(reply.supported),
            "frame": reply.frame,
            "froze": reply.froze,
            "readiness": ready
            and {
                "lamp": ready.lamp,
                "codes": ready.codes,
                "supported": list(ready.supported),
                "waiting": list(ready.waiting),
            },
        }
    if isinstance(reply, Monitors):
        results = [vars(result) | {"passed": result.passed} for result in reply.results]
        return {"reply": kind, "results": results, "supported": list(reply.supported)}
    if isinstance(reply, RefusedReply):
        return {"reply": kind, "service": reply.service, "why": reply.why}
    return {"reply": kind}
