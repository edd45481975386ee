"""How long `pathgen watch` takes after an edit of the example, beside a fresh build: processor seconds, in one run.

    python -m tests.benchmarks.watching
"""

import shutil
import tempfile
import time
from pathlib import Path

import pathgen
from pathgen.base.memory import Memory, remembering

EXAMPLES = Path(__file__).parents[2] / "examples"
EDITS = {
    "title": ("Fern and moth board", "Another board"),
    "tabs": ("tabs = 4", "tabs = 6"),
    "slots' depth": ("depth = 2.6", "depth = 2.4"),
    "slot cutter's feed": ("feed = 400.0", "feed = 380.0"),
    "moth's depth": ('colours = ["#c8962e"]\ndepth = 1.6', 'colours = ["#c8962e"]\ndepth = 1.4'),
    "fern's depth": ('colours = ["#2f6f4f"]\ndepth = 1.6', 'colours = ["#2f6f4f"]\ndepth = 1.5'),
    "frets": ("frets = 20", "frets = 19"),
    "ridges": ("scallop = 0.01", "scallop = 0.012"),
    "radius": ("nut = 254.0", "nut = 260.0"),
    "place of all": ("at = [232.0, 0.0]", "at = [231.0, 0.0]"),
}


def spent(job: Path) -> float:
    """Processor seconds of a build and its files."""
    start = time.process_time()
    pathgen.build(pathgen.load_job(job)).files()
    return time.process_time() - start


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        for name in ("fern-and-moth.toml", "fern-and-moth.svg"):
            shutil.copy(EXAMPLES / name, folder)
        job = Path(folder) / "fern-and-moth.toml"
        text, memory = job.read_text(), Memory()
        with remembering(memory):
            print(f"{'first build':20} {spent(job):5.2f} s, {memory.size / 1e6:.0f} MB kept")
        for name, (old, new) in EDITS.items():
            assert old in text, old
            job.write_text(text.replace(old, new))
            with remembering(memory):
                again = spent(job)
            fresh = spent(job)
            print(f"{name:20} {again:5.2f} s, fresh {fresh:.2f} s: {again / fresh:.2f}")
            job.write_text(text)
            with remembering(memory):
                spent(job)


if __name__ == "__main__":
    main()
