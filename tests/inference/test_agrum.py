"""Exact inference by an independent library (pyAgrum) on the same tables: cause -> state of each spell -> answers."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Evidence, Spell, counted, reported_weights
from reasoner.inference.gain import gain
from reasoner.network.tables import CheckTable, Tables, compile_tables
from tests.inference.random_models import as_spells, random_model, random_spells
from tests.shipped import book
from tests.support import Plain, PlainCheck, a_vehicle, make_tables, plainly

agrum = pytest.importorskip("pyagrum")

RULES = Path(__file__).parents[2] / "rules"
VEHICLES = [("inline 4", {}), ("V 6", {"injection": "dual"}), ("inline 3", {"injection": "port"})]


def rows(check: CheckTable, place: int) -> tuple[np.ndarray, np.ndarray]:
    """P(outcome | cause) while showing and while quiet, both (C, m)."""
    showing = check.rows[check.index[:, place]]
    quiet = showing if check.steady else np.broadcast_to(check.rows[0], showing.shape)
    return showing, quiet


def library_belief(tables: Tables, spells: tuple[Spell, ...]) -> tuple[np.ndarray, float]:
    """(P(cause | answers), P(answers)) by the library's exact inference. No provoking checks: their state is ours."""
    net = agrum.BayesNet()
    causes = len(tables.prior)
    net.add(agrum.LabelizedVariable("cause", "", causes))
    net.cpt("cause").fillWith(tables.prior.tolist())
    evidence: dict[str, list[float]] = {}
    for s, spell in enumerate(spells):
        state = f"state{s}"
        net.add(agrum.LabelizedVariable(state, "", 2))
        net.addArc("cause", state)
        shows = tables.shows.mean(axis=1) if spell.condition is None else tables.shows[:, spell.condition]
        for c in range(causes):
            net.cpt(state)[{"cause": c}] = [1.0 - shows[c], shows[c]]
        for answer in spell.answers:
            check = tables.checks[answer.check]
            for place, weights in enumerate(answer.weights):
                if weights is None:
                    continue
                name = f"answer{len(evidence)}"
                net.add(agrum.LabelizedVariable(name, "", len(weights)))
                net.addArc("cause", name)
                net.addArc(state, name)
                showing, quiet = rows(check, place)
                for c in range(causes):
                    net.cpt(name)[{"cause": c, state: 0}] = quiet[c].tolist()
                    net.cpt(name)[{"cause": c, state: 1}] = showing[c].tolist()
                evidence[name] = list(weights)
    engine = agrum.LazyPropagation(net)
    engine.setEvidence(evidence)
    engine.makeInference()
    return np.array(engine.posterior("cause").tolist()), float(engine.evidenceProbability())


def without_provocations(model: Plain) -> Plain:
    from dataclasses import replace

    calm: tuple[PlainCheck, ...] = tuple(replace(c, provokes=False) for c in model.checks)
    return replace(model, checks=calm)


@pytest.mark.parametrize("seed", range(25))
def test_belief_on_random_models(seed: int) -> None:
    model = without_provocations(random_model(seed))
    tables, spells = make_tables(model), as_spells(random_spells(seed, model))
    p, chance = library_belief(tables, spells)
    found = believe(tables, spells)
    assert found.probability == pytest.approx(p, abs=1e-9)
    assert np.exp(found.log_evidence) == pytest.approx(chance, rel=1e-6)


def random_case(tables: Tables, seed: int) -> tuple[Spell, ...]:
    """Four spells of up to four random answers each, as a person might give them: sure or not, some places left out."""
    rng = random.Random(seed)
    spells = []
    for _ in range(4):
        condition = rng.randrange(len(tables.conditions))
        fitting = [
            n for n, c in enumerate(tables.checks) if not c.provokes and (not c.conditions or condition in c.conditions)
        ]
        answers = []
        for number in rng.sample(fitting, 4):
            m, places = len(tables.checks[number].outcomes), len(tables.checks[number].places)
            looked = [
                reported_weights(rng.choice((0, 0, rng.randrange(m))), m, rng.choice((0.98, 0.98, 0.8, 0.6)))
                if place == 0 or rng.random() < 0.9
                else None
                for place in range(places)
            ]
            answers.append(Evidence(number, tuple(looked)))
        spells.append(Spell(condition, tuple(answers)))
    return counted(tables, spells)


@pytest.mark.parametrize(("layout", "fields"), VEHICLES)
@pytest.mark.parametrize("seed", range(3))
def test_belief_on_the_shipped_rules(layout: str, fields: dict[str, str], seed: int) -> None:
    tables = compile_tables(book(), a_vehicle(layout, **fields))
    tables = plainly(tables)
    spells = random_case(tables, seed)
    p, chance = library_belief(tables, spells)
    found = believe(tables, spells)
    assert found.probability == pytest.approx(p, abs=1e-6)
    assert np.exp(found.log_evidence) == pytest.approx(chance, rel=1e-5)


@pytest.mark.parametrize("condition", [0, 3, 6])
def test_gain_on_the_shipped_rules(condition: int) -> None:
    """Information about the repair by the library, class -> cause -> state -> outcome: every check with one place."""
    tables = compile_tables(book(), a_vehicle("inline 4"))
    shows, p = tables.shows[:, condition], tables.prior
    numbers = [n for n, c in enumerate(tables.checks) if len(c.places) == 1][::6]
    assert len(numbers) > 10
    for number in numbers:
        check = tables.checks[number]
        showing, quiet = rows(check, 0)
        net = agrum.BayesNet()
        classes = len(tables.class_starts)
        by_class = np.add.reduceat(p, tables.class_starts)
        net.add(agrum.LabelizedVariable("class", "", classes))
        net.add(agrum.LabelizedVariable("outcome", "", len(check.outcomes)))
        net.addArc("class", "outcome")
        net.cpt("class").fillWith(by_class.tolist())
        outcome = shows[:, None] * showing + (1.0 - shows[:, None]) * quiet
        for r in range(classes):
            own = tables.class_of == r
            net.cpt("outcome")[{"class": r}] = (p[own] @ outcome[own] / by_class[r]).tolist()
        theory = agrum.InformationTheory(agrum.LazyPropagation(net), ["class"], ["outcome"])
        assert gain(tables, check, p * shows, p * (1.0 - shows)) == pytest.approx(
            theory.mutualInformationXY(), abs=1e-6
        )
