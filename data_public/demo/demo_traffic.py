"""How many vehicles pass on each street of the invented town, and who counted them?

Trips between homes, jobs and the roads out of town are put on quickest paths; each
street's true daily traffic mixes that flow with what its class carries, so that class,
lanes and centrality explain most of it and chance the rest.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from demo_join import RANK, Streets
from demo_roads import HALF_M
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

#: class: typical two-way vehicles a day, least, most, miles an hour
CLASS_FLOW = {
    "trunk": (27_000, 16_000, 38_000, 55),
    "primary": (24_000, 15_500, 35_000, 42),
    "secondary": (17_500, 15_000, 24_000, 40),
    "tertiary": (5_600, 3_000, 9_000, 33),
    "residential": (520, 70, 1_450, 24),
}
#: part of the flow's spread that class alone does not explain
FLOW_EXPONENT = 0.45
GROWTH = 0.012


def spread_people(xy: np.ndarray) -> np.ndarray:
    """Weight homes near each place: a middle, a hilltop suburb, thinning to the edge."""
    x, y = xy[:, 0], xy[:, 1]
    town = np.exp(-(((x + 400) ** 2 + (y - 100) ** 2) / (2 * 1700**2)))
    suburb = 0.8 * np.exp(-(((x - 900) ** 2 + (y - 2100) ** 2) / (2 * 900**2)))
    return np.asarray(0.08 + town + suburb)


def assign_trips(streets: Streets, rng: np.random.Generator) -> np.ndarray:
    """Put trips on quickest paths; returns flow per segment, both directions together."""
    tails, heads, segment, seconds = _directed(streets)
    size = len(streets.xy)
    noisy = seconds * rng.lognormal(0, 0.05, len(seconds))
    graph = csr_matrix((noisy, (tails, heads)), shape=(size, size))
    owner = {(t, h): s for t, h, s in zip(tails, heads, segment, strict=True)}
    used = np.unique(tails)
    people = spread_people(streets.xy[used])
    gates = used[(np.abs(streets.xy[used]) > HALF_M - 5).any(axis=1)]
    gates = np.array([g for g in gates if _gate_weight(streets, int(g)) > 0])
    gate_weight = np.array([_gate_weight(streets, int(g)) for g in gates])
    homes = rng.choice(used, 110, p=people / people.sum())
    pull = np.zeros(size)
    pull[used] = people / people.sum()
    out = np.zeros(size)
    out[gates] = gate_weight / gate_weight.sum()
    flow = np.zeros(len(streets.segments))
    sources = np.concatenate([homes, gates])
    weight = np.concatenate([np.full(110, 0.6 / 110), 0.4 * gate_weight / gate_weight.sum()])
    reach, before = dijkstra(graph, indices=sources, return_predecessors=True)
    for k, source in enumerate(sources):
        near = np.exp(-np.where(np.isinf(reach[k]), 9e9, reach[k]) / 420.0)
        ends = 0.6 * pull * near / (pull * near).sum() + 0.4 * out
        ends[source] = 0.0
        flow += weight[k] * _load_tree(before[k], reach[k], ends, owner, len(flow))
    return flow


def _directed(streets: Streets) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    rows = []
    for k, (_, a, b, _) in enumerate(streets.segments):
        road = streets.road(k)
        seconds = streets.line(k).length / (CLASS_FLOW[road.highway][3] * 0.44704) + 4.0
        rows.append((a, b, k, seconds))
        if not road.oneway:
            rows.append((b, a, k, seconds))
    table = np.array(rows)
    return (*(table[:, c].astype(int) for c in range(3)), table[:, 3])  # type: ignore[return-value]


def _gate_weight(streets: Streets, node: int) -> float:
    best = 0
    for k, (_, a, b, _) in enumerate(streets.segments):
        if node in (a, b):
            best = max(best, RANK[streets.road(k).highway])
    return {5: 9.0, 4: 5.0, 3: 4.0, 2: 1.0}.get(best, 0.0)


def _load_tree(
    before: np.ndarray,
    reach: np.ndarray,
    ends: np.ndarray,
    owner: dict[tuple[int, int], int],
    size: int,
) -> np.ndarray:
    carried = ends.copy()
    flow = np.zeros(size)
    for node in np.argsort(-np.where(np.isinf(reach), -1.0, reach)):
        parent = before[node]
        if parent < 0:
            continue
        carried[parent] += carried[node]
        flow[owner[(parent, node)]] += carried[node]
    return flow


def make_traffic(streets: Streets, seed: int) -> np.ndarray:
    """Make each segment's true vehicles a day: what its own carriageway carries."""
    rng = np.random.default_rng([seed, 2])
    flow = _along_road(streets, assign_trips(streets, rng))
    names = [streets.road(k).highway for k in range(len(flow))]
    daily = np.zeros(len(flow))
    for highway, (typical, least, most, _) in CLASS_FLOW.items():
        of = np.flatnonzero([name == highway for name in names])
        share = np.array(
            [0.5 if streets.road(k).oneway and highway == "primary" else 1 for k in of]
        )
        log_flow = np.log(flow[of] / share + 1e-5)
        level = np.exp(FLOW_EXPONENT * (log_flow - np.median(log_flow)))
        chance = _chance(streets, of, rng, 0.30 if highway == "residential" else 0.14)
        daily[of] = share * _squeeze(typical * level * chance, least, most)
    return daily


def _squeeze(value: np.ndarray, least: float, most: float) -> np.ndarray:
    """Bend values softly into least to most."""
    middle, half = np.log(least * most) / 2, np.log(most / least) / 2
    return np.asarray(np.exp(middle + half * np.tanh((np.log(value) - middle) / half)))


def _stretch(streets: Streets) -> list[tuple[str, int, int]]:
    """Name the stretch each segment lies on: road, direction, part between bigger junctions."""
    keys = []
    for k in range(len(streets.segments)):
        road, middle = streets.road(k), streets.line(k).interpolate(0.5, normalized=True)
        along = middle.x if "Boulevard" in road.name or "Parkway" in road.name else middle.y
        length = 400 if road.highway == "residential" else 1000
        side = int(road.line.coords[-1][0] > road.line.coords[0][0])
        keys.append((road.name, side, int(along // length)))
    return keys


def _along_road(streets: Streets, flow: np.ndarray) -> np.ndarray:
    table = pd.DataFrame({"key": _stretch(streets), "flow": flow})
    return np.asarray(table.groupby("key")["flow"].transform("mean"))


def _chance(streets: Streets, of: np.ndarray, rng: np.random.Generator, sd: float) -> np.ndarray:
    """Draw what no attribute explains: shared by a road's stretch, both its directions alike."""
    keys = _stretch(streets)
    stretches = sorted({(keys[k][0], keys[k][2]) for k in of})
    drawn = dict(zip(stretches, rng.lognormal(0, sd, len(stretches)), strict=True))
    return np.array([drawn[(keys[k][0], keys[k][2])] for k in of])
