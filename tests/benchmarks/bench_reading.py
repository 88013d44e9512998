"""Reading roads files against named peers, all in one run, as ratios to libosmium alone.

``python tests/benchmarks/bench_reading.py [small] [large] [--osmnx-large] [--rounds N]``

The floor is libosmium in C++ with nothing of ours: every node, way and relation is unpacked and
decoded with all its tags and handed to a filter that lets none pass; unpacking runs in
libosmium's own threads beside the main one, and no place is looked up. *roads only* makes the
whole network (names, lanes, speeds, forbidden turns, opposite carriageways, signals); *all
layers* also buildings, screens and features. pyrosm makes the tables of drivable roads and
their nodes; OSMnx reads all nodes and the whole roads from XML (written beforehand) and makes its
graph. Contestants take turns, each round once through; medians of wall-clock and of CPU
seconds. Peak memory is that of a fresh process which does nothing else, imports included.
The large file is an extract written many times side by side, names told apart.
"""

from __future__ import annotations

import argparse
import gc
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))
from big_town import find_extracts, tile_file

#: makes about 21 MB of the first extract at hand
FILE_COPIES = 32
Work = Callable[[], Any]


def read_floor(file: Path) -> None:
    """Let libosmium decode every object."""
    import osmium

    osmium.apply(str(file), osmium.filter.KeyFilter("no such key"))


def read_roads(file: Path) -> None:
    """Make the network, and nothing besides."""
    from capture.place.build import build_network
    from capture.place.read_osm import read_osm

    build_network(read_osm(file, "pbf", roads_only=True))


def read_all(file: Path) -> None:
    """Make the whole place."""
    from capture.area import open_area
    from capture.place import open_place

    open_place(open_area(file), use_cache=False)


def read_again(file: Path) -> None:
    """Open what was read before."""
    from capture.area import open_area
    from capture.place import open_place

    open_place(open_area(file))


def read_pyrosm(file: Path) -> None:
    """Make pyrosm's tables of drivable roads and their nodes."""
    import pyrosm

    pyrosm.OSM(str(file)).get_network(network_type="driving+service", nodes=True)


def read_osmnx(file: Path) -> None:
    """Make OSMnx's graph from the XML beside the file."""
    import osmnx as ox

    ox.graph_from_xml(file.with_suffix(".xml"), retain_all=True)


def write_xml(file: Path) -> None:
    """Write a file's nodes and whole roads as XML, since OSMnx refuses roads with gaps."""
    import osmium

    target = file.with_suffix(".xml")
    with osmium.SimpleWriter(osmium.io.File(str(target), "osm")) as writer:
        for thing in osmium.FileProcessor(str(file)).with_locations():
            road = thing.is_way() and "highway" in thing.tags
            if thing.is_node() or (road and all(node.location.valid() for node in thing.nodes)):
                writer.add(thing)


CONTESTANTS: dict[str, Callable[[Path], None]] = {
    "floor": read_floor,
    "ours, roads only": read_roads,
    "ours, all layers": read_all,
    "second opening": read_again,
    "pyrosm, roads only": read_pyrosm,
    "OSMnx from XML, roads only": read_osmnx,
}


