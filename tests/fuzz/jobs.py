"""Job files by chance: the keys of a good job, its values changed, dropped, moved or of another kind."""

from __future__ import annotations

from random import Random

from pathgen.job.describe import key_rows

VALUES = (
    "0", "-1", "1", "1e400", "nan", "-inf", "0xFFFFFFFFFFFFFFFFFF", "9" * 5000, "1" * 18, "0.1", "3.7", "12", "true",
    '""', '"1/4 in"', '"1/0 in"', '"' + "9" * 500 + '/2 in"', '"a\\u2028b"', '"\\u001b[31m"', '"MSG, x"',
    '"\\uFDFA"', "[]", "{}",
    "[1, 2]", "[[1]]", "[" * 30 + "]" * 30, "{ a = 1 }", "2026-01-01", '"flat"', '"through"', '"bed"', '"../x"', '"."',
    '"\\u0000"', "1e-300", "1e300", '"' + "x" * 150 + '"', '["3/2", "2"]', '"5 mm"', '"1e5 mm"', "50", "200.0",
)


def job(text: str, chance: Random) -> bytes:
    """A good job's text with one to four changes."""
    lines = text.splitlines()
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(lines))
        key, equals, value = lines[at].partition("=")
        draw = chance.random()
        if draw < 0.45 and equals:
            lines[at] = f"{key}= {chance.choice(VALUES)}"
        elif draw < 0.6 and equals:
            try:
                lines[at] = f"{key}= {float(value) * 10 ** chance.uniform(-1.5, 1.5):.6g}"
            except ValueError:
                continue
        elif draw < 0.7:
            del lines[at]
        elif draw < 0.9:
            row = chance.choice(key_rows())
            table, name = row.table, row.key
            parts = table.strip("[]").split("] ")
            own = f"{table}\n{name}" if table and len(parts) == 1 else name
            lines.insert(at if not table else len(lines), f"{own} = {chance.choice(VALUES)}")
        else:
            lines.insert(at, chance.choice((chance.choice(lines), "[", "a", "[[x]]", "\u2028", "[a.b.c]")))
        lines = lines or ["a = 1"]
    data = bytearray("\n".join(lines).encode("utf-8", "surrogatepass"))
    if chance.random() < 0.08:
        data[chance.randrange(len(data))] = chance.randrange(256)
    return bytes(data)
