"""Many inputs of each kind: ``python -m tests.fuzz --count 50000``; says what went wrong, and the most memory used."""

from __future__ import annotations

import argparse
import resource
import time
import warnings

from tests.fuzz.run import KINDS, good_programs, limited, tried


def main() -> int:
    """0 when every input was answered as it should be, in ten seconds and a gigabyte more than the first took."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--count", type=int, default=50_000, help="inputs in all, a quarter of each kind")
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--kind", choices=list(KINDS), nargs="+", default=list(KINDS))
    options = parser.parse_args()
    warnings.simplefilter("ignore")
    good_programs()
    with limited():
        return int(bool(_wrong(options)))


def _wrong(options: argparse.Namespace) -> int:
    """How many were answered wrongly."""
    wrong = 0
    for kind in options.kind:
        began, each = time.monotonic(), options.count // len(options.kind)
        for trouble in tried(kind, range(options.first, options.first + each)):
            wrong += 1
            print(f"{trouble.kind} {trouble.seed}: {trouble.words}", flush=True)
        used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        spent = time.monotonic() - began
        print(f"{each} {kind} in {spent:.0f} s, {used:.2f} GB at most, {wrong} wrong so far", flush=True)
    return wrong


if __name__ == "__main__":
    raise SystemExit(main())
