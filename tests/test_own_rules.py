"""A shop's own rules, written as a new user would from rules/README.md alone: they change what is asked and concluded.

The files are those of the README's section, its commands are run, and what they print is what stands there. Line
numbers and counts of the shipped rules may differ, as these grow. To paste the outputs anew (and then to read every
difference): python -m tests.test_own_rules
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import pytest

from reasoner.network.vehicle import vehicle_from
from reasoner.rulebook.read import read_rules
from reasoner.session import acts
from reasoner.session.concluding import next_document, verdict, why
from reasoner.session.document import Question, Verdict
from reasoner.session.words import places_of
from reasoner.session.workup import Workup, begin

ROOT = Path(__file__).parent.parent
README = ROOT / "rules" / "README.md"
SECTION = re.compile(r"# Your own rules in ten minutes\n.*?(?=\n# The rule files)", re.S)
BLOCK = re.compile(r"```(yaml|console)\n(.*?)```", re.S)


def section() -> str:
    found = SECTION.search(README.read_text(encoding="utf-8"))
    assert found
    return found[0]


def own(file: str) -> str:
    """A file of the README, with the slip in it mended as the README does."""
    (text,) = (body for kind, body in BLOCK.findall(section()) if kind == "yaml" and body.startswith(f"# {file}\n"))
    return str(text).replace("fuel-by-tim,", "fuel-by-time,")


# ---- the README as a session at a terminal ---------------------------------------------------------------------------


def commands(block: str) -> Iterator[tuple[str, str]]:
    """(command, what is printed under it) of a console block."""
    for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
        command, _, printed = part.partition("\n")
        yield command, printed


def run(command: str, folder: Path) -> str:
    """What a shell prints, both streams, with `reasoner` as it is here."""
    environ = {**os.environ, "PYTHONPATH": str(ROOT), "REASONER_RULES": "", "COLUMNS": "100", "PYTHONUTF8": "1"}
    line = command.replace(
        "reasoner ", f"{shlex.quote(sys.executable)} -m reasoner ", 1 if "reasoner" in command else 0
    )
    done = subprocess.run(["sh", "-c", line + " 2>&1"], cwd=folder, env=environ, capture_output=True, timeout=300)
    return done.stdout.decode("utf-8")


def loosely(text: str) -> str:
    """What stays true while the shipped rules grow."""
    text = re.sub(r"(rules/[\w-]+\.yaml):\d+(:\d+)?", r"\1:N", text)
    return re.sub(r"^(\d+) (files:.*)$", lambda m: re.sub(r"\d+", "N", m[0]), text, flags=re.M)


def agree(printed: str, written: str) -> bool:
    """`...` on a line of its own stands for any lines."""
    parts = [re.escape(part) for part in loosely(written).strip("\n").split("\n...")]
    return re.fullmatch(r"(?:\n.*)*?".join(parts), loosely(printed).strip("\n")) is not None


@pytest.mark.skipif(os.name == "nt", reason="the README shows a POSIX shell")
def test_what_the_readme_prints_is_what_is_printed(tmp_path: Path) -> None:
    ran = 0
    for kind, body in BLOCK.findall(section()):
        if kind == "yaml":
            path = tmp_path / body.partition("\n")[0].removeprefix("# ")
            path.parent.mkdir(exist_ok=True)
            path.write_text(body, encoding="utf-8")
            continue
        for command, written in commands(body):
            printed = run(command, tmp_path)
            assert agree(printed, written), f"$ {command}\n{printed}"
            ran += 1
    assert ran >= 5


# ---- what follows ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One for all, so that a case begun once is begun for all."""
    return tmp_path_factory.mktemp("own")


@lru_cache
def start(*texts: str, folder: Path) -> Workup:
    """A port-injected four with a rich code that is being looked at, warm and idling; the owner is not there to ask."""
    paths = []
    for number, text in enumerate(texts):
        path = folder / f"own-{number}.yaml"
        path.write_text(text, encoding="utf-8")
        paths.append(path)
    fields = {"layout": "inline 4", "injection": "port", "charging": "natural", "distance": "150000 km"}
    vehicle, mistakes = vehicle_from(fields)
    assert vehicle is not None, mistakes
    workup = begin(read_rules([ROOT / "rules"], ROOT, paths), vehicle)
    workup = workup.after(acts.list_codes(workup, [("P0172", [])]))  # no state: that would answer a check of its own
    workup = workup.after(acts.change_condition(workup, "warm-idle"))
    for name, check in workup.book.checks.items():
        if check.kind in ("told", "code") and name in workup.tables.check_number:
            workup = workup.after(acts.pass_over(workup, name, "not-now"))
    return workup


def answered(workup: Workup, **answers: str) -> Workup:
    for name, outcome in answers.items():
        check = workup.book.checks[name.replace("_", "-")]
        workup = workup.after(acts.answer(workup, check.name, dict.fromkeys(places_of(workup.vehicle, check), outcome)))
    return workup


