"""Files of odd kinds by chance, where a job, a drawing or a program is expected."""

import os
from pathlib import Path
from random import Random


def place(path: Path, chance: Random) -> None:
    """Something odd at a path."""
    draw = chance.randrange(9)
    if draw == 0:
        path.mkdir()
    elif draw == 1:
        os.mkfifo(path)
    elif draw == 2:
        path.symlink_to("nowhere")
    elif draw == 3:
        path.symlink_to(path)
    elif draw == 4:
        path.symlink_to(chance.choice(("/dev/zero", "/dev/null", "/dev/full")))
    elif draw == 5:
        path.touch()
        os.truncate(path, int(10 ** chance.uniform(6, 11)))
    else:
        path.write_bytes(chance.choice((b"", b"\xef\xbb\xbf", b"\xff\xfe", b"\x1f\x8b\x08", b"(", b"[" * 900))
                         + chance.randbytes(chance.randrange(200)))
        if draw == 8 and os.getuid():
            path.chmod(0)
