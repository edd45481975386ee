"""Drawings by chance, from a grammar of SVG with many of its corners, then at times broken."""

import gzip
from random import Random

COLOURS = ("#225577", "#cc8833", "red", "none", "currentColor", "rgb(1,2,3)", "rgb(10%,0%,300%)", "url(#g)", "#12", "")
UNITS = ("", "", "", "mm", "in", "px", "%", "em", "ex", "pc", "furlong")
ODD_NUMBERS = ("0", "-0", "1e9", "-1e9", "1e-9", "1e308", "1e-320", "1e400", "NaN", "inf", ".5", "5.", "+3", "--3", "",
               "0x10", "1e", "\u0663", "3" * 400, "1e5", "123456.7")
SHAPES = ("rect", "circle", "ellipse", "line", "polyline", "polygon", "path", "path", "path")
GROUPS = ("g", "g", "svg", "symbol", "defs", "a", "switch", "clipPath", "mask", "pattern", "marker")
OTHERS = ("text", "image", "style", "linearGradient", "filter", "title", "metadata", "foreignObject", "use", "tspan")
SIZES = ("x", "y", "width", "height", "cx", "cy", "r", "rx", "ry", "x1", "y1", "x2", "y2", "offset", "font-size",
         "stroke-width", "stroke-miterlimit", "stroke-dashoffset", "opacity", "fill-opacity")
WORDS = {
    "fill": COLOURS, "stroke": COLOURS, "color": COLOURS, "fill-rule": ("evenodd", "nonzero", "odd"),
    "clip-rule": ("evenodd", "nonzero"), "stroke-linecap": ("butt", "round", "square", "inherit"),
    "stroke-linejoin": ("miter", "round", "bevel", "arcs"), "display": ("none", "inline"),
    "visibility": ("hidden", "visible", "collapse"), "overflow": ("hidden", "visible"),
    "clip-path": ("url(#a)", "url(#b)", "none", "url(#zz)", "circle(5)"), "href": ("#a", "#b", "#c", "#zz", "http://x"),
    "preserveAspectRatio": ("none", "xMidYMid meet", "xMinYMax slice", "defer none", "up"),
    "vector-effect": ("none", "non-scaling-stroke"), "clipPathUnits": ("objectBoundingBox", "userSpaceOnUse"),
    "paint-order": ("stroke", "normal"), "xml:space": ("preserve",), "mask": ("url(#a)", "none"),
}
BROKEN = 0.12
"""Share of drawings in which some bytes are changed."""


def drawing(chance: Random) -> bytes:
    """One drawing as bytes."""
    parts = "".join(_element(chance, 0) for _ in range(chance.randint(1, 6)))
    head = ' xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
    page = f' width="{_size(chance)}" height="{_size(chance)}"' if chance.random() < 0.25 else ' width="90" height="70"'
    box = f' viewBox="{_numbers(chance, 4)}"' if chance.random() < 0.3 else ""
    data = f"<svg{head}{page}{box}>{parts}</svg>".encode("utf-8", "replace")
    if chance.random() < BROKEN:
        data = _broken(data, chance)
    return gzip.compress(data) if chance.random() < 0.02 else data


def _element(chance: Random, depth: int) -> str:
    draw = chance.random()
    if draw < 0.65 or depth > 6:
        name = chance.choice(SHAPES)
        return f"<{name}{_attributes(chance, name)}/>"
    name = chance.choice(GROUPS if draw < 0.88 else OTHERS)
    if name == "style":
        return f"<style>{_sheet(chance)}</style>"
    inside = "".join(_element(chance, depth + 1) for _ in range(chance.randint(0, 4)))
    return f"<{name}{_attributes(chance, name)}>{inside}</{name}>"


