"""Where the words of a picture lie, by a plain estimate of how wide letters are: no browser is needed."""

import itertools
import re
import xml.etree.ElementTree as Tree

import shapely

LETTER = 0.64
"""Width of a letter as a share of its size: digits of common sans-serif faces are 0.55 to 0.64 wide (from memory)."""
START = {"start": 0.0, "middle": -0.5, "end": -1.0}


def pictures_of(page):
    """The svg elements of a page, parsed."""
    return [Tree.fromstring(re.sub(r"&(?!\w+;|#)", "&amp;", text))
            for text in re.findall(r"<svg .*?</svg>", page, flags=re.DOTALL)]


def labels(picture):
    """(words, box) of each text of a picture; none of ours is turned."""
    for text in picture.iter():
        if text.tag.rpartition("}")[2] == "text":
            assert "transform" not in text.attrib
            words, size = "".join(text.itertext()), float(text.get("font-size"))
            x, y, wide = float(text.get("x")), float(text.get("y")), LETTER * size * len(words)
            left = x + START[text.get("text-anchor", "start")] * wide
            yield words, shapely.box(left, y - 0.75 * size, left + wide, y)


def cut_off(picture):
    """Words that do not lie in the picture whole, by more than a tenth of a letter."""
    left, top, wide, high = (float(v) for v in picture.get("viewBox").split())
    return [words for words, box in labels(picture)
            if not box.within(shapely.box(left, top, left + wide, top + high).buffer(LETTER * (box.bounds[3]
                              - box.bounds[1]) / 0.75 / 10))]


def over_one_another(picture):
    """Pairs of words that lie over one another."""
    return [(a, b) for (a, p), (b, q) in itertools.combinations(labels(picture), 2)
            if p.intersection(q).area > 0.01 * min(p.area, q.area)]
