"""Many inputs of each kind: ``python -m tests.fuzz --count 50000``; says what went wrong, and the most memory used."""

import argparse
import faulthandler
import resource
import time
import warnings

from tests.fuzz.run import KINDS, good_programs, limited, tried

TOLD = 100
"""Seeds of each kind after which it is told how things stand."""


def main() -> int:
    """0 when every input was answered as it should be, in ten seconds and a gigabyte more than the first took."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--count", type=int, default=50_000, help="inputs in all, as many of each kind")
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--kind", choices=list(KINDS), nargs="+", default=list(KINDS))
    options = parser.parse_args()
    warnings.simplefilter("error")
    faulthandler.enable()
    good_programs()
    with limited():
        return int(bool(_wrong(options)))


def _wrong(options: argparse.Namespace) -> int:
    """How many were answered wrongly. Told after every few hundred inputs, so that a run may be stopped and gone on."""
    wrong, began = 0, time.monotonic()
    end = options.first + options.count // len(options.kind)
    for first in range(options.first, end, TOLD):
        seeds = range(first, min(first + TOLD, end))
        for kind in options.kind:
            for trouble in tried(kind, seeds):
                wrong += 1
                print(f"{trouble.kind} {trouble.seed}: {trouble.words}", flush=True)
        used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(f"seeds {seeds[0]} to {seeds[-1]} of {', '.join(options.kind)}: {wrong} wrong so far, "
              f"{time.monotonic() - began:.0f} s, {used:.2f} GB at most", flush=True)
    return wrong


if __name__ == "__main__":
    raise SystemExit(main())
