"""Programs by chance: from the grammar of the plain subset, and from edits of programs that were good."""

from random import Random

ODD = ("1e5", "-1E9", "99999999999", "9" * 200, ".", "-", "0.0000000001", "NAN", "1.2.3", "[1]", "#1", "10000",
       "-10000")
CODES = ("G0", "G1", "G2", "G3", "G4 P1", "G17", "G18", "G19", "G20", "G21", "G90", "G91", "G94", "G54", "G55", "G80",
         "G61", "M3", "M4", "M5", "M0", "M1", "M8", "M30", "M2", "G10", "G28", "G53", "G92", "M6", "G64")
LINES = ("%", "(MSG, look)", "(a (b))", "(open", "", " ", "/G0 X1", "N10 G1 X5", "O100", ";", "\u00e9", "\t", "G1 X1\r",
         "\x00", "\x1b[31m", "\u2028", "x1y2", "(" + "x" * 300 + ")", "G1 G2 X1", "T1", "G1X1Y1Z1F99", "\ufeff")


def program(chance: Random) -> str:
    """A program from the grammar, of up to some hundreds of lines."""
    head = "G21 G90 G94 G17 G54\nG0 Z25\nM3 S10000\nG0 X0 Y0\nF600\n" if chance.random() < 0.8 else ""
    odd = chance.choice((0.0, 0.01, 0.2))
    body = [_line(chance, odd) for _ in range(int(10 ** chance.uniform(0, 2.5)))]
    return head + "\n".join(body) + chance.choice(("\nM5\nM30\n", "\nM30", "\n", "", "\n%\n"))


def edited(text: str, chance: Random) -> str:
    """A good program with some of its lines, words or characters changed."""
    lines = text.splitlines()
    for _ in range(chance.randint(1, 5)):
        at = chance.randrange(len(lines))
        draw = chance.random()
        if draw < 0.2:
            del lines[at]
        elif draw < 0.35:
            lines[at] = _line(chance, 0.3)
        elif draw < 0.5:
            lines.insert(at, _line(chance, 0.3))
        elif draw < 0.6:
            other = chance.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        elif draw < 0.9 and any(c.isdigit() for c in lines[at]):
            lines[at] = _other_number(lines[at], chance)
        elif lines[at]:
            k = chance.randrange(len(lines[at]))
            lines[at] = lines[at][:k] + chr(chance.randrange(32, 127)) + lines[at][k + 1 :]
        lines = lines or [""]
    return "\n".join(lines) + "\n"


def _other_number(line: str, chance: Random) -> str:
    words = line.split(" ")
    at = chance.randrange(len(words))
    if words[at][:1] in tuple("XYZIJF"):
        words[at] = words[at][0] + _number(chance, 0.05)
    return " ".join(words)


def _line(chance: Random, odd: float) -> str:
    if chance.random() < odd:
        return chance.choice(LINES)
    if chance.random() < 0.1:
        return chance.choice(CODES)
    words = [chance.choice(("G0", "G1", "G1", "G2", "G3", ""))]
    words += [axis + _number(chance, odd / 5) for axis in "XYZ" if chance.random() < 0.6]
    if words[0] in ("G2", "G3"):
        if chance.random() < 0.4:
            words.append("R" + _number(chance, odd / 5))
        else:
            words += [axis + _number(chance, odd / 5) for axis in "IJ" if chance.random() < 0.9]
    if chance.random() < 0.1:
        words.append("F" + _number(chance, odd / 5).lstrip("-"))
    return chance.choice((" ", "")).join(filter(None, words))


def _number(chance: Random, odd: float) -> str:
    if chance.random() < odd:
        return chance.choice(ODD)
    size = chance.choice((5, 50, 50, 500, 9000))
    return f"{chance.uniform(-size, size):.{chance.randint(0, 4)}f}"
