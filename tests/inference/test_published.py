"""Worked examples from print, worked through the engine's own tables, belief and gain.

Each docstring names the source. "Recomputed" marks figures that were worked out from the published model rather than
read off the page; "from memory" marks inputs that were not at hand in print.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import product
from math import prod

import numpy as np
import pytest

from reasoner.inference.belief import believe
from reasoner.inference.gain import entropy, gain, gain_repeated
from reasoner.inference.weight import conflict, decibans, surprise, weigh_answers
from reasoner.network.tables import Tables
from tests.inference.policies import expected_cost, greedy, optimum, problem, rollout
from tests.support import check, make_tables, plain, posterior, seen, spell, yes_no

State = Mapping[str, int]
Network = Mapping[str, Callable[[State], float]]  # variable -> P(it is 1 | the ones before it)


def states(hidden: Network) -> list[tuple[dict[str, int], float]]:
    """Every joint state of the hidden variables with its probability: these are the causes."""
    found = []
    for values in product((0, 1), repeat=len(hidden)):
        state = dict(zip(hidden, values, strict=True))
        found.append((state, prod(p(state) if state[v] else 1.0 - p(state) for v, p in hidden.items())))
    return found


def network(hidden: Network, findings: Network) -> tuple[Tables, list[dict[str, int]]]:
    """Tables whose causes are the joint states and whose checks are the findings, independent given the cause."""
    joint = states(hidden)
    checks = [yes_no(name, [p(state) for state, _ in joint]) for name, p in findings.items()]
    return make_tables(plain([p for _, p in joint], checks)), [state for state, _ in joint]


def marginal(probability: np.ndarray, causes: list[dict[str, int]], name: str) -> float:
    return float(sum(p for p, state in zip(probability, causes, strict=True) if state[name]))


def answers(tables: Tables, evidence: State) -> list:  # type: ignore[type-arg]
    return [seen(tables, name, value) for name, value in evidence.items()]


# --- gain -----------------------------------------------------------------------------------------------------------

WEATHER = """sunny hot high F N;sunny hot high T N;overcast hot high F P;rain mild high F P;rain cool normal F P;
rain cool normal T N;overcast cool normal T P;sunny mild high F N;sunny cool normal F P;rain mild normal F P;
sunny mild normal T P;overcast mild high T P;overcast hot normal F P;rain mild high T N"""


def weather(keep: Callable[[list[str]], bool] = lambda row: True) -> Tables:
    """Each object a cause, its class the repair, its attributes sure outcomes."""
    rows = sorted((line.split() for line in WEATHER.split(";")), key=lambda row: row[4])
    rows = [row for row in rows if keep(row)]
    checks = []
    for column, name in enumerate(("outlook", "temperature", "humidity", "windy")):
        values = sorted({line.split()[column] for line in WEATHER.split(";")})
        checks.append(check(name, [[float(row[column] == v) for v in values] for row in rows]))
    classes = [sorted({row[4] for row in rows}).index(row[4]) for row in rows]
    return make_tables(plain([1 / len(rows)] * len(rows), checks, classes=classes))


def gain_of(tables: Tables, name: str, probability: np.ndarray | None = None) -> float:
    p = tables.prior if probability is None else probability
    return gain(tables, tables.checks[tables.check_number[name]], p, 0 * p)


@pytest.mark.parametrize(
    ("name", "bits", "printed"),
    [
        ("outlook", 0.24674981977443933, 0.246),
        ("temperature", 0.02922256565895487, 0.029),
        ("humidity", 0.15183550136234164, 0.151),
        ("windy", 0.04812703040826949, 0.048),
    ],
)
def test_quinlan_gains(name: str, bits: float, printed: float) -> None:
    """J. R. Quinlan, "Induction of decision trees", Machine Learning 1:81-106, 1986: gains printed to three decimals,
    truncated; full precision recomputed."""
    found = gain_of(weather(), name)
    assert found == pytest.approx(bits, abs=1e-12)
    assert int(found * 1000) / 1000 == printed


@pytest.mark.parametrize(
    ("name", "bits"),
    [("humidity", 0.9709505944546686), ("temperature", 0.5709505944546686), ("windy", 0.01997309402197489)],
)
def test_quinlan_gains_within_sunny(name: str, bits: float) -> None:
    """The same data, the branch `sunny` (recomputed)."""
    assert gain_of(weather(lambda row: row[0] == "sunny"), name) == pytest.approx(bits, abs=1e-12)


def test_quinlan_gains_within_sunny_are_gains_after_that_answer() -> None:
    """Answering `sunny` leaves the same gains as cutting the table down to it."""
    tables = weather()
    p = posterior(tables, seen(tables, "outlook", 2))
    assert gain_of(tables, "humidity", p) == pytest.approx(0.9709505944546686, abs=1e-12)


def test_huffman_table_entropy() -> None:
    """D. A. Huffman, Proc. IRE 40:1098-1101, 1952, the table's probabilities (from memory): 3.42 bits a symbol, never
    below the entropy, 3.3546 (recomputed)."""
    p = [0.20, 0.18, 0.10, 0.10, 0.10, 0.06, 0.06, 0.04, 0.04, 0.04, 0.04, 0.03, 0.01]
    assert entropy(np.array(p)) == pytest.approx(3.3546, abs=5e-5)
    assert entropy(np.array(p)) <= 3.42


@pytest.mark.parametrize(
    ("prior", "bits"),
    [((0.25,) * 4, (0.811278, 1.0, 0.811278)), ((0.458333, *(0.180556,) * 3), (0.994985, 0.943602, 0.681291))],
)
def test_inverter_chain(prior: tuple[float, ...], bits: tuple[float, ...]) -> None:
    """Four inverters in a row, one is broken; probing between them (the standard example of model-based diagnosis;
    recomputed, equal priors, and .025 for the first against .01): the best probe moves towards the likelier."""
    tables = problem(prior, [[1, 1, 1], [0, 1, 1], [0, 0, 1], [0, 0, 0]], [1, 1, 1])
    assert [gain_of(tables, f"test-{i}", tables.prior) for i in range(3)] == pytest.approx(bits, abs=1e-5)


def test_ec2_trap_is_none_for_information_about_the_repair() -> None:
    """Y. Chen, H. Hassani & A. Krause, AISTATS 2017 (arXiv:1605.07334) section 3: a fair coin looks better than the
    test on the cause when edges are cut without normalising. Information about the repair: 0 and .170951 bits."""
    tables = make_tables(
        plain([0.2, 0.4, 0.4], [yes_no("coin", [0.5] * 3), yes_no("is-first", [1, 0, 0])], classes=[0, 0, 1])
    )
    assert gain_of(tables, "coin") == pytest.approx(0.0, abs=1e-12)
    assert gain_of(tables, "is-first") == pytest.approx(0.170951, abs=5e-7)


# --- belief ---------------------------------------------------------------------------------------------------------

CHEST: Network = {
    "A": lambda s: 0.01,
    "S": lambda s: 0.5,
    "T": lambda s: 0.05 if s["A"] else 0.01,
    "L": lambda s: 0.1 if s["S"] else 0.01,
    "B": lambda s: 0.6 if s["S"] else 0.3,
    "E": lambda s: float(s["T"] or s["L"]),
}
CHEST_FINDINGS: Network = {
    "asia": lambda s: float(s["A"]),
    "smokes": lambda s: float(s["S"]),
    "x-ray": lambda s: 0.98 if s["E"] else 0.05,
    "dyspnoea": lambda s: (0.9 if s["B"] else 0.7) if s["E"] else (0.8 if s["B"] else 0.1),
}


@pytest.mark.parametrize(
    ("evidence", "chance", "expected"),
    [
        ({}, 1.0, {"T": 0.0104, "L": 0.055, "B": 0.45, "E": 0.064828}),
        ({"asia": 1, "dyspnoea": 1}, 0.004501375, {"T": 0.087751, "L": 0.09952515, "B": 0.8114021, "E": 0.1823}),
        ({"asia": 1, "dyspnoea": 1, "smokes": 1}, 0.0028175, {"T": 0.07276, "L": 0.1455191, "B": 0.8672582}),
        ({"asia": 1, "dyspnoea": 1, "smokes": 0}, 0.001683875, {"T": 0.112835, "L": 0.022567, "B": 0.717942}),
        ({"dyspnoea": 1, "x-ray": 1}, 0.070670104, {"T": 0.113933, "L": 0.621253, "B": 0.681869, "E": 0.728725}),
        ({"asia": 1, "dyspnoea": 1, "x-ray": 0}, 0.003513148, {"T": 0.002249, "L": 0.00255, "B": 0.862761}),
        ({"asia": 1, "dyspnoea": 1, "x-ray": 1}, 0.000988227, {"T": 0.391712, "L": 0.444271, "B": 0.628822}),
        ({"x-ray": 1, "dyspnoea": 0}, 0.039619936, {"T": 0.054021, "L": 0.252297, "B": 0.193211, "E": 0.303695}),
    ],
)
def test_chest_clinic(evidence: State, chance: float, expected: Mapping[str, float]) -> None:
    """S. Lauritzen & D. Spiegelhalter, J. Roy. Stat. Soc. B 50:157-224, 1988. P(e) = .004501375 and the lung and
    bronchitis figures for asia with dyspnoea as in S. Hojsgaard, J. Stat. Software 46(10), 2012; the rest recomputed
    with two general-purpose libraries, to six digits."""
    tables, causes = network(CHEST, CHEST_FINDINGS)
    found = believe(tables, (spell(*answers(tables, evidence)),))
    assert np.exp(found.log_evidence) == pytest.approx(chance, rel=1e-6)
    for name, value in expected.items():
        assert marginal(found.probability, causes, name) == pytest.approx(value, abs=6e-7)


@pytest.mark.parametrize(
    ("hidden", "finding", "given", "bits"),
    [
        ("E", "x-ray", {}, 0.22379),
        ("E", "dyspnoea", {}, 0.02955),
        ("B", "dyspnoea", {}, 0.361561),
        ("E", "x-ray", {"dyspnoea": 1}, 0.370381),
        ("L", "x-ray", {"dyspnoea": 1}, 0.301746),
    ],
)
def test_chest_clinic_information(hidden: str, finding: str, given: State, bits: float) -> None:
    """The same network: bits between a hidden variable and a finding (recomputed). The variable is the class."""
    joint = sorted(states(CHEST), key=lambda item: item[0][hidden])
    checks = [yes_no(name, [p(state) for state, _ in joint]) for name, p in CHEST_FINDINGS.items()]
    tables = make_tables(plain([p for _, p in joint], checks, classes=[state[hidden] for state, _ in joint]))
    p = posterior(tables, *answers(tables, given))
    assert gain_of(tables, finding, p) == pytest.approx(bits, abs=6e-6)


ALARM: Network = {
    "B": lambda s: 0.001,
    "E": lambda s: 0.002,
    "A": lambda s: (0.95 if s["E"] else 0.94) if s["B"] else (0.29 if s["E"] else 0.001),
}
ALARM_FINDINGS: Network = {
    "john": lambda s: 0.9 if s["A"] else 0.05,
    "mary": lambda s: 0.7 if s["A"] else 0.01,
    "burglary": lambda s: float(s["B"]),
    "earthquake": lambda s: float(s["E"]),
    "alarm": lambda s: float(s["A"]),
}


@pytest.mark.parametrize(
    ("evidence", "name", "value"),
    [
        ({"john": 1, "mary": 1}, "B", 0.2841718353643929),
        ({"john": 1, "mary": 1}, "A", 0.760692039),
        ({"john": 1}, "B", 0.01628373),
        ({"alarm": 1}, "B", 0.373551228),
        ({"alarm": 1, "earthquake": 1}, "B", 0.003268424),
    ],
)
def test_alarm(evidence: State, name: str, value: float) -> None:
    """J. Pearl 1988, numbers of S. Russell & P. Norvig, Artificial Intelligence, 3rd ed. p. 523: <0.284, 0.716> for
    both neighbours calling; the rest recomputed. The last line is explaining away."""
    tables, causes = network(ALARM, ALARM_FINDINGS)
    assert marginal(posterior(tables, *answers(tables, evidence)), causes, name) == pytest.approx(value, abs=1e-8)


def test_alarm_predictions() -> None:
    """The same: P(john calls | burglary) = .849017, P(mary calls | burglary) = .6586138."""
    tables, causes = network(ALARM, ALARM_FINDINGS)
    p = posterior(tables, seen(tables, "burglary", 1))
    for name, value in (("john", 0.849017), ("mary", 0.6586138)):
        predicted = sum(q * ALARM_FINDINGS[name](state) for q, state in zip(p, causes, strict=True))
        assert predicted == pytest.approx(value, abs=5e-8)


def test_noisy_or_fever() -> None:
    """S. Russell & P. Norvig, 3rd ed. section 14.3 (from memory): inhibitors cold .6, flu .2, malaria .1 multiply."""
    inhibited = {"cold": 0.6, "flu": 0.2, "malaria": 0.1}
    hidden: Network = {name: (lambda s: 0.5) for name in inhibited}
    fever: Network = {"fever": lambda s: 1.0 - prod(q for name, q in inhibited.items() if s[name])}
    tables, causes = network(hidden, fever)
    expected = {(0, 1, 1): 0.02, (1, 0, 1): 0.06, (1, 1, 0): 0.12, (1, 1, 1): 0.012}
    for i, state in enumerate(causes):
        prior = np.zeros(len(causes))
        prior[i] = 1.0
        key = (state["cold"], state["flu"], state["malaria"])
        if key in expected:
            without = np.exp(believe(tables.with_prior(prior), (spell(seen(tables, "fever", 0)),)).log_evidence)
            assert without == pytest.approx(expected[key])


@pytest.mark.parametrize(
    ("evidence", "chance", "expected"),
    [
        ({"f1": 1}, 0.107416, (0.750316526, 0.211104491, 0.02)),
        ({"f1": 1, "f2": 1}, 0.019318870992, (0.310667438, 0.83489648, 0.101915692)),
        ({"f1": 1, "f2": 0}, 0.088097129008, (0.846727432, 0.07431278, 0.00203666)),
        ({"f1": 1, "f2": 1, "f3": 0}, 0.015769819040, (0.216148397, 0.900031713, 0.036889509)),
        ({"f1": 0, "f2": 0, "f3": 0}, 0.792373852160, (0.015317287, 0.009384776, 0.000815661)),
    ],
)
def test_two_layer_noisy_or(evidence: State, chance: float, expected: tuple[float, ...]) -> None:
    """Three faults, three findings, noisy-OR with leaks (the form of D. Heckerman, UAI 1989; inputs chosen for this
    test; figures from a general-purpose library and from enumeration, to nine digits)."""
    priors = {"d1": 0.1, "d2": 0.05, "d3": 0.02}
    leaks = {"f1": 0.01, "f2": 0.02, "f3": 0.05}
    links = {"f1": {"d1": 0.8, "d2": 0.4}, "f2": {"d2": 0.7, "d3": 0.9}, "f3": {"d3": 0.6, "d1": 0.3}}
    hidden: Network = {d: (lambda s, p=p: p) for d, p in priors.items()}  # type: ignore[misc]

    def finding(name: str) -> Callable[[State], float]:
        return lambda s: 1.0 - (1.0 - leaks[name]) * prod(1.0 - w for d, w in links[name].items() if s[d])

    tables, causes = network(hidden, {name: finding(name) for name in leaks})
    found = believe(tables, (spell(*answers(tables, evidence)),))
    assert np.exp(found.log_evidence) == pytest.approx(chance, rel=1e-6)
    assert [marginal(found.probability, causes, d) for d in priors] == pytest.approx(expected, abs=1e-8)


def test_car_start_beliefs() -> None:
    """F. V. Jensen, Bayesian Networks and Decision Graphs, chapter 4, the car that does not start: .3 plugs, .2
    ignition, .5 other. Ignition found in order: plugs .375 (printed .38). Mending the ignition works with chance .1."""
    tables = make_tables(
        plain([0.3, 0.2, 0.5], [yes_no("ignition-bad", [0, 1, 0]), yes_no("mending-ignition-works", [0, 0.5, 0])])
    )
    assert posterior(tables, seen(tables, "ignition-bad", 0))[0] == pytest.approx(0.375)
    works = believe(tables, (spell(seen(tables, "mending-ignition-works", 1)),))
    assert np.exp(works.log_evidence) == pytest.approx(0.1)


# --- weight of evidence ---------------------------------------------------------------------------------------------


def test_turing_factor() -> None:
    """A. Turing, "The Applications of Probability to Cryptography", c. 1941 (arXiv:1505.04714): prior odds 1/4, factor
    8/3, posterior odds 2/3, and 4.26 decibans."""
    tables = make_tables(plain([1 / 5, 4 / 5], [yes_no("in-bed", [2 / 3, 1 / 4])]))
    answer = seen(tables, "in-bed", 1)
    p = posterior(tables, answer)
    assert p[0] / p[1] == pytest.approx(2 / 3)
    weight = weigh_answers(tables, (spell(answer),))[0]
    assert weight.decibans[0] == pytest.approx(4.259687322722811)
    assert round(weight.decibans[0], 2) == 4.26


@pytest.mark.parametrize(("factor", "bans"), [(9.0, 9.5424), (99.0, 19.9564), (2.0, 3.0103)])
def test_decibans(factor: float, bans: float) -> None:
    """The same paper's unit: .9 against .1, .99 against .01, and one head of a coin that may have two (recomputed)."""
    assert decibans(factor) == pytest.approx(bans, abs=5e-5)


