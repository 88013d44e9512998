"""How is the chain run from a terminal? Parses the command, runs it, says faults in one sentence.

Nothing heavy is imported until a command needs it, so that ``--help`` answers at once.
"""

from __future__ import annotations

import argparse
import io
import os
import sys
import time
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

_STUDY_HELP = """\
Run the whole chain for one site and write study.json and map.html; --papers adds
report.pdf, report.html, study.xlsx, layers.gpkg and GeoJSON layers.

AREA is a folder with an area.toml, or a bare roads file (.osm.pbf, .osm, .osm.gz,
.osm.bz2, .graphml). SITE is LAT,LON in degrees (40.01,-98.53), parcel:ID for a parcel
of the area, or a file with one site in it (GeoJSON, GeoPackage, CSV with lat and lon)."""

_EXAMPLES = """\
examples:
  python -m capture area data_public/demo
  python -m capture study data_public/demo --site parcel:P01 --out out
  python -m capture study roads.osm.pbf --site -33.8,151.2 --out out
  python -m capture screen data_public/demo --out out
  python -m capture numbers --room line
  python -m capture study data_public/demo --site parcel:P01 --set line.pitch_m=7 --out out
  python -m capture study data_public/demo --site parcel:P01 --offer own.toml --withhold --out out
"""


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of every command."""
    parser = argparse.ArgumentParser(
        prog="python -m capture",
        description="From a road file to a wash line: cars passing, share washed, busiest hour, "
        "equipment and money, each with its range and its source.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)

    study = commands.add_parser(
        "study",
        help="one site, everything",
        description=_STUDY_HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    _add_area(study)
    study.add_argument("--site", required=True, metavar="SITE", help="LAT,LON, parcel:ID or a file")
    study.add_argument("--author", default="", metavar="NAME", help="your name, for the report")
    study.add_argument(
        "--logo", type=Path, metavar="FILE", help="your PNG, JPEG or SVG, for the report"
    )
    study.add_argument(
        "--withhold",
        action="store_true",
        help="leave your client's own figures (prices, land, --set numbers) out of every paper",
    )
    _add_common(study)

    screen = commands.add_parser(
        "screen",
        help="many parcels, ranked",
        description="Run the chain for many parcels and write ranking.csv, parcels.gpkg and "
        "map.html. Struck-out parcels stay in the table with their reason.",
    )
    _add_area(screen)
    screen.add_argument(
        "--parcels", type=Path, metavar="FILE", help="parcels to rank; the area's own if left out"
    )
    _add_common(screen)

    area = commands.add_parser(
        "area", help="what is known and what is missing", description="Say what is known here."
    )
    _add_area(area)

    numbers = commands.add_parser(
        "numbers",
        help="every built-in number with its source",
        description="List every built-in number with its range, source and grade; "
        "change one with --set ROOM.NAME=VALUE in study and screen.",
    )
    numbers.add_argument("--room", metavar="ROOM", help="only this room's numbers")
    return parser


def _add_area(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("area", metavar="AREA", type=Path)
    parser.add_argument(
        "--may-read",
        type=Path,
        action="append",
        default=[],
        metavar="DIR",
        help="a folder besides AREA that its area.toml may name files of; may be repeated",
    )


def _add_common(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--offer", type=Path, metavar="FILE", help="JSON or TOML table of offer fields"
    )
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="seed of the draws (0)")
    parser.add_argument(
        "--draws", type=int, default=1000, metavar="N", help="possible worlds (1000)"
    )
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="ROOM.NAME=VALUE",
        help="replace a built-in number; see the numbers command",
    )
    parser.add_argument(
        "--papers", action="store_true", help="also write report, workbook and map layers"
    )
    parser.add_argument(
        "--date", default="", metavar="TEXT", help="date to print in them; none if left out"
    )
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder to write to")
    parser.add_argument("--quiet", action="store_true", help="say nothing while working")


def join_values(arguments: Sequence[str]) -> list[str]:
    """Join ``--site -33.8,151.2`` into one word, since a leading minus looks like an option.

    Examples
    --------
    >>> join_values(["study", "x", "--site", "-33.8,151.2"])
    ['study', 'x', '--site=-33.8,151.2']
    """
    joined: list[str] = []
    waiting = iter(arguments)
    for word in waiting:
        follower = next(waiting, None) if word in ("--site", "--set") else None
        joined.append(word if follower is None else f"{word}={follower}")
    return joined


def _soften_output() -> None:
    """Let a terminal that lacks a sign show another for it, rather than fail after the work."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status (0 done, 2 the user can mend it, 1 our fault)."""
    _soften_output()
    given = build_parser().parse_args(join_values(sys.argv[1:] if arguments is None else arguments))
    from capture import command
    from capture.basis.errors import CaptureError

    runs: dict[str, Callable[[argparse.Namespace, Callable[[str], None]], None]] = {
        "study": command.run_study,
        "screen": command.run_screen,
        "area": command.run_area,
        "numbers": command.run_numbers,
    }
    started = time.perf_counter()

    def say(text: str) -> None:
        if not getattr(given, "quiet", False):
            print(f"{time.perf_counter() - started:6.1f} s  {text}", file=sys.stderr, flush=True)

    def tell(message: Warning | str, category: type[Warning], *_: Any, **__: Any) -> None:
        what = f"a sum ran over ({message})" if issubclass(category, RuntimeWarning) else message
        print(f"{given.command}: note: {what}", file=sys.stderr)

    try:
        with warnings.catch_warnings():
            warnings.showwarning = tell
            if getattr(given, "set", None):
                # an own number that makes a sum run over is refused, not answered with what is left
                warnings.simplefilter("error", RuntimeWarning)
            runs[given.command](given, say)
    except CaptureError as error:
        print(f"{given.command}: {error}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        print(f"{given.command}: stopped; nothing was half-written", file=sys.stderr)
        return 130
    except Exception as error:
        sums = ArithmeticError | MemoryError | RuntimeWarning
        if isinstance(error, sums) and getattr(given, "set", None):
            print(
                f"{given.command}: the chain cannot be worked out with {', '.join(given.set)} "
                f"({error}); give numbers nearer to the built-in ones",
                file=sys.stderr,
            )
            return 2
        if os.environ.get("CAPTURE_TRACEBACK"):
            raise
        print(
            f"{given.command}: an unforeseen fault ({type(error).__name__}: {error}); please "
            "report it with the command that you ran (CAPTURE_TRACEBACK=1 shows where)",
            file=sys.stderr,
        )
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
