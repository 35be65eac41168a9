"""Command line of the table generator."""

from __future__ import annotations

import argparse
import csv
import json
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from matdb.shipped import data_folder

from . import bent_leg, generate, grommet_fit, leg_fit


def main(arguments: list[str] | None = None) -> int:
    """Solve tables, or points held aside, and write them."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.generators.finite_elements",
        description="Solve the dimensionless stiffness tables of matdb by finite elements and write them.",
    )
    parser.add_argument("--out", type=Path, default=None, help="folder to write to; the checkout's data/ by default")
    parser.add_argument("--processes", type=int, default=1, help="processes to run at once (1)")
    parser.add_argument("--only", nargs="*", default=None, help="names of linear tables to solve anew; others stay")
    parser.add_argument("--no-squeeze", action="store_true", help="leave the table of large squeeze as it is")
    parser.add_argument("--aside", type=int, default=0, help="instead solve this many points per table at random")
    parser.add_argument("--aside-squeeze", type=int, default=0, help="instead squeeze this many parts at random")
    parser.add_argument("--grommets", action="store_true", help="instead solve the tables of grommets anew")
    parser.add_argument(
        "--aside-grommets", type=int, default=0, help="instead solve this many grommets a neck at random"
    )
    parser.add_argument("--legs", action="store_true", help="instead solve the tables of printed legs anew")
    parser.add_argument("--aside-legs", type=int, default=0, help="instead solve this many printed legs at random")
    parser.add_argument("--aside-bent-legs", type=int, default=0, help="instead solve this many bent legs at random")
    parser.add_argument("--seed", type=int, default=20240229, help="seed of the random parts")
    options = parser.parse_args(arguments)
    out = options.out or data_folder()

    def over(jobs: list[Any], work: Callable[[Any], Any]) -> Iterable[Any]:
        return generate.over(jobs, work, options.processes)

    if options.aside_squeeze:
        writer = csv.writer(sys.stdout, lineterminator="\n")
        writer.writerow(["shape_factor", "diameter_ratio", "squeeze_share", "relative_force"])
        for row in generate.aside_squeeze(options.aside_squeeze, options.seed, over):
            writer.writerow([f"{x:.6g}" for x in row])
        return 0
    aside = {
        grommet_fit.aside_grommets: options.aside_grommets,
        leg_fit.aside_legs: options.aside_legs,
        bent_leg.aside_bent_legs: options.aside_bent_legs,
    }
    for solve, count in aside.items():
        if not count:
            continue
        found = solve(count, options.seed, over)
        rows = csv.DictWriter(sys.stdout, found[0], lineterminator="\n")
        rows.writeheader()
        rows.writerows(found)
        return 0
    if options.grommets:
        about = "Stiffness of a grommet's flange with half its neck, small strain, E / B = 1/500."
        generate.write_json(out / "form_grommet.json", grommet_fit.grommet_tables(over), about)
        return 0
    if options.legs:
        about = "What finite elements of printed legs, wall and core, leave of a beam; small strain, and buckling."
        generate.write_json(out / "form_leg.json", leg_fit.leg_tables(over), about)
        return 0
    names = list(generate.CASES) if options.only is None else options.only
    unknown = [n for n in names if n not in generate.CASES]
    if unknown:
        parser.error(f"no table {unknown[0]!r}; there are: {', '.join(generate.CASES)}")
    if options.aside:
        writer = csv.writer(sys.stdout, lineterminator="\n")
        writer.writerow(["table", "first", "second", "third", "value"])
        for name, at, value in generate.aside_points(options.aside, options.seed, names, options.processes):
            writer.writerow([name, *at, *[""] * (3 - len(at)), f"{value:.7g}"])
        return 0
    path = out / "form_tables.json"
    kept = json.loads(path.read_text(encoding="utf-8"))["tables"] if options.only is not None else {}
    if names:
        solved = kept | generate.linear_tables(names, options.processes)
        generate.write_json(path, solved, "Dimensionless stiffness of rubber parts, small strain.")
    if not options.no_squeeze:
        fit = generate.squeeze_fit(over)
        generate.write_json(out / "form_squeeze.json", fit, "Force against large squeeze of bonded pads and rings.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