# --- conflict -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("evidence", "bits"),
    [
        ({"asia": 1, "dyspnoea": 1}, -0.0461),
        ({"asia": 1, "dyspnoea": 1, "smokes": 1}, -0.3702),
        ({"asia": 1, "dyspnoea": 1, "smokes": 0}, 0.3724),
        ({"dyspnoea": 1, "x-ray": 1}, -0.5556),
        ({"asia": 1, "dyspnoea": 1, "x-ray": 0}, 0.1429),
        ({"asia": 1, "dyspnoea": 1, "x-ray": 1}, -1.0393),
        ({"x-ray": 1, "dyspnoea": 0}, 0.6508),
    ],
)
def test_conflict_in_the_chest_clinic(evidence: State, bits: float) -> None:
    """F. V. Jensen et al., "Analysis in HUGIN of data conflict", UAI 1990: conf(e) = log product P(e_i) / P(e); on the
    chest clinic in bits (recomputed)."""
    tables, _ = network(CHEST, CHEST_FINDINGS)
    found = surprise(tables, (spell(*answers(tables, evidence)),))
    assert found.bits == pytest.approx(bits, abs=6e-5)


def test_conflict_from_probabilities() -> None:
    """The same, from the definition: two findings of .1 and .2 that come together .005 of the time: log2 4."""
    assert conflict([0.1, 0.2], 0.005) == pytest.approx(2.0)


