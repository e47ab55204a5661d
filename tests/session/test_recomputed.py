"""Another program's arithmetic: from the printed tables and the messages alone it comes to the same belief.

`beliefs` is written from rules/README.md, *Recomputing a belief*, in plain loops, and shares no code with the engine.
The messages are random, of every kind that moves a belief, on vehicles of several kinds.
"""

from __future__ import annotations

import json
import os
import random
from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass, field
from functools import cache
from itertools import product
from math import erf, inf, log2, prod, sqrt
from pathlib import Path
from statistics import fmean as mean
from typing import Any

import jsonschema
import pytest

from reasoner.network.vehicle import vehicle_from
from reasoner.session.acts import Refused
from reasoner.session.protocol import Talk, hear
from reasoner.session.tables_doc import tables_document
from reasoner.session.workup import Workup
from tests.shipped import LONG, book, garage

ROOT = Path(__file__).parents[2]
DEFINED = json.loads((ROOT / "reasoner/session/protocol.schema.json").read_text(encoding="utf-8"))["$defs"]
HELD = {kind: jsonschema.Draft202012Validator({"$ref": f"#/$defs/{kind}", "$defs": DEFINED}) for kind in DEFINED}
VEHICLES = {
    "three": {"layout": "inline 3", "injection": "port", "charging": "charged"},
    "four": {"layout": "inline 4", "injection": "direct", "charging": "charged", "distance": "200000 km"},
    "six": {"layout": "inline 6", "injection": "dual", "upstream sensors": "2"},
    "V6": {"layout": "V 6", "injection": "port", "charging": "natural"},
    "flat four": {"layout": "flat 4", "injection": "dual", "metering": "both"},
    "V8": {"layout": "V 8", "injection": "direct"},
}
# Vehicle, seed, turns; large engines take their time.
TALKS = [("three", 0, 10), ("three", 20, 10), ("four", 1, 10), ("flat four", 4, 10), ("V6", 3, 6), ("six", 2, 4),
         ("V8", 5, 4)]  # fmt: skip
Weights = list[float]
Message = dict[str, Any]


@cache
def start(name: str) -> tuple[Workup, dict[str, Any]]:
    """A case nobody has said anything of, and the tables as they are printed."""
    vehicle, mistakes = vehicle_from(VEHICLES[name])
    assert vehicle is not None, mistakes
    workup = garage().begin(vehicle)
    tables = json.loads(json.dumps(tables_document(workup.tables, book())))
    tables["by name"] = {check["name"]: check for check in tables["checks"]}
    return workup, tables


@dataclass
class Spell:
    condition: str | None
    answers: list[tuple[int, str, dict[str, Weights]]] = field(default_factory=list)  # (when, check, weights by place)


def places(check: dict[str, Any]) -> list[str]:
    """As they are called in messages: the number, 0 for the engine."""
    return ["0" if place == "engine" else place.split()[1] for place in check["places"]]


def stays(check: dict[str, Any]) -> bool:
    return bool(check["steady"] and not check["provokes"])


def counted(tables: dict[str, Any], spells: list[Spell]) -> Iterator[tuple[int, dict[str, Any], str, Weights]]:
    """(spell, check, place, weights), each piece of evidence once."""
    best: dict[Any, Any] = {}
    stood_for = set()
    for at, spell in enumerate(spells):
        for when, name, weights in spell.answers:
            check = tables["by name"][name]
            for place, w in weights.items():
                slot = (name, place, None if stays(check) else at)
                best[slot] = max(best.get(slot, ((0.0, 0),)), ((max(w) / sum(w), when), at, w))
            for other in (tables["by name"][n] for n in check["stands for"]):
                apart = check["conditions"] and other["conditions"]
                apart = apart and not set(check["conditions"]) & set(other["conditions"])
                alike = len(check["places"]) == len(other["places"])
                for place in weights if alike else places(other):
                    stood_for.add((other["name"], place, None if stays(other) or apart else at))
    for (name, place, _), (_, at, w) in best.items():
        if not {(name, place, at), (name, place, None)} & stood_for:
            yield at, tables["by name"][name], place, w


def thing(row: Weights, again: float, looks: list[Weights]) -> float:
    """The likelihood of all looks at one thing."""
    one = two = 0.0
    for a, p in enumerate(row):
        chance = p
        for w in looks:
            chance *= w[a]
        one += chance
        for b, q in enumerate(row):
            chance = p * q
            for w in looks:
                chance *= (w[a] + w[b]) / 2
            two += chance
    return (2 * again - 1) * one + (2 - 2 * again) * two


