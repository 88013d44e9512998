"""Reading roads files against named peers, each in one run, as ratios of wall-clock seconds."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from capture.area import open_area
from capture.place import open_place

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))
from big_town import find_extracts, tile_file

sys.path.insert(0, str(Path(__file__).resolve().parent))
from bench_place import measure, say

FILE_COPIES = 32


def bench_reading(file: Path, *, osmnx: bool) -> None:
    """One pass over a file against libosmium alone, OSMnx and pyrosm."""
    import osmium

    def bare() -> None:
        # reads every object in C++ and hands none to Python
        osmium.apply(str(file), osmium.filter.KeyFilter("no such key"))

    area = open_area(file)
    ours = measure(lambda: open_place(area, use_cache=False), 3, wall=True)
    open_place(area)
    peers = {
        "bare libosmium pass": measure(bare, 3, wall=True),
        "second opening": measure(lambda: open_place(area), 5, wall=True),
    }
    try:
        import pyrosm
    except ImportError:
        pyrosm = None
    if pyrosm is not None:

        def roads() -> None:
            pyrosm.OSM(str(file)).get_network(network_type="driving+service", nodes=True)

        try:
            peers["pyrosm, roads only"] = measure(roads, 1, wall=True)
        except Exception as error:
            print(f"  pyrosm gave up: {type(error).__name__}")
    if osmnx:
        import osmnx as ox

        with tempfile.TemporaryDirectory() as folder:
            xml = Path(folder) / "copy.osm"
            with osmium.SimpleWriter(str(xml)) as writer:
                for thing in osmium.FileProcessor(str(file)):
                    if not thing.is_way() or thing.tags.get("highway"):
                        writer.add(thing)
            start = time.perf_counter()
            try:
                ox.graph_from_xml(xml, retain_all=True)
                peers["OSMnx from XML, roads only"] = time.perf_counter() - start
            except ValueError as error:
                print(f"  OSMnx gave up: {error}")
    say(f"read {file.stat().st_size / 1e6:.1f} MB, all layers", ours, peers, "s", 1.0)


def peak_megabytes(file: Path) -> float:
    """Peak memory of a fresh process that reads a file."""
    code = (
        "import resource, sys; from capture.area import open_area; from capture.place import "
        "open_place; open_place(open_area(sys.argv[1]), use_cache=False); "
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, str(file)], capture_output=True, text=True, check=True
    )
    return float(run.stdout)


def main() -> None:
    """Every extract at hand, then a tiled one of about 20 MB."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["CAPTURE_CACHE"] = folder
        for name, file in find_extracts().items():
            print(f"-- {name}: peak {peak_megabytes(file):.0f} MB")
            bench_reading(file, osmnx=True)
        large = tile_file(next(iter(find_extracts().values())),
                          Path(folder) / "large.osm.pbf", FILE_COPIES)  # fmt: skip
        print(f"-- tiled: peak {peak_megabytes(large):.0f} MB")
        bench_reading(large, osmnx=False)


if __name__ == "__main__":
    main()