def test_a_rare_case_explains_a_conflict_away() -> None:
    """The same paper: where a hypothesis h gives conf(e, h) < 0, a rare case explains the conflict.

    Two common faults show one sign each; the rare one shows both. Both signs together: positive conflict, explained.
    """
    tables = make_tables(plain([0.01, 0.495, 0.495], [yes_no("a", [0.9, 0.5, 0.004]), yes_no("b", [0.9, 0.004, 0.5])]))
    found = surprise(tables, (spell(seen(tables, "a", 1), seen(tables, "b", 1)),))
    assert found.bits > 1.0
    assert found.explained


def test_a_conflict_nothing_explains() -> None:
    """The same without the rare fault: positive conflict, and the leading cause does not make it fit."""
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.5, 0.004]), yes_no("b", [0.004, 0.5])]))
    found = surprise(tables, (spell(seen(tables, "a", 1), seen(tables, "b", 1)),))
    assert found.bits > 1.0
    assert not found.explained


# --- diagnosis ------------------------------------------------------------------------------------------------------

PARTS = ("M1", "M2", "M3", "A1", "A2")


def polybox_values(broken: State, known: Mapping[str, int]) -> dict[str, int] | None:
    """What the working parts of the polybox say of X, Y, Z, F, G, given what is known; None if they contradict it."""
    values = {"A": 3, "B": 2, "C": 2, "D": 3, "E": 3, **known}
    rules = [  # part, output, inputs, forwards, and for the adders backwards
        ("M1", "X", ("A", "C"), lambda a, b: a * b),
        ("M2", "Y", ("B", "D"), lambda a, b: a * b),
        ("M3", "Z", ("C", "E"), lambda a, b: a * b),
        ("A1", "F", ("X", "Y"), lambda a, b: a + b),
        ("A1", "X", ("F", "Y"), lambda a, b: a - b),
        ("A1", "Y", ("F", "X"), lambda a, b: a - b),
        ("A2", "G", ("Y", "Z"), lambda a, b: a + b),
        ("A2", "Y", ("G", "Z"), lambda a, b: a - b),
        ("A2", "Z", ("G", "Y"), lambda a, b: a - b),
    ]
    for _ in rules:
        for part, out, (a, b), says in rules:
            if broken[part] or a not in values or b not in values:
                continue
            said = says(values[a], values[b])
            if values.setdefault(out, said) != said:
                return None
    return values