def beliefs(tables: dict[str, Any], spells: list[Spell]) -> tuple[dict[str, float], float]:
    """P(cause), and the chance that it shows in the present spell, the last one.

    Spells in which nothing was seen that hangs on the state are left out of the list of states, but for the present
    one: the sum over theirs is 1.
    """
    looked: list[tuple[int, dict[str, Any], int, Weights]] = []
    for at, check, place, w in counted(tables, spells):
        looked.append((at, check, places(check).index(place), w))
    provoked = [
        max([1 - w[0] / sum(w) for n, check, _, w in looked if n == at and check["provokes"]], default=0.0)
        for at in range(len(spells))
    ]
    open_ = sorted({n for n, check, _, _ in looked if not check["steady"]} | {len(spells) - 1})
    joint, showing = {}, {}
    for cause in tables["causes"]:
        acts = []
        for at in open_:
            each = cause["acts"].get(spells[at].condition) or [
                mean(x) for x in zip(*cause["acts"].values(), strict=True)
            ]
            acts.append([p + provoked[at] * max(0.0, 1 - tables["unlikeliest"] - p) for p in each])
        total = now = 0.0
        for states in product((True, False), repeat=len(open_)):
            state = dict(zip(open_, states, strict=True))
            things: dict[Any, tuple[dict[str, Any], list[Weights]]] = {}
            for at, check, place, w in looked:
                sees = check["steady"] or state[at]
                number = check["showing"][cause["name"]][place] if sees else 0
                things.setdefault((check["name"], place, number), (check["rows"][number], []))[1].append(w)
            chance = 0.0
            for u, p in enumerate(tables["activities"]):
                for act, shown in zip(acts, states, strict=True):
                    p *= act[u] if shown else 1 - act[u]
                chance += p
            nothing: dict[str, tuple[float, list[Weights]]] = {}
            both: dict[tuple[str, int], tuple[float, list[Weights]]] = {}
            for (name, _, number), (row, looks) in things.items():
                likelihood = thing(row["probabilities"], row["again"], looks)
                everywhere = set(tables["by name"][name]["showing"][cause["name"]]) == {number}
                if number == 0:
                    so_far = nothing.get(name, (1.0, []))
                    nothing[name] = so_far[0] * likelihood, so_far[1] + looks
                elif everywhere:
                    so_far = both.get((name, number), (1.0, []))
                    both[name, number] = so_far[0] * likelihood, so_far[1] + looks
                else:
                    chance *= likelihood
            for (name, number), (apart, looks) in both.items():
                check = tables["by name"][name]
                same = sum(p * prod(w[a] for w in looks) for a, p in enumerate(check["rows"][number]["probabilities"]))
                chance *= (1 - check["together"]) * apart + check["together"] * same
            for name, (apart, looks) in nothing.items():
                check = tables["by name"][name]
                same = sum(p * prod(w[a] for w in looks) for a, p in enumerate(check["quiet"]))
                chance *= (1 - check["alike"]) * apart + check["alike"] * same
            total += chance
            now += chance if states[-1] else 0.0
        joint[cause["name"]], showing[cause["name"]] = cause["prior"] * total, cause["prior"] * now
    evidence = sum(joint.values())
    return {name: p / evidence for name, p in joint.items()}, sum(showing.values()) / evidence


