"""Which road pieces do trips between homes, shops and the ways out run over?

A sample of origins, weighted by people, sends quickest paths to destinations weighted by
people, attractions and ways out of the area, fading with driving time. Turn restrictions
are not looked at here: the result only ranks roads. People and attractions are read raw
from the area, before any room has worked on them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import Sheet
from capture.passing.roles import split_words, to_number
from capture.passing.values import CLASSES, VALUES

if TYPE_CHECKING:
    from capture.area import Area
    from capture.place import Network, Place

FloatArray = NDArray[np.float64]
#: shares of trips that end at homes, at attractions and out of the area; ours
ENDS: Final = {"homes": 0.35, "attractions": 0.35, "out": 0.30}
#: node visits that the sample may cost in all
MOST_VISITS: Final = 20_000_000
_PEOPLE_WORDS: Final = ("population", "people", "persons", "households", "residents", "pop")


def compute_through(
    network: Network,
    origins: FloatArray,
    ends: FloatArray,
    *,
    values: Sheet = VALUES,
) -> FloatArray:
    """Compute how many sampled trips run over each road piece, both directions together.

    Parameters
    ----------
    network : Network
        Roads; N nodes, G pieces.
    origins : ndarray of float, shape (N,)
        Weight of trips that start at each node.
    ends : ndarray of float, shape (N,)
        Weight of trips that end at each node.
    values : Sheet
        Number of origins, decay, limit.

    Returns
    -------
    ndarray of float, shape (G,)
        Share of all trips; the sample is systematic, so the same input gives the same.
    """
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import dijkstra

    from capture.passing.kernels import load_trees

    nodes = network.nodes
    flow = np.zeros(network.segments)
    if network.edges == 0 or origins.sum() <= 0 or ends.sum() <= 0:
        return flow
    tail, head, edge = _cheapest_edges(network)
    seconds = np.maximum(np.asarray(network.edge_seconds)[edge], 1e-3)
    graph = csr_matrix((seconds, (tail, head)), shape=(nodes, nodes))
    owner = csr_matrix((edge + 1, (tail, head)), shape=(nodes, nodes))
    wanted = int(values.value("through_origins"))
    picked = _sample(origins, min(wanted, max(16, MOST_VISITS // nodes)))
    limit, decay = values.value("through_limit_s"), values.value("through_decay_s")
    loads = np.zeros(network.edges)
    for part in np.array_split(picked, max(1, len(picked) * nodes // 4_000_000 + 1)):
        if len(part) == 0:
            continue
        reach, before = dijkstra(graph, indices=part, limit=limit, return_predecessors=True)
        near = np.exp(-reach / decay) * ends
        near[np.arange(len(part)), part] = 0.0
        total = near.sum(axis=1, keepdims=True)
        near = np.divide(near, total, out=np.zeros_like(near), where=total > 0)
        order = np.argsort(-np.where(np.isinf(reach), -1.0, reach), axis=1, kind="stable")
        load_trees(order, before, near, owner.indptr, owner.indices, owner.data, loads)
    np.add.at(flow, network.edge_segment, loads / len(picked))
    return flow


def _cheapest_edges(
    network: Network,
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Keep the quickest of parallel edges, since a matrix would add them up."""
    tail = np.asarray(network.edge_tail, dtype=np.int64)
    head = np.asarray(network.edge_head, dtype=np.int64)
    order = np.lexsort((network.edge_seconds, head, tail))
    key = tail[order] * network.nodes + head[order]
    first = np.append(True, key[1:] != key[:-1])
    kept = order[first]
    kept = kept[tail[kept] != head[kept]]
    return tail[kept], head[kept], kept.astype(np.int64)


def _sample(weight: FloatArray, size: int) -> NDArray[np.int64]:
    """Draw nodes in even steps of the summed weight."""
    summed = np.cumsum(weight)
    steps = (np.arange(size) + 0.5) / size * summed[-1]
    found = np.searchsorted(summed, steps)
    return np.asarray(np.minimum(found, len(weight) - 1), dtype=np.int64)