def polybox() -> tuple[Tables, list[dict[str, int]]]:
    """32 candidates as causes; `seen` is F = 10 and G = 12; a probe gives the predicted value or `not predicted`."""
    hidden: Network = {part: (lambda s: 0.01) for part in PARTS}
    joint = states(hidden)
    observed = {"F": 10, "G": 12}
    said = [polybox_values(state, observed) for state, _ in joint]
    checks = [yes_no("seen", [float(v is not None) for v in said])]
    for probe in "XYZ":
        predicted = [(v or {}).get(probe) for v in said]
        kinds = [*sorted({p for p in predicted if p is not None}), None]
        checks.append(check(probe, [[float(p == k) for k in kinds] for p in predicted]))
    tables = make_tables(plain([p for _, p in joint], checks))
    return tables, [state for state, _ in joint]


def test_polybox_candidates() -> None:
    """J. de Kleer & B. Williams, "Diagnosing multiple faults", AIJ 32:97-130, 1987: F = 10, G = 12 seen. Minimal
    candidates M1; A1; M2 M3; M2 A2 (from memory). With p = .01, consistent candidates at full weight: .478026 each
    single, .004829 each double; marginals .497635, .019609, .01478 (recomputed; the paper's own entropies not seen)."""
    tables, causes = polybox()
    p = posterior(tables, seen(tables, "seen", 1))
    found = {frozenset(n for n in PARTS if state[n]): q for q, state in zip(p, causes, strict=True) if q > 0}
    minimal = [c for c in found if not any(other < c for other in found)]
    assert len(found) == 27
    assert set(minimal) == {frozenset(s.split()) for s in ("M1", "A1", "M2 M3", "M2 A2")}
    assert found[frozenset({"M1"})] == pytest.approx(0.478026, abs=5e-7)
    assert found[frozenset({"M2", "A2"})] == pytest.approx(0.004829, abs=5e-7)
    for part, value in zip(PARTS, (0.497635, 0.019609, 0.01478, 0.497635, 0.01478), strict=True):
        assert marginal(p, causes, part) == pytest.approx(value, abs=5e-7)