def _attributes(chance: Random, name: str) -> str:
    given = {}
    for size in SIZES:
        if chance.random() < (0.45 if size in SIZES[:13] else 0.07):
            given[size] = _size(chance)
    for word, values in WORDS.items():
        if chance.random() < 0.12 or (word == "href" and name == "use"):
            given[word] = chance.choice(values)
    if name == "path":
        given["d"] = _path(chance)
    if name in ("polyline", "polygon"):
        given["points"] = _numbers(chance, chance.randint(0, 9))
    if chance.random() < 0.25:
        given["transform"] = _transform(chance)
    if chance.random() < 0.15:
        given["stroke-dasharray"] = _numbers(chance, chance.randint(0, 5))
    if chance.random() < 0.15:
        given["style"] = ";".join(_declaration(chance) for _ in range(chance.randint(1, 4)))
    if chance.random() < 0.3:
        given["id"] = chance.choice("abcd")
    if chance.random() < 0.1:
        given["class"] = chance.choice(("p", "q", "p q"))
    if name in ("symbol", "svg", "pattern") and chance.random() < 0.5:
        given["viewBox"] = _numbers(chance, 4)
    return "".join(f' {key}="{_escaped(value)}"' for key, value in given.items())


def _path(chance: Random) -> str:
    counts = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
    letters = ["M"] + [chance.choice("MLLHVCCSQTAZ") for _ in range(chance.randint(0, 8))]
    out = []
    for letter in letters:
        count = counts[letter] * chance.choice((1, 1, 1, 2, 3)) + (chance.random() < 0.01)
        numbers = [_number(chance) for _ in range(count)]
        if letter == "A":
            for k in range(0, count - 6, 7):
                numbers[k + 3 : k + 5] = [chance.choice("01"), chance.choice("01")]
        separator = chance.choice((" ", ",", " , ", "\n"))
        out.append((letter if chance.random() < 0.5 else letter.lower()) + separator.join(numbers))
    return chance.choice(("", " ")).join(out)


def _sheet(chance: Random) -> str:
    selectors = ("*", "path", ".p", "#a", "g path", "g>rect", ":hover", "a:not(.p)", "[id]", "::before", "@media print",
                 "@media all", "@font-face", "p,", "")
    rules = (f"{chance.choice(selectors)}{{{_declaration(chance)};{_declaration(chance)}}}"
             for _ in range(chance.randint(0, 5)))
    return _escaped("".join(rules) + chance.choice(("", "", "}", "{", "/*", "@import 'x';", "(" * 1500)))


def _declaration(chance: Random) -> str:
    name = chance.choice((*WORDS, *SIZES, "transform", "all", "font", "marker", "-x-y"))
    value = chance.choice(WORDS[name]) if name in WORDS and chance.random() < 0.8 else _size(chance)
    odd = chance.random()
    if odd < 0.02:
        value = "(" * 1500 + value
    elif odd < 0.05:
        value = chance.choice(("var(--x)", "calc(1px + 2px)", "inherit", "initial", "unset", "revert"))
    return f"{name}:{value}" + (" !important" if chance.random() < 0.05 else "")


def _transform(chance: Random) -> str:
    counts = {"matrix": 6, "translate": 2, "scale": 2, "rotate": 3, "skewX": 1, "skewY": 1, "turn": 1}
    names = [chance.choice(list(counts)[:-1] if chance.random() < 0.98 else list(counts)) for _ in range(2)]
    return " ".join(f"{name}({_numbers(chance, counts[name])})" for name in names[: chance.randint(1, 2)])


def _numbers(chance: Random, count: int) -> str:
    return chance.choice((" ", ",")).join(_number(chance) for _ in range(count))


def _number(chance: Random) -> str:
    draw = chance.random()
    if draw < 0.008:
        return chance.choice(ODD_NUMBERS)
    if draw < 0.4:
        return str(chance.randint(-3, 60))
    if draw < 0.44:
        return f"{chance.choice((1, -1)) * 10 ** chance.uniform(-12, 7):.{chance.randint(0, 9)}e}"
    return f"{chance.uniform(-20, 90):.{chance.randint(0, 6)}f}"


def _size(chance: Random) -> str:
    return _number(chance).lstrip("-" if chance.random() < 0.9 else "") + chance.choice(UNITS)


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")


def _broken(data: bytes, chance: Random) -> bytes:
    out = bytearray(data)
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(out))
        draw = chance.random()
        if draw < 0.4:
            out[at] = chance.randrange(256)
        elif draw < 0.7:
            del out[at : at + chance.randint(1, 30)]
        else:
            out[at:at] = out[at : at + chance.randint(1, 60)]
        out = out or bytearray(b" ")
    return bytes(out)