def make_trip_ends(
    area: Area | None, place: Place, *, values: Sheet = VALUES
) -> tuple[FloatArray, FloatArray, list[str]]:
    """Make the weights of trips that start and end at each node.

    Returns
    -------
    tuple of (origins, ends, remarks)
        Weights, shape (N,), and what they were made from, one sentence each.
    """
    network = place.network
    homes, told = _homes(area, network)
    shops, shops_told = _attractions(area, place)
    out = _ways_out(network, values)
    remarks = [told, shops_told, f"{int((out > 0).sum())} ways out of the area"]
    ends = np.zeros(network.nodes)
    for name, weight in (("homes", homes), ("attractions", shops), ("out", out)):
        if weight.sum() > 0:
            ends += ENDS[name] * weight / weight.sum()
    origins = 0.7 * homes / max(homes.sum(), 1e-9)
    if out.sum() > 0:
        origins += 0.3 * out / out.sum()
    return origins, ends, remarks


def _street_weight(network: Network) -> FloatArray:
    """Weigh each node by the streets along which people live."""
    living = (np.asarray(network.segment_class) >= CLASSES.index("tertiary")) & (
        np.asarray(network.segment_class) < CLASSES.index("service")
    )
    half = (
        np.where(living, network.segment_length_m, 0.02 * np.asarray(network.segment_length_m)) / 2
    )
    weight = np.bincount(network.segment_tail, weights=half, minlength=network.nodes)
    return np.asarray(
        weight + np.bincount(network.segment_head, weights=half, minlength=network.nodes)
    )


def _homes(area: Area | None, network: Network) -> tuple[FloatArray, str]:
    streets = _street_weight(network)
    people: Any = area.read("people") if area is not None else None
    if people is None or "geometry" not in people.columns:
        return streets, "homes spread along streets, no people layer"
    heading = next((c for w in _PEOPLE_WORDS for c in people.columns if w in split_words(c)), None)
    if heading is None:
        return streets, "homes spread along streets, the people layer names no people"
    import shapely

    number = to_number(people[heading]).fillna(0).clip(lower=0).to_numpy(dtype=np.float64)
    points: Any = shapely.points(network.node_lon, network.node_lat)
    tree = shapely.STRtree(points)
    zone, node = tree.query(people.geometry.to_numpy(), predicate="intersects")
    share = np.bincount(zone, weights=streets[node], minlength=len(people))
    weight = np.zeros(network.nodes)
    good = share[zone] > 0
    np.add.at(weight, node[good], number[zone[good]] * streets[node[good]] / share[zone[good]])
    if weight.sum() <= 0:
        return streets, "homes spread along streets, no zone of people meets the roads"
    return weight, f"homes from column {heading} of the people layer"


def _attractions(area: Area | None, place: Place) -> tuple[FloatArray, str]:
    from scipy.spatial import cKDTree

    network = place.network
    frames: list[pd.DataFrame] = []
    features = getattr(place, "features", None)
    if features is not None and len(features) and {"lat", "lon"} <= set(features.columns):
        frames.append(pd.DataFrame({"lat": features["lat"], "lon": features["lon"]}))
    layer: Any = area.read("attractions") if area is not None else None
    if layer is not None and "geometry" in layer.columns:
        middle = layer.geometry.representative_point()
        frames.append(pd.DataFrame({"lat": middle.y.to_numpy(), "lon": middle.x.to_numpy()}))
    weight = np.zeros(network.nodes)
    table = pd.concat(frames).dropna() if frames else pd.DataFrame()
    if table.empty:
        return weight, "no attractions known"
    x, y = network.projection.to_xy(table["lat"].to_numpy(), table["lon"].to_numpy())
    _, node = cKDTree(np.column_stack([network.node_x, network.node_y])).query(
        np.column_stack([x, y])
    )
    np.add.at(weight, node, 1.0)
    return weight, f"{len(table)} attractions"


def _ways_out(network: Network, values: Sheet) -> FloatArray:
    """Weigh dead ends of bigger roads near the rim by what their class carries."""
    degree = np.bincount(network.segment_tail, minlength=network.nodes) + np.bincount(
        network.segment_head, minlength=network.nodes
    )
    x, y = np.asarray(network.node_x), np.asarray(network.node_y)
    margin = 0.03 * max(float(np.ptp(x)), float(np.ptp(y)), 1.0)
    rim = (
        (x < x.min() + margin)
        | (x > x.max() - margin)
        | (y < y.min() + margin)
        | (y > y.max() - margin)
    )
    carried = np.array([values.value(f"class_{name}_veh_day") for name in CLASSES])
    weight = np.zeros(network.nodes)
    big = np.asarray(network.segment_class) <= CLASSES.index("tertiary")
    for end in (network.segment_tail, network.segment_head):
        own = np.where(big, carried[np.asarray(network.segment_class)], 0.0)
        np.maximum.at(weight, end, own)
    return np.where((degree == 1) & rim, weight, 0.0)