def time_once(work: Work) -> tuple[float, float]:
    """Wall-clock and CPU seconds of one call."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - cpu


def take_turns(file: Path, names: list[str], rounds: int) -> dict[str, tuple[float, float]]:
    """Medians of wall-clock and CPU seconds; who cannot read the file is told and left out."""
    spent: dict[str, list[tuple[float, float]]] = {}
    for name in names:
        try:
            CONTESTANTS[name](file)  # a first time for imports, compiling and the cache
            spent[name] = []
        except Exception as error:
            print(f"  {name} gave up: {type(error).__name__}: {str(error)[:80]}")
    for _ in range(rounds):
        for name, times in spent.items():
            times.append(time_once(lambda name=name: CONTESTANTS[name](file)))
    return {
        name: (median(wall for wall, _ in times), median(cpu for _, cpu in times))
        for name, times in spent.items()
    }


def peak_megabytes(name: str, file: Path) -> float:
    """Peak memory of a fresh process that reads a file once."""
    code = (
        "import sys; from pathlib import Path; sys.path[:0] = sys.argv[3:];"
        "from bench_reading import CONTESTANTS, own_peak_megabytes;"
        "CONTESTANTS[sys.argv[1]](Path(sys.argv[2])); print(own_peak_megabytes())"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, name, str(file), *sys.path],
        stdout=subprocess.PIPE, text=True, check=True,
    )  # fmt: skip
    return float(run.stdout.splitlines()[-1])


def own_peak_megabytes() -> float:
    """Peak memory of this process; Linux's ``ru_maxrss`` would begin with the parent's."""
    status = Path("/proc/self/status")
    if status.is_file():
        line = next(x for x in status.read_text().splitlines() if x.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
    import resource

    unit = 1024**2 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit


def tell(what: str, file: Path, times: dict[str, tuple[float, float]], peaks: list[str]) -> None:
    """Print a table: seconds, ratios to the floor and to ours, peak memory."""
    print(f"-- {what}, {file.stat().st_size / 1e6:.1f} MB")
    print(f"{'':28}{'wall s':>9}{'floors':>8}{'ours':>8}{'CPU s':>9}{'floors':>8}{'ours':>8}"
          f"{'peak MB':>9}")  # fmt: skip
    floor, ours = times["floor"], times["ours, all layers"]
    for name, both in times.items():
        row = "".join(
            f"{spent:9.3f}{spent / floor[k]:8.2f}{spent / ours[k]:8.2f}"
            for k, spent in enumerate(both)
        )
        peak = f"{peak_megabytes(name, file):9.0f}" if name in peaks else ""
        print(f"{name:28}{row}{peak}", flush=True)


def bench(what: str, file: Path, *, rounds: int, osmnx_once: bool | None) -> None:
    """One file; OSMnx takes its turns, or only once, or (None) not at all."""
    names = list(CONTESTANTS)
    if osmnx_once is not None:
        write_xml(file)
    if osmnx_once is not False:
        names.remove("OSMnx from XML, roads only")
    times = take_turns(file, names, rounds)
    if osmnx_once:
        name = "OSMnx from XML, roads only"
        times[name] = time_once(lambda: read_osmnx(file))
        gc.collect()
    tell(what, file, times, list(times))


def main() -> None:
    """Every extract at hand, then a tiled one of about 20 MB."""
    told = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    told.add_argument("parts", nargs="*", help="small, large; both when none is named")
    told.add_argument(
        "--osmnx-large", action="store_true", help="OSMnx on the large file, once; 7 GB"
    )
    told.add_argument("--rounds", type=int, default=5)
    told.add_argument("--large-file", type=Path, help="use this file instead of a tiled one")
    asked = told.parse_args()
    parts = asked.parts or ["small", "large"]
    with tempfile.TemporaryDirectory() as folder:
        os.environ["CAPTURE_CACHE"] = folder
        found = find_extracts()
        if "small" in parts:
            for name, source in found.items():
                file = Path(folder) / f"{name.replace(' ', '_')}.osm.pbf"
                file.write_bytes(source.read_bytes())
                bench(name, file, rounds=asked.rounds, osmnx_once=False)
        if "large" in parts:
            file = Path(folder) / "large.osm.pbf"
            if asked.large_file:
                file.write_bytes(asked.large_file.read_bytes())
            else:
                tile_file(next(iter(found.values())), file, FILE_COPIES)
            bench("tiled", file, rounds=asked.rounds, osmnx_once=asked.osmnx_large or None)
        print("load:", *(f"{load:.1f}" for load in os.getloadavg()))


if __name__ == "__main__":
    main()
