"""Peers of the searches: each lays one network out its own way and searches from a node.

None is needed to run the project. Those not installed are left out and named.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from typing import Any

import numpy as np

from capture.place import Network

#: searches from one node, handing back whatever the peer does
Search = Callable[[int], Any]


def lay_networkx(network: Network) -> Any:
    """A directed graph of NetworkX weighted by seconds."""
    import networkx as nx

    graph = nx.DiGraph()
    graph.add_weighted_edges_from(
        zip(
            network.edge_tail.tolist(), network.edge_head.tolist(), network.edge_seconds.tolist(),
            strict=True,
        ),
        weight="seconds",
    )  # fmt: skip
    return graph


def lay_scipy(network: Network) -> Any:
    """A sparse matrix of seconds."""
    import scipy.sparse as sp

    shape = (network.nodes, network.nodes)
    return sp.csr_matrix((network.edge_seconds, network.edge_head, network.indptr), shape=shape)


def _networkx_cutoff(network: Network, limit_s: float) -> Search:
    import networkx as nx

    graph = lay_networkx(network)
    return lambda n: nx.single_source_dijkstra_path_length(graph, n, limit_s, weight="seconds")


def _networkx_ego(network: Network, limit_s: float) -> Search:
    import networkx as nx

    graph = lay_networkx(network)
    return lambda n: nx.ego_graph(graph, n, radius=limit_s, distance="seconds")


def _scipy(network: Network, limit_s: float) -> Search:
    from scipy.sparse.csgraph import dijkstra

    matrix = lay_scipy(network)
    return lambda n: dijkstra(matrix, indices=n, limit=limit_s)


def _igraph(network: Network, _limit_s: float) -> Search:
    import igraph

    pairs = np.column_stack([network.edge_tail, network.edge_head])
    graph = igraph.Graph(n=network.nodes, edges=pairs, directed=True)
    graph.es["seconds"] = network.edge_seconds.tolist()
    return lambda n: graph.distances(source=[n], weights="seconds")


def _rustworkx(network: Network, _limit_s: float) -> Search:
    import rustworkx

    graph = rustworkx.PyDiGraph()
    graph.add_nodes_from(range(network.nodes))
    ends = network.edge_tail.tolist(), network.edge_head.tolist()
    graph.add_edges_from(list(zip(*ends, network.edge_seconds.tolist(), strict=True)))
    return lambda n: rustworkx.dijkstra_shortest_path_lengths(graph, n, float)


def _networkit(network: Network, _limit_s: float) -> Search:
    import networkit

    networkit.setNumberOfThreads(1)
    ends = (network.edge_tail.astype(np.uint64), network.edge_head.astype(np.uint64))
    graph = networkit.GraphFromCoo(
        (network.edge_seconds, ends), n=network.nodes, weighted=True, directed=True
    )

    def search(node: int) -> Any:
        found = networkit.distance.Dijkstra(graph, node, storePaths=False)
        found.run()
        return found.getDistances()

    return search


def lay_pandana(network: Network) -> Any:
    """A network of pandana with its hierarchy built."""
    import pandana
    import pandas as pd

    weights = pd.DataFrame({"seconds": network.edge_seconds})
    ends = (
        pd.Series(network.edge_tail.astype(np.int64)),
        pd.Series(network.edge_head.astype(np.int64)),
    )
    places = pd.Series(network.node_x), pd.Series(network.node_y)
    return pandana.Network(*places, *ends, weights, twoway=False)


def _pandana(network: Network, limit_s: float) -> Search:
    laid = lay_pandana(network)
    return lambda n: laid.nodes_in_range([n], limit_s)


#: how each is imported and made, and whether it stops at the limit
PEERS: dict[str, tuple[str, Callable[[Network, float], Search]]] = {
    "networkx cutoff": ("networkx", _networkx_cutoff),
    "networkx ego_graph": ("networkx", _networkx_ego),
    "scipy limit": ("scipy", _scipy),
    "igraph, all": ("igraph", _igraph),
    "rustworkx, all": ("rustworkx", _rustworkx),
    "networkit, all": ("networkit", _networkit),
    "pandana": ("pandana", _pandana),
}


def make_peers(network: Network, limit_s: float) -> dict[str, Search]:
    """Make every peer that is installed, and say which are not."""
    made = {}
    for name, (module, make) in PEERS.items():
        if find_spec(module) is None:
            print(f"{name}: {module} is not installed, left out")
        else:
            made[name] = make(network, limit_s)
    return made
