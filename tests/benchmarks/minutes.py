"""Minutes at the machine and the load of each shipped job, beside what they were before the load was known.

    python -m tests.benchmarks.minutes

prints a table. The first column was measured once, with the programs of that time and the same model of the machine.
"""

from pathlib import Path

import pathgen

EXAMPLES = Path(__file__).parents[2] / "examples"
BEFORE = {
    "fern-and-moth": 109.28, "moth-three-colours": 109.73, "bound-left-handed": 59.73, "drawn-outline": 84.22,
    "fanned": 78.46, "inches": 56.59, "let-in-leaf": 23.02, "ratios-stepped": 46.53, "zero-fret-arched": 84.0,
}
"""Minutes: easing by whole loops, straight plunges, outlines in one line, slots by ramps, second cuts at zero depth."""


def main() -> None:
    """Print the table."""
    print(f"{'job':24}{'before':>10}{'now':>10}{'largest load':>14}")
    for path in sorted(EXAMPLES.rglob("*.toml")):
        try:
            report = pathgen.build(pathgen.load_job(path)).report
        except pathgen.JobError:  # several parts in one job: each is built by itself
            continue
        largest = max((p["load"]["largest"] for p in report["programs"] if p.get("load")), default=0.0)
        before = f"{BEFORE[path.stem]:.1f}" if path.stem in BEFORE else "-"
        print(f"{path.stem:24}{before:>10}{report['minutes']:>10.1f}{largest:>14.2f}")


if __name__ == "__main__":
    main()
