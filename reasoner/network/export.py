"""The graph of the rules for other programs: DOT, GraphML, or node-link JSON.

DOT is written here, after the grammar of the Graphviz documentation (graphviz.org/doc/info/lang.html); GraphML and
JSON by networkx.
"""

from __future__ import annotations

import json
from collections.abc import Mapping

import networkx as nx

from reasoner.network.graph import build_graph
from reasoner.network.vehicle import Vehicle
from reasoner.rulebook.model import Frequency, Rulebook, Statement

NODE_SHAPES = {"fault": "box", "check": "ellipse", "family": "hexagon", "condition": "octagon", "repair": "house"}


def plain_graph(book: Rulebook, vehicle: Vehicle, about: str = "", steps: int = 1) -> nx.DiGraph:
    """The graph with text only: nodes `kind name` with kind, name and title; edges with role and what was written.

    about: only what lies within so many steps of the entries of this name. Empty if there are none.
    """
    graph = build_graph(book, vehicle)
    found = nx.DiGraph()
    for node in graph:
        found.add_node(" ".join(node), kind=node[0], name=node[1], title=_title(book, node))
    for start, end, data in graph.edges(data=True):
        found.add_edge(" ".join(start), " ".join(end), role=data["role"], says=_says(data))
    if not about:
        return found
    centres = [node for node, data in found.nodes(data=True) if data["name"] == about]
    near: set[str] = set()
    for centre in centres:
        near |= set(nx.ego_graph(found, centre, radius=steps, undirected=True))
    return found.subgraph([node for node in found if node in near]).copy()


def _title(book: Rulebook, node: tuple[str, str]) -> str:
    """What people call it. A cause is its fault at a place; `any` condition and a caution have only their names."""
    kind, name = node
    if kind == "outcome":
        check, outcome = name.split("/")
        return next(o.text for o in book.checks[check].outcomes if o.name == outcome)
    if kind == "cause":
        fault, _, place = name.partition("@")
        return f"{book.faults[fault].title}, {place.replace('-', ' ')}" if place else book.faults[fault].title
    entries: Mapping[str, Mapping[str, object]] = {
        "fault": book.faults,
        "family": book.families,
        "check": book.checks,
        "condition": book.conditions,
        "repair": book.repairs,
        "tool": book.tools,
    }
    return str(getattr(entries.get(kind, {}).get(name), "title", name))


def _says(data: Mapping[str, object]) -> str:
    """The statement or frequency on an edge, as it was written."""
    frequency, statement = data.get("frequency"), data.get("statement")
    if isinstance(frequency, Frequency):
        return frequency.written
    if not isinstance(statement, Statement):
        return ""
    said = _listed(statement.here)
    return f"{said}; elsewhere {_listed(statement.elsewhere)}" if statement.elsewhere else said


def _listed(named: Mapping[str, Frequency]) -> str:
    return ", ".join(f"{outcome} {frequency.written}" for outcome, frequency in named.items())


# ---- formats ---------------------------------------------------------------------------------------------------------


def as_dot(graph: nx.DiGraph) -> str:
    """The graph as DOT text."""
    lines = ["digraph rules {", "  rankdir=LR;"]
    for node, data in graph.nodes(data=True):
        shape = NODE_SHAPES.get(data["kind"], "plaintext")
        lines.append(f"  {_quoted(node)} [label={_quoted(data['title'])}, shape={shape}];")
    for start, end, data in graph.edges(data=True):
        label = f"{data['role']}: {data['says']}" if data["says"] else data["role"]
        lines.append(f"  {_quoted(start)} -> {_quoted(end)} [label={_quoted(label)}];")
    return "\n".join([*lines, "}"])


def _quoted(text: str) -> str:
    """A quoted string of DOT; a backslash would begin an escape."""
    return '"' + " ".join(text.split()).replace("\\", "\\\\").replace('"', '\\"') + '"'


def as_graphml(graph: nx.DiGraph) -> str:
    """The graph as GraphML text."""
    return "\n".join(nx.generate_graphml(graph))


def as_json(graph: nx.DiGraph) -> str:
    """The graph as node-link JSON text."""
    return json.dumps(nx.node_link_data(graph, edges="edges"), ensure_ascii=False, indent=1)


FORMATS = {"dot": as_dot, "graphml": as_graphml, "json": as_json}