def test_polybox_next_probe() -> None:
    """The same: entropies of the next measurement X 1.04084, Y .08154, Z .0474, unpredicted values put together
    (recomputed): measure X. Where outcomes are sure given the candidate, the gain is the entropy."""
    tables, _ = polybox()
    p = posterior(tables, seen(tables, "seen", 1))
    for probe, bits in (("X", 1.04084), ("Y", 0.08154), ("Z", 0.0474)):
        assert gain_of(tables, probe, p) == pytest.approx(bits, abs=5e-6)


# --- intermittent faults --------------------------------------------------------------------------------------------


def behaves(*g: float, prior: tuple[float, ...], false_alarm: float = 0.0, exercised: str = "") -> Tables:
    """Causes that behave correctly with chance g while faulty: they show with 1 - g, and fail a test when they show.

    exercised: tests by the causes they exercise ("110": the first two); every cause where left out.
    """
    tests = [exercised] if isinstance(exercised, str) and not exercised else exercised.split()
    checks = []
    for i, on in enumerate(tests):
        fails = [(0.0, 1.0) if not on or on[c] == "1" else (1.0 - false_alarm, false_alarm) for c in range(len(g))]
        checks.append(check(f"test-{i}", fails, (1.0 - false_alarm, false_alarm), ever=False))
    return make_tables(plain(prior, checks, shows=[(1.0 - x,) for x in g]))


