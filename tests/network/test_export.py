"""The graph of the rules in the formats of other programs, read back by readers that are not ours.

Outside checks: networkx reads GraphML and JSON, pydot (its own grammar of DOT) reads DOT; all must give the same graph.
"""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path

import networkx as nx
import pydot
import pytest

from reasoner.network.export import as_dot, as_graphml, as_json, plain_graph
from reasoner.network.graph import build_graph
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.read import read_rules
from tests.shipped import thinned
from tests.support import a_vehicle

ROOT = Path(__file__).parents[2]
SHIPPED, SMALL = ROOT / "rules", ROOT / "tests" / "rulebook" / "small"


@lru_cache
def book(folder: Path) -> Rulebook:
    return read_rules([folder])


def edges(graph: nx.DiGraph) -> set[tuple[str, str, str, str]]:
    return {(a, b, data["role"], data["says"]) for a, b, data in graph.edges(data=True)}


def nodes(graph: nx.DiGraph) -> dict[str, dict[str, str]]:
    return {node: dict(data) for node, data in graph.nodes(data=True)}


@pytest.fixture(params=[SHIPPED, SMALL], ids=["shipped", "small"])
def graph(request: pytest.FixtureRequest) -> nx.DiGraph:
    return plain_graph(book(request.param), a_vehicle())


def test_nothing_of_the_graph_is_lost(graph: nx.DiGraph) -> None:
    folder = SHIPPED if len(graph) > 100 else SMALL
    whole = build_graph(book(folder), a_vehicle())
    assert set(graph) == {" ".join(node) for node in whole}
    assert {(a, b) for a, b in graph.edges} == {(" ".join(a), " ".join(b)) for a, b in whole.edges}
    assert all(data["title"] for _, data in graph.nodes(data=True))


def test_graphml_read_back(graph: nx.DiGraph) -> None:
    back = nx.parse_graphml(as_graphml(graph))
    assert back.is_directed() and nodes(back) == nodes(graph) and edges(back) == edges(graph)


def test_json_read_back(graph: nx.DiGraph) -> None:
    back = nx.node_link_graph(json.loads(as_json(graph)), edges="edges")
    assert back.is_directed() and nodes(back) == nodes(graph) and edges(back) == edges(graph)


@pytest.mark.filterwarnings("ignore:.*deprecated")
def test_dot_read_back(graph: nx.DiGraph) -> None:
    if len(graph) > 100:  # that reader takes minutes for all of it
        graph = nx.DiGraph(graph.edge_subgraph(thinned(list(graph.edges), 20)))
    (back,) = pydot.graph_from_dot_data(as_dot(graph))
    assert back.get_type() == "digraph"
    found = {node.get_name().strip('"'): node.get("label") for node in back.get_nodes()}
    assert set(found) == set(graph)
    pairs = {(e.get_source().strip('"'), e.get_destination().strip('"')) for e in back.get_edges()}
    assert pairs == set(graph.edges)


@pytest.mark.filterwarnings("ignore:.*deprecated")
def test_dot_with_quotes_and_backslashes() -> None:
    odd = nx.DiGraph()
    odd.add_node('a "b" \\ c', kind="fault", title='say "no\\n"\nand go', name="x")
    odd.add_edge('a "b" \\ c', "d", role="is", says='"')
    odd.add_node("d", kind="check", title="d", name="d")
    (back,) = pydot.graph_from_dot_data(as_dot(odd))
    assert len(back.get_nodes()) == 2 and len(back.get_edges()) == 1
    assert "\n" not in as_dot(odd).split("\n")[2].strip("\n")


def test_what_edges_say_is_what_was_written() -> None:
    found = edges(plain_graph(book(SMALL), a_vehicle()))
    assert ("fault injector-leak", "condition any", "shows", "12.5%") in found
    assert ("family leaks", "check rich-code", "speaks", "listed often; elsewhere listed rarely") in found
    assert ("cause injector-leak@cylinder-3", "fault injector-leak", "is", "") in found


def test_about_one_entry() -> None:
    further = plain_graph(book(SMALL), a_vehicle(), "injector-leak", 2)
    nearest = plain_graph(book(SMALL), a_vehicle(), "injector-leak")
    assert set(nearest) < set(further)
    whole = nx.Graph(plain_graph(book(SMALL), a_vehicle()))
    distance = nx.single_source_shortest_path_length(whole, "fault injector-leak")
    assert set(nearest) == {node for node, steps in distance.items() if steps <= 1}
    assert len(plain_graph(book(SMALL), a_vehicle(), "no-such-thing")) == 0