class Other:
    """The other program: it says something legal at random, and notes what that means. A message is paired with what
    it does to the notes once it was taken."""

    def __init__(self, tables: dict[str, Any], seed: int) -> None:
        self.tables, self.chance, self.time = tables, random.Random(seed), 0
        self.codes, self.apart, self.spells = Spell(None), list[Spell](), [Spell(None)]
        self.chosen = False
        self.steps: list[Any] = []
        # Few checks, those that count in a way of their own, so that they come again and meet one another.
        stand = [c for c in tables["checks"] if c["stands for"] and not {*c["stands for"]} - {*tables["by name"]}]
        pair = self.chance.choice(stand)
        some = ([c for c in tables["checks"] if c[key]] for key in ("provokes", "leaves", "measure"))
        self.pool = [pair, tables["by name"][self.chance.choice(pair["stands for"])], *map(self.chance.choice, some)]

    def all_spells(self) -> list[Spell]:
        return [self.codes, *self.apart, *self.spells]

    def step(self) -> None:
        self.steps.append(deepcopy((self.codes, self.apart, self.spells)))
        self.time += 1

    def undo(self) -> None:
        self.codes, self.apart, self.spells = self.steps.pop()

    def word(self, check: dict[str, Any], sure: str) -> tuple[str, Weights]:
        names, right = check["outcomes"], self.tables["report right"][sure]
        said = self.chance.choice(names)
        return said, [right if name == said else (1 - right) / (len(names) - 1) for name in names]

    def reading(self, check: dict[str, Any]) -> tuple[float, Weights]:
        measure = check["measure"]
        edges = [b[end] for b in measure["bands"] for end in ("low", "high") if b[end] is not None]
        number = max(0.1, round(self.chance.choice(edges) + measure["spread"] * self.chance.uniform(-2, 2), 2))
        mass = dict.fromkeys(check["outcomes"], 0.0)
        for band in measure["bands"]:
            ends = [far if edge is None else edge for edge, far in ((band["low"], -inf), (band["high"], inf))]
            low, high = (erf((edge - number) / measure["spread"] / sqrt(2)) for edge in ends)
            mass[band["outcome"]] += (high - low) / 2
        return number, [max(1e-6, p / max(mass.values())) for p in mass.values()]

    def answer(self, way: dict[str, Any] | None) -> tuple[Message, Callable[[], None]]:
        asked = way is not None and self.chance.random() < (0.8 if self.chosen else 0.3)
        check = self.chance.choice(self.chance.choice([self.pool, self.pool, self.pool, self.tables["checks"]]))
        if asked and way is not None:
            check = self.tables["by name"][way["check"]]
        sure = self.chance.choice(["sure", "think so", "guess"])
        message: Message = {"type": "answer", "sure": sure} | ({} if asked else {"check": check["name"]})
        weights: dict[str, Weights] = {}
        kind = "numbers" if check["measure"] and self.chance.random() < 0.5 else "values"
        message[kind] = {}
        for place in self.chance.sample(places(check), self.chance.randint(1, len(places(check)))):
            if kind == "numbers":
                message[kind][place], weights[place] = self.reading(check)
            elif self.chance.random() < 0.2:
                weights[place] = [round(self.chance.uniform(0.01, 1), 2) for _ in check["outcomes"]]
                message[kind][place] = dict(zip(check["outcomes"], weights[place], strict=True))
            else:
                message[kind][place], weights[place] = self.word(check, sure)
        one_place = check["provokes"] or (asked and way is not None and way["place"] is not None)
        if kind == "values" and self.chance.random() < 0.5:
            message["rest"] = "none"
        elif kind == "values" and not one_place:
            right, others = self.tables["report right"][sure], len(check["outcomes"]) - 1
            for place in places(check):
                weights.setdefault(place, [right] + [(1 - right) / others] * others)
        begins = way is not None and way["check"] == check["name"] and way["fresh"]
        here, elsewhere = self.spells[-1].condition, None
        must = check["conditions"] and here not in (None, *check["conditions"])
        if not begins and (must or self.chance.random() < 0.2):
            elsewhere = message["seen in"] = self.chance.choice(check["conditions"] or self.tables["conditions"])

        def note() -> None:
            self.step()
            if elsewhere not in (None, here):
                self.apart.append(Spell(elsewhere, [(self.time, check["name"], weights)]))
                return
            if begins and way is not None:
                self.spells.append(Spell(way["condition"]))
            if check["provokes"] and any(w[0] < max(w) for w in weights.values()):
                self.spells.append(Spell(self.spells[-1].condition))
            self.spells[-1].answers.append((self.time, check["name"], weights))
            if check["leaves"]:
                self.spells.append(Spell(check["leaves"]))

        return message, note

    def read_codes(self) -> tuple[Message, Callable[[], None]]:
        lists = [codes for c in self.tables["checks"] for codes in c["codes"].values()]
        known = [code for codes in lists for code in codes if code != "any"]
        listed, complete = self.chance.sample(known, self.chance.randint(0, 3)), self.chance.random() < 0.5
        states = ["stored", "pending", "permanent", "history"]
        read = {code: self.chance.sample(states, self.chance.randint(0, 2)) for code in listed}
        found = []
        for check in self.tables["checks"]:
            named = [n["codes"].values() for n in self.tables["checks"] if n["name"] == check["codes of"]]
            of = [code for lists in named for codes in lists for code in codes]
            told = {state for code in of for state in read.get(code, [])}
            meant = next((o for o in check["outcomes"] if told & {*check["code states"].get(o, [])}), None)
            if meant is not None and {state for each in read.values() for state in each} != {"stored"}:
                doubtful = told & {*check["code states"][meant]} == {"stored"}
                right = self.tables["report right"]["think so" if doubtful else "sure"]
                others = (1 - right) / (len(check["outcomes"]) - 1)
                found.append((0, check["name"], {"0": [right if o == meant else others for o in check["outcomes"]]}))
            hit = {p: bool(set(codes) & {*listed, *(["any"] if listed else [])}) for p, codes in check["codes"].items()}
            rest = [0.0] * (len(check["outcomes"]) - 2)
            weights = {p: [float(not yes), float(yes), *rest] for p, yes in hit.items() if yes or complete}
            found += [(0, check["name"], weights)] if weights else []

        def note() -> None:
            self.step()
            self.codes = Spell(None, found)

        return {
            "type": "codes",
            "codes": [{"code": c, "states": s} for c, s in read.items()],
            "complete": complete,
        }, note

    def says(self, way: dict[str, Any] | None) -> tuple[Message, Callable[[], None]]:
        kinds = ["answer"] * 7 + ["choose"] * 2 + ["condition", "undo", "codes", "pass"]
        kind = "answer" if self.chosen else self.chance.choice(kinds)
        if kind == "condition":
            name = self.chance.choice([None, *self.tables["conditions"]])

            def note() -> None:
                self.step()
                self.spells.append(Spell(name))

            return {"type": "condition", "condition": name}, note
        if kind == "undo" and self.steps:
            return {"type": "undo"}, self.undo
        if kind == "codes":
            return self.read_codes()
        if kind == "choose":
            self.chosen = True
            return {"type": "choose", "check": self.chance.choice(self.pool)["name"]}, lambda: None
        if kind == "pass" and way is not None:
            why, there = self.chance.choice(["cant-tell", "not-now"]), way["condition"] if way["fresh"] else None

            def passed() -> None:
                self.step()
                if why == "cant-tell" and there is not None:
                    self.spells.append(Spell(there))

            return {"type": "pass", "why": why}, passed
        found = self.answer(way)
        self.chosen = False
        return found