@pytest.mark.parametrize(
    ("g", "after"),
    [
        (0.5, (0.5, 0.333333, 0.2, 0.111111, 0.058824, 0.030303)),
        (0.9, (0.5, 0.473684, 0.447514, 0.421631, 0.396172, 0.371263)),
    ],
)
def test_exoneration_by_passes(g: float, after: tuple[float, ...]) -> None:
    """Model of J. de Kleer, "Diagnosing intermittent faults", DX 2007, and IJCAI 2009: a faulty part behaves with
    chance g, so k passes multiply its odds by g^k (recomputed). Each pass in a spell of its own."""
    tables = behaves(g, 1.0, prior=(0.5, 0.5))
    for passes, value in enumerate(after):
        found = believe(tables, [spell(seen(tables, "test-0", 0))] * passes)
        assert found.probability[0] == pytest.approx(value, abs=5e-7)


@pytest.mark.parametrize(
    ("before", "below", "g", "passes"),
    [(0.5, 0.05, 0.5, 5), (0.5, 0.05, 0.9, 28), (0.3, 0.01, 0.8, 17), (0.9, 0.1, 0.7, 13)],
)
def test_passes_needed(before: float, below: float, g: float, passes: int) -> None:
    """The same model: passes needed to get below a probability (recomputed: ceil of ln odds ratio over ln g)."""
    tables = behaves(g, 1.0, prior=(before, 1.0 - before))

    def after(k: int) -> float:
        return float(believe(tables, [spell(seen(tables, "test-0", 0))] * k).probability[0])

    assert after(passes) <= below < after(passes - 1)


