"""Rules and a vehicle as one directed graph (networkx): what can be wrong, where, how it acts, what would show it.

Nodes are (kind, name) pairs with kinds: cause, fault, family, check, outcome, condition, repair, caution, tool.
Edges carry `role` and what was written there:

    cause   -> fault      is            fault, family -> family     acts as (rank: nearest first)
    fault, family -> check      speaks (statement)      fault, family -> condition   shows (frequency)
    fault   -> repair     mended by     check -> outcome      has       check -> condition   done in
    check, condition, repair -> caution warns of     check, condition -> tool      needs
    check   -> check      stands for, after     repair -> check      proven by
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import networkx as nx

from reasoner.network.equipment import KnownEquipment, factor, told_already
from reasoner.network.vehicle import Vehicle
from reasoner.rulebook.afterwards import ANY_WORK
from reasoner.rulebook.model import At, Check, Fault, Filter, Frequency, Rulebook, Statement
from reasoner.rulebook.parts import passes

GraphNode = tuple[str, str]
NOTHING_SAID: KnownEquipment = {}

A_THOUSAND = 1000.0  # what the share of anything else is a share of
MOST_SPARE = 0.5  # and the most it is, whatever is written


@dataclass(frozen=True)
class Cause:
    """A fault at a place. cylinders: those it touches (all of them for an engine fault). where: in words.

    alone: stands for anything else, or for nothing being wrong, so that nothing is beside it. members: the two of a
    pair (see `inference.pairs`); none of any other.
    """

    name: str
    fault: str
    where: str
    cylinders: frozenset[int]
    prior: float
    alone: bool = False
    members: tuple[Cause, ...] = ()

    @property
    def each(self) -> tuple[Cause, ...]:
        """The two of a pair; else the cause itself."""
        return self.members or (self,)


def build_graph(book: Rulebook, vehicle: Vehicle, work: Collection[str] = ()) -> nx.DiGraph:
    """The graph of everything in the rules that can apply to this vehicle. work: the repairs that were done to it."""
    graph = nx.DiGraph()

    def applies(only: Filter) -> bool:
        return passes(only, vehicle.properties, vehicle.distance_km, unknown=True)

    for family in book.families.values():
        graph.add_node(("family", family.name), entry=family)
    for condition in book.conditions.values():
        graph.add_node(("condition", condition.name), entry=condition)
    for name, family in book.families.items():
        for rank, wider in enumerate(family.part_of):
            graph.add_edge(("family", name), ("family", wider), role="acts as", rank=rank)
        _shows(graph, ("family", name), family.shows)

    settled = told_already(vehicle, book.equipment)

    def possible(entry: Fault | Check) -> bool:
        if isinstance(entry, Check) and entry.name in settled:
            return False
        return (not entry.after_work or follows(entry.after_work, work)) and applies(entry.only)

    faults = [f for f in book.faults.values() if possible(f) and fault_share(f, vehicle) > 0]
    for fault in faults:
        graph.add_node(("fault", fault.name), entry=fault)
        for rank, name in enumerate(fault.acts_as):
            graph.add_edge(("fault", fault.name), ("family", name), role="acts as", rank=rank)
        _shows(graph, ("fault", fault.name), fault.shows)
        graph.add_edge(("fault", fault.name), ("repair", fault.repair), role="mended by")
    for cause in causes(faults, vehicle, book.equipment):
        graph.add_node(("cause", cause.name), entry=cause)
        graph.add_edge(("cause", cause.name), ("fault", cause.fault), role="is")

    for check in book.checks.values():
        if not possible(check):
            continue
        node = ("check", check.name)
        graph.add_node(node, entry=check)
        for outcome in check.outcomes:
            graph.add_edge(node, ("outcome", f"{check.name}/{outcome.name}"), role="has")
        for name in check.conditions:
            graph.add_edge(node, ("condition", name), role="done in")
        for name in check.cautions:
            graph.add_edge(node, ("caution", name), role="warns of")
        for name in check.needs:
            graph.add_edge(node, ("tool", name), role="needs")
        for name, statement in check.given.items():
            kind = "family" if name in book.families else "fault"
            if (kind, name) in graph:
                graph.add_edge((kind, name), node, role="speaks", statement=statement)
    present = {name for kind, name in graph if kind == "check"}
    for check in book.checks.values():
        if check.name in present:
            for role, names in (("stands for", check.stands_for), ("after", check.after)):
                for name in names:
                    if name in present:
                        graph.add_edge(("check", check.name), ("check", name), role=role)
    for kind, entries in (("condition", book.conditions), ("repair", book.repairs)):
        for entry in entries.values():
            for name in entry.cautions:
                graph.add_edge((kind, entry.name), ("caution", name), role="warns of")
    for repair in book.repairs.values():
        for name in repair.proof:
            if name in present:
                graph.add_edge(("repair", repair.name), ("check", name), role="proven by")
    return graph


def follows(after_work: Collection[str], work: Collection[str]) -> bool:
    """Whether one of these repairs was done; `any` stands for whatever repair."""
    return bool(work) and (ANY_WORK in after_work or not set(after_work).isdisjoint(work))


def _shows(graph: nx.DiGraph, node: GraphNode, shows: Mapping[str, Frequency]) -> None:
    for name, frequency in shows.items():
        # `any` speaks for every condition not named; it is a node of its own, so that nothing is copied.
        graph.add_edge(node, ("condition", name), role="shows", frequency=frequency)


def fault_share(fault: Fault, vehicle: Vehicle, equipment: KnownEquipment = NOTHING_SAID) -> float:
    """The fault's share of rich complaints on this vehicle (relative, not yet normalised)."""
    value = fault.share[vehicle.properties["injection"]] * factor(fault.only, vehicle, equipment)
    for more in fault.more_likely:
        if passes(more.when, vehicle.properties, vehicle.distance_km, unknown=False):
            value *= more.times
    return value