@pytest.mark.parametrize(("name", "seed", "turns"), TALKS)
def test_another_program_comes_to_the_same_belief(name: str, seed: int, turns: int) -> None:
    """Short form; the long one: REASONER_TALKS=20 (so many of each, each twenty times as long)."""
    talks = int(os.environ.get("REASONER_TALKS", "2" if LONG else "1"))
    for more in range(talks):
        in_step(name, seed + 100 * more, turns if talks == 1 else 20 * turns)


def in_step(name: str, seed: int, turns: int) -> None:
    workup, tables = start(name)
    other, talk, taken = Other(tables, seed), Talk(workup, go_on=True), 0
    for _ in range(turns):
        state = json.loads(json.dumps({**talk.state(ranges=False), "case": "c", "notes": []}))
        HELD["told"].validate(state)
        found, showing = beliefs(tables, other.all_spells())
        assert state["belief"]["all"] == pytest.approx(found, abs=1e-9)
        assert state["belief"]["showing"] == pytest.approx(showing, abs=1e-9)
        message, note = other.says(state["next"].get("way"))
        HELD["said"].validate(message)
        try:
            talk, _, _ = hear(talk, message)
        except Refused:  # the check has nothing more to say now
            assert message["type"] == "choose"
            continue
        note()
        taken += 1
    assert taken > turns / 2


def entropy(chances: list[float]) -> float:
    return -sum(p * log2(p) for p in chances if p > 0)


@pytest.mark.parametrize("name", ["four", "V6"])
def test_another_program_comes_to_the_same_gain(name: str) -> None:
    """Of the steady checks at one place that are proposed first: I(what would be repaired; what would be reported)."""
    workup, tables = start(name)
    right, state = tables["report right"]["sure"], Talk(workup).state(ranges=False)
    ways = [w for w in (state["next"]["way"], *state["next"]["alternatives"]) if w["place"] is None]
    held = 0
    for way in ways:
        check = tables["by name"][way["check"]]
        if not check["steady"] or len(check["places"]) > 1 or way["fresh"]:
            continue
        others = len(check["outcomes"]) - 1
        pairs: dict[tuple[str, str], list[float]] = {}
        for cause in tables["causes"]:
            row = check["rows"][check["showing"][cause["name"]][0]]["probabilities"]
            said = [p * right + (1 - p) * (1 - right) / others for p in row]
            so_far = pairs.get((cause["repair"], cause["where"]), [0.0] * len(row))
            pairs[cause["repair"], cause["where"]] = [a + cause["prior"] * p for a, p in zip(so_far, said, strict=True)]
        known = entropy([sum(p) for p in zip(*pairs.values(), strict=True)]) - sum(
            sum(row) * entropy([p / sum(row) for p in row]) for row in pairs.values()
        )
        assert way["bits"] == pytest.approx(known, abs=1e-9)
        held += 1
    assert held >= 2