@pytest.mark.parametrize(
    ("g", "times", "bits"),
    [
        (0.5, 1, 0.311278),
        (0.5, 2, 0.548795),
        (0.5, 5, 0.898984),
        (0.5, 10, 0.994412),
        (0.9, 1, 0.051899),
        (0.9, 2, 0.102207),
        (0.9, 5, 0.243216),
        (0.9, 10, 0.443990),
    ],
)
def test_repeats_as_one_test(g: float, times: int, bits: float) -> None:
    """The same model, prior .5: bits of k repeats as one test (recomputed)."""
    tables = behaves(g, 1.0, prior=(0.5, 0.5))
    assert gain_repeated(tables, tables.checks[0], tables.prior, 0, times) == pytest.approx(bits, abs=5e-7)


@pytest.mark.parametrize(
    ("false_alarm", "steps"),
    [
        (
            0.0,
            [
                (0.57, (0.035088, 0.263158, 0.701754)),
                (0.864912, (0.036511, 0.152130, 0.811359)),
                (0.725152, (0.0, 0.104895, 0.895105)),
                (0.283916, (0.0, 0.369458, 0.630542)),
            ],
        ),
        (
            0.01,
            [
                (0.5743, (0.037959, 0.263799, 0.698241)),
                (0.855661, (0.039527, 0.152608, 0.807865)),
                (0.72537, (0.000545, 0.106245, 0.893210)),
                (0.282578, (0.001909, 0.372226, 0.625865)),
            ],
        ),
    ],
)
def test_four_observations(false_alarm: float, steps: list[tuple[float, tuple[float, ...]]]) -> None:
    """The same model, three causes with g = .9, .5, .2, tests that exercise some of them: fail, pass, fail, pass
    (recomputed). Without false alarms one misreading kills a cause for ever; with them it comes back."""
    tables = behaves(0.9, 0.5, 0.2, prior=(0.2, 0.3, 0.5), false_alarm=false_alarm, exercised="111 110 011 001")
    spells = [spell(seen(tables, f"test-{i}", fails)) for i, fails in enumerate((1, 0, 1, 0))]
    before = 0.0
    for n, (chance, expected) in enumerate(steps, start=1):
        found = believe(tables, spells[:n])
        assert found.probability == pytest.approx(expected, abs=5e-7)
        assert np.exp(found.log_evidence - before) == pytest.approx(chance, abs=5e-7)
        before = found.log_evidence


@pytest.mark.parametrize(
    ("g", "expected"),
    [
        (0.1, (0.523505, 0.475913, 0.000582)),
        (0.5, (0.597285, 0.398190, 0.004525)),
        (0.8, (0.636902, 0.353834, 0.009264)),
    ],
)
def test_multiple_intermittent_candidates(g: float, expected: tuple[float, ...]) -> None:
    """R. Abreu, P. Zoeteweij & A. van Gemund, IJCAI 2009 (model): five tests 110 011 100 101 110, the first three
    fail; candidates {1,2}, {1,3}, {1,2,3}, p = .01, known g: a test passes with g for every member it exercises
    (recomputed)."""
    candidates, exercised, failed = [(0, 1), (0, 2), (0, 1, 2)], ["110", "011", "100", "101", "110"], (1, 1, 1, 0, 0)
    prior = [0.01 ** len(c) * 0.99 ** (3 - len(c)) for c in candidates]
    checks = [
        yes_no(f"test-{i}", [1.0 - g ** sum(on[j] == "1" for j in c) for c in candidates])
        for i, on in enumerate(exercised)
    ]
    tables = make_tables(plain([p / sum(prior) for p in prior], checks))
    found = posterior(tables, *(seen(tables, f"test-{i}", f) for i, f in enumerate(failed)))
    assert found == pytest.approx(expected, abs=5e-7)


# --- choosing tests -------------------------------------------------------------------------------------------------

PATTIPATI = (
    [0.70, 0.01, 0.02, 0.10, 0.05, 0.12],
    [[int(c) for c in r] for r in ["00000", "01001", "00110", "10011", "11000", "11110"]],
)