def asked(workup: Workup) -> str:
    document = next_document(workup)
    return document.way.check if isinstance(document, Question) else f"verdict: {document.kind}"


SEEN = {"trim_idle": "rich", "trim_2500": "normal", "purge_pinched": "same", "crankcase_vent_off": "same"}


def test_a_new_fault_and_its_check_change_what_is_asked_next(folder: Path) -> None:
    shipped = answered(start(folder=folder), **SEEN)
    shop = answered(start(own("my-rules/gas.yaml"), folder=folder), **SEEN)
    assert asked(shop) == "gas-hose-pinched" != asked(shipped)
    assert "gas-hose-pinched" not in shipped.book.checks


def test_a_new_fault_and_its_check_change_the_verdict(folder: Path) -> None:
    shipped = verdict(answered(start(folder=folder), **SEEN))
    shop = answered(start(own("my-rules/gas.yaml"), folder=folder), **SEEN, gas_hose_pinched="recovers")
    found = next_document(shop)
    assert isinstance(found, Verdict)
    assert (found.kind, found.lead.fault) == ("settled", "vaporiser-leaks") and found.lead.probability > 0.9
    assert found.repair == "renew-vaporiser"
    assert shipped.kind != "settled" and shipped.lead.fault != "vaporiser-leaks"
    reason = next(r for r in found.spoke_for if r.check == "gas-hose-pinched")
    assert reason.rule.startswith(str(folder)) or "own-0.yaml" in reason.rule  # the shop's own line is named


def test_the_rest_is_as_it_was(folder: Path) -> None:
    """What the shop did not speak of keeps its numbers: only the new fault's share is taken from all alike."""
    shipped, shop = start(folder=folder), start(own("my-rules/gas.yaml"), folder=folder)
    before = dict(zip([c.name for c in shipped.tables.causes], shipped.tables.prior, strict=True))
    after = dict(zip([c.name for c in shop.tables.causes], shop.tables.prior, strict=True))
    new = after.pop("vaporiser-leaks")
    assert set(after) == set(before)
    # What is in no rule has a share of its own, whatever there is besides; the named ones make room together.
    spare = {c.name for c in shipped.tables.causes if shipped.book.faults[c.fault].anything_else}
    ratios = [after[name] / before[name] for name in before if name not in spare]
    assert max(ratios) - min(ratios) < 1e-9 and 1 - new - 0.1 < ratios[0] < 1
    assert all(abs(after[name] - before[name]) < 1e-9 for name in spare)


def test_changed_numbers_change_what_is_asked_next_and_the_verdict(folder: Path) -> None:
    """Rich at idle, a valve that does not hold: enough for the shop, not for the base."""
    found = []
    for texts in ((), (own("my-rules/numbers.yaml"),)):
        workup = answered(start(*texts, folder=folder), trim_idle="rich")
        workup = workup.after(acts.change_condition(workup, "engine-off"))
        found.append(answered(workup, purge_valve_holds_vacuum="leaks"))
    shipped, shop = found
    assert asked(shop) == "verdict: settled"
    assert not asked(shipped).startswith("verdict")
    before, after = verdict(shipped), verdict(shop)
    assert before.fault.fault == after.fault.fault == "purge-valve-leaks"
    assert before.fault.probability < shop.costs.dominates <= after.fault.probability


def test_why_names_the_shop_s_own_line_for_a_changed_share(folder: Path) -> None:
    shop, shipped = start(own("my-rules/numbers.yaml"), folder=folder), start(folder=folder)
    assert "own-0.yaml:3:" in why(shop, "purge-valve-leaks").prior_rule
    assert why(shipped, "purge-valve-leaks").prior_rule.startswith("rules/faults-fuel.yaml:")
    assert why(shop, "canister-loaded").prior_rule.startswith("rules/faults-fuel.yaml:")


def test_a_counted_frequency_weighs_by_its_count(folder: Path) -> None:
    shop = start(own("my-rules/numbers.yaml"), folder=folder).book.checks["purge-pinched"]
    shipped = start(folder=folder).book.checks["purge-pinched"]
    (now, before) = (check.given["purge-vapour"] for check in (shop, shipped))
    assert (now.here["recovers"].value, now.origin.weight) == (0.75, 40)
    assert before.here["recovers"].value != 0.75
    assert shop.given["crankcase-vapour"] == shipped.given["crankcase-vapour"]


if __name__ == "__main__":
    import tempfile

    text = section()
    with tempfile.TemporaryDirectory() as name:
        for kind, body in BLOCK.findall(section()):
            if kind == "yaml":
                path = Path(name, body.partition("\n")[0].removeprefix("# "))
                path.parent.mkdir(exist_ok=True)
                path.write_text(body, encoding="utf-8")
                continue
            anew = ""
            for command, written in commands(body):
                printed = run(command, Path(name))
                anew += f"$ {command}\n{written if '...' in written else printed}"
            text = text.replace(body, anew)
    whole = README.read_text(encoding="utf-8")
    README.write_text(whole.replace(section(), text), encoding="utf-8")
