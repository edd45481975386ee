"""How long the example takes as a whole process, and how much memory: a table, run by hand.

    python tests/benchmarks/whole_build.py

Aims on two cores: the build with its verification at 0.1 mm in 3 s or less and 500 MB or less, `import pathgen`
in 0.3 s or less. Machines are noisy: the best of a few runs is shown, beside what Python and numpy alone take.
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

EXAMPLE = Path(__file__).parents[2] / "examples" / "fern-and-moth.toml"

CASES = [
    ("python alone", ["-c", "pass"]),
    ("import numpy, shapely", ["-c", "import numpy, shapely"]),
    ("import svgpathtools", ["-c", "import svgpathtools"]),
    ("import pathgen", ["-c", "import pathgen"]),
    ("pathgen frets", ["-m", "pathgen", "frets", str(EXAMPLE)]),
    ("pathgen build, 0.1 mm", ["-m", "pathgen", "build", str(EXAMPLE), "--out", "OUT"]),
    ("pathgen build, 0.05 mm", ["-m", "pathgen", "build", str(EXAMPLE), "--out", "OUT", "--resolution", "0.05"]),
]


def best(arguments: list[str], runs: int = 3) -> tuple[float, float]:
    """Least seconds of a few runs, and the largest memory of any child so far in MB."""
    seconds = []
    for _ in range(runs):
        with tempfile.TemporaryDirectory() as folder:
            filled = [a.replace("OUT", str(Path(folder) / "out")) for a in arguments]
            began = time.perf_counter()
            subprocess.run([sys.executable, *filled], check=True, stdout=subprocess.DEVNULL)
            seconds.append(time.perf_counter() - began)
    return min(seconds), resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


if __name__ == "__main__":
    alone, _ = best(CASES[0][1])
    print(f"{'':28}{'seconds':>9}{'x python':>10}{'peak MB so far':>16}")
    for name, arguments in CASES:
        seconds, memory = best(arguments)
        print(f"{name:28}{seconds:9.2f}{seconds / alone:10.1f}{memory:16.0f}")