def test_pattipati_optimum() -> None:
    """K. Pattipati & M. Alexandridis, IEEE Trans. SMC 20(4):872-887, 1990: six states, five unit tests, optimum 2.18
    (inputs and optimum from memory; dynamic programming gives the same)."""
    assert optimum(*PATTIPATI, [1] * 5) == pytest.approx(2.18)


def test_pattipati_greedy() -> None:
    """The same: gain alone starts with the first test (.841465 bits) and needs 2.86 (recomputed)."""
    tables = problem(*PATTIPATI, [1] * 5)
    bits = [gain_of(tables, f"test-{i}") for i in range(5)]
    assert bits == pytest.approx([0.841465, 0.680077, 0.584239, 0.795040, 0.499916], abs=5e-7)
    assert expected_cost(tables, greedy) == pytest.approx(2.86)


def test_pattipati_followed_to_the_end() -> None:
    """The same: following each test to the end finds the optimum."""
    assert expected_cost(problem(*PATTIPATI, [1] * 5), rollout) == pytest.approx(2.18)


def deck(n: int) -> Tables:
    """One 1, two 2s, ... n n's; any yes/no question about the card may be asked."""
    prior = [k / (n * (n + 1) / 2) for k in range(1, n + 1)]
    sets = range(1, 2 ** (n - 1))
    return problem(prior, [[(s >> k) & 1 for s in sets] for k in range(n)], [1] * len(sets))


@pytest.mark.parametrize(("n", "total", "alone"), [(4, 19, 2.0), (6, 51, 2.476190), (7, 74, 2.75)])
def test_gardner_deck(n: int, total: int, alone: float) -> None:
    """OEIS A328950 (after M. Gardner, My Best Mathematical and Logic Puzzles, puzzle 52): the optimal mean number of
    questions is a(n) / (n(n+1)/2), a = 19, 51, 74 for n = 4, 6, 7. Gain alone needs more (recomputed)."""
    tables = deck(n)
    assert expected_cost(tables, rollout) == pytest.approx(total / (n * (n + 1) / 2), abs=1e-6)
    assert expected_cost(tables, greedy) == pytest.approx(alone, abs=1e-6)


def treasure(n: int) -> tuple[list[float], list[list[int]], list[int], list[int]]:
    """Is there a treasure (y), and at which of n places (i)? Tests: the bits of i; and digging at place j."""
    bits = n.bit_length() - 1
    where = [(y, i) for y in (0, 1) for i in range(n)]
    outcomes = [[(i >> b) & 1 for b in range(bits)] + [int(y == 1 and i == j) for j in range(n)] for y, i in where]
    return [1 / (2 * n)] * (2 * n), outcomes, [1] * (bits + n), [y for y, _ in where]


@pytest.mark.parametrize(("n", "best", "alone"), [(4, 2.75, 3.25), (8, 3.75, 6.0)])
def test_treasure_hunt(n: int, best: float, alone: float) -> None:
    """The structure behind D. Golovin, A. Krause & D. Ray, NIPS 2010 (arXiv:1010.3091): bits of the place say nothing
    about whether there is a treasure, so gain alone never asks them (recomputed)."""
    tables = problem(*treasure(n))
    assert optimum(*treasure(n)) == pytest.approx(best)
    assert expected_cost(tables, greedy) == pytest.approx(alone)


@pytest.mark.parametrize("bits", [1, 3, 5])
def test_nuisance_bits(bits: int) -> None:
    """One test decides; any number of fair bits that do not matter: gain about the repair asks once, gain about the
    cause would ask 1 + k times (recomputed)."""
    causes = [(y, *rest) for y in (0, 1) for rest in product((0, 1), repeat=bits)]
    prior = [(0.4 if c[0] else 0.6) / 2**bits for c in causes]
    tables = problem(prior, causes, [1] * (bits + 1), [c[0] for c in causes])
    assert expected_cost(tables, greedy) == pytest.approx(1.0)


def test_four_equal_states_and_one_test_for_all() -> None:
    """Four states, four tests for one state each at 1, a test for all at 2: optimum 2, gain per cost finds it
    (recomputed; counting cut edges per cost does not)."""
    outcomes = [[int(i == j) for j in range(4)] + [i] for i in range(4)]
    costs = [1, 1, 1, 1, 2]
    assert optimum([0.25] * 4, outcomes, costs) == pytest.approx(2.0)
    assert expected_cost(problem([0.25] * 4, outcomes, costs), greedy) == pytest.approx(2.0)