def priors(faults: Sequence[Fault], vehicle: Vehicle, equipment: KnownEquipment = NOTHING_SAID) -> list[float]:
    """How likely each fault is, before anything is known: by its share.

    What stands for anything else has its share of a thousand cars, whatever the car: that a car can have few of the
    faults that are named says nothing of those that are not.
    """
    shares = [fault_share(fault, vehicle, equipment) for fault in faults]
    spare = sum(s for s, fault in zip(shares, faults, strict=True) if fault.anything_else)
    named = sum(shares) - spare
    part = min(MOST_SPARE, spare / A_THOUSAND) if named else 1.0
    return [
        s / spare * part if spare and fault.anything_else else s / named * (1 - part) if named else 0.0
        for s, fault in zip(shares, faults, strict=True)
    ]


def causes(faults: list[Fault], vehicle: Vehicle, equipment: KnownEquipment = NOTHING_SAID) -> list[Cause]:
    """Every fault at every place it can have, with its prior; a fault's share is spread evenly over its places.

    Where a second place has often gone too (`pairs`), that part of the share goes to the pairs of cylinders.
    """
    found = []
    for fault, prior in zip(faults, priors(faults, vehicle, equipment), strict=True):
        both = fault.pairs.value if fault.pairs and fault.at is At.CYLINDER else 0.0
        alone = fault.anything_else or fault.nothing_wrong
        singles = list(places(fault.at, vehicle))
        pairs = list(combinations(range(1, vehicle.cylinders + 1), 2)) if both else []
        for where, cylinders in singles:
            suffix = "" if fault.at is At.ENGINE else "@" + where.replace(" ", "-")
            part = prior * (1 - both) / len(singles)
            found.append(Cause(fault.name + suffix, fault.name, where, cylinders, part, alone))
        for a, b in pairs:
            name = f"{fault.name}@cylinders-{a}-{b}"
            found.append(
                Cause(name, fault.name, f"cylinders {a} and {b}", frozenset((a, b)), prior * both / len(pairs))
            )
    return found


def places(at: At, vehicle: Vehicle) -> Iterator[tuple[str, frozenset[int]]]:
    """The places of a kind on this vehicle by name, each with its cylinders."""
    if at is At.ENGINE:
        yield "engine", frozenset(range(1, vehicle.cylinders + 1))
    elif at is At.BANK:
        for number, bank in enumerate(vehicle.banks, start=1):
            yield f"bank {number}", frozenset(bank)
    else:
        for cylinder in range(1, vehicle.cylinders + 1):
            yield f"cylinder {cylinder}", frozenset((cylinder,))


def family_line(graph: nx.DiGraph, fault: str) -> tuple[GraphNode, ...]:
    """The fault, then its families, nearest first: in the order written, each with its wider families after it."""
    known: dict[str, tuple[GraphNode, ...]] = graph.graph.setdefault("lineage", {})  # asked once for every check
    if fault not in known:
        found: dict[GraphNode, None] = {}

        def walk(node: GraphNode) -> None:
            if node not in found:
                found[node] = None
                wider = [(d["rank"], n) for _, n, d in graph.out_edges(node, data=True) if d["role"] == "acts as"]
                for _, parent in sorted(wider):
                    walk(parent)

        walk(("fault", fault))
        known[fault] = tuple(found)
    return known[fault]


def nearest(graph: nx.DiGraph, faults: Sequence[str], speaking: Iterable[GraphNode]) -> dict[int, GraphNode]:
    """By number of the fault, in order: the nearest of fault and families that is among those that speak; a fault of
    which none does is not there."""
    known: dict[tuple[str, ...], dict[GraphNode, list[tuple[int, int]]]] = graph.graph.setdefault("lines", {})
    lines = known.setdefault(tuple(faults), {})  # asked once for every check
    if not lines:
        for number, fault in enumerate(faults):
            for rank, node in enumerate(family_line(graph, fault)):
                lines.setdefault(node, []).append((number, rank))
    found: dict[int, tuple[int, GraphNode]] = {}
    for node in speaking:
        for number, rank in lines.get(node, ()):
            if number not in found or rank < found[number][0]:
                found[number] = rank, node
    return {number: found[number][1] for number in sorted(found)}


def statements_under(graph: nx.DiGraph, faults: Sequence[str], check: str) -> dict[int, tuple[GraphNode, Statement]]:
    """What the rules say of this check, by number of the fault: the nearest of fault and families that speaks, and what
    it says."""
    said = {
        node: data["statement"] for node, _, data in graph.in_edges(("check", check), data=True) if "statement" in data
    }
    return {number: (node, said[node]) for number, node in nearest(graph, faults, said).items()}


def showing(graph: nx.DiGraph, fault: str, condition: str) -> Frequency | None:
    """How often the fault acts in this condition: the nearest that names the condition, or says `any`."""
    for node in family_line(graph, fault):
        for name in (condition, "any"):
            edge = graph.get_edge_data(node, ("condition", name))
            if edge:
                found: Frequency = edge["frequency"]
                return found
    return None
