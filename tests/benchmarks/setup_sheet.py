"""What the setup sheet adds to a build: its share of the build's time, and its size.

    python tests/benchmarks/setup_sheet.py [JOB.toml]

Prints processor seconds of both, measured in one run, so that the share holds on any machine.
"""

import sys
import time
from pathlib import Path

import pathgen

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "fern-and-moth.toml"


def main() -> None:
    job = pathgen.load_job(sys.argv[1] if len(sys.argv) > 1 else EXAMPLE)
    began = time.process_time()
    result = pathgen.build(job)
    built = time.process_time()
    files = result.files()
    page = time.process_time()
    result.pictures()
    pictures = time.process_time()
    size = len(files["setup.html"].encode())
    print(f"build {built - began:.2f} s, page {page - built:.2f} s ({(page - built) / (built - began):.0%}), "
          f"{size / 1000:.0f} kB; pictures as files {pictures - page:.2f} s")


if __name__ == "__main__":
    main()
