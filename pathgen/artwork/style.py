"""What each element's properties are: attributes, style sheets, style attributes, inheritance (CSS 2.1, SVG 1.1)."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache
from itertools import accumulate
from typing import Any, NoReturn
from xml.etree.ElementTree import Element

import cssselect2
import tinycss2

from pathgen.artwork.document import SVG, Document, local_name
from pathgen.artwork.properties import (
    ALIASES,
    GEOMETRY,
    INHERITED,
    INITIAL,
    NOT_READ,
    OWN,
    PROPERTIES,
    SHEET_ONLY,
    Slip,
    Style,
    shown_colour,
)
from pathgen.artwork.values import PX_PER, Length
from pathgen.base.errors import ArtworkError
from pathgen.base.limits import MOST_IN_SELECTOR, MOST_MARKS, MOST_NESTED, MOST_RULES_TRIED, MOST_SELECTORS

_ATTRIBUTES = PROPERTIES.keys() - set(SHEET_ONLY)
_FUNCTION = re.compile(r"(?i)(?<![\w-])(var|calc|min|max|clamp|env|attr)\(")
_BY_FONT = re.compile(r"(?i)[\d.](ex|ch)\b")
_LENGTHS = {*GEOMETRY, "stroke-width", "stroke-dasharray", "stroke-dashoffset"}
_PAINTS = ("fill", "stroke")
_NOTHING = ("", "null", "undefined", "nan")
"""What programs write for what they have no value for; nobody meant a value by it."""
_COLOUR = re.compile(r"(?i)(?<![\w-])((color|color-mix|light-dark|device-cmyk|(ok)?l(ab|ch))\(|\w+\(\s*from\b)")
_MIXED = re.compile(r"(?i)(?<![\w-])((color-mix|light-dark)\(|\w+\(\s*from\b)")
"""Of these, colours made from others: no plain one beside them is the same for who cannot read them."""
_OWN_INITIAL: Style = {name: INITIAL[name] for name in OWN}
_KEYWORDS = ("inherit", "initial", "unset", "revert", "revert-layer")
"""Values that every property takes (CSS Cascading and Inheritance 5, section 7.3)."""
_WORD = re.compile(r"[A-Za-z0-9+/=]+")
_COMMA = tinycss2.parse_component_value_list(",")[0]
_INVALID = object()
_PLAIN = ""
"""Key under which a style keeps the style of its children without declarations."""

Declaration = tuple[str, str, bool | None]
"""Name, value and importance; None for what has no colon after the name, with all of it for a value."""


@lru_cache(maxsize=8192)
def _value(name: str, text: str) -> Any:
    try:
        return PROPERTIES[name][0](text.strip())
    except ValueError:
        return _INVALID


@lru_cache(maxsize=8192)
def _declarations(text: str) -> tuple[Declaration, ...]:
    """The declarations of a style attribute that concern us."""
    tokens = tinycss2.parse_component_value_list(text, skip_comments=True)
    return _known(tinycss2.parse_blocks_contents(tokens, skip_whitespace=True), tokens)


def _known(nodes: list[Any], tokens: list[Any]) -> tuple[Declaration, ...]:
    found = [*_without_colon(tokens)] if any(node.type == "error" for node in nodes) else []
    for node in nodes:
        if node.type != "declaration":
            continue
        value = tinycss2.serialize([token for token in node.value if token.type != "comment"]).strip()
        if node.lower_name == "marker":
            found += [(f"marker-{end}", value, node.important) for end in ("start", "mid", "end")]
        elif node.lower_name == "all":  # not the keyword itself, which would reset this property as well
            found += [("all", f"reset: {value}", node.important)] if value.lower() in _KEYWORDS else []
        elif node.lower_name == "font":
            size = re.search(r"(?<![\w.])[\d.]+(?:[a-z]+|%)", value)
            found += [("font-size", size[0], node.important)] if size else []
        elif (name := ALIASES.get(node.lower_name, node.lower_name)) in PROPERTIES:
            found.append((name, value, node.important))
    return tuple(found)


def _without_colon(tokens: list[Any]) -> Iterable[Declaration]:
    """What begins as a declaration of a property that concerns us, and goes on otherwise: a browser passes it over."""
    for part in _split(tokens, ";"):
        words = [token for token in part if token.type not in ("whitespace", "comment")]
        name = words[0].lower_value if words and words[0].type == "ident" else ""
        if ALIASES.get(name, name) in PROPERTIES and words[1:2] != [":"]:
            yield ALIASES.get(name, name), tinycss2.serialize(part).strip(), None


def _depth(text: str) -> int:
    """The deepest that brackets stand within one another, whether they match or not."""
    return max(accumulate((c in "([{") - (c in ")]}") for c in text))


class Cascade:
    """Computes styles for the elements of one document."""

    def __init__(self, document: Document) -> None:
        self.trouble: list[tuple[Element, str]] = []
        """Parts of style sheets that are not understood, for the caller to refuse or list."""
        self._document = document
        self._sheet: dict[Element, list[Declaration]] = {}
        self._by_place: cssselect2.Matcher | None = None
        self._alike: dict[Element, bool] = {}
        self._computed: dict[Element, Style] = {}
        self._known: dict[Element, dict[str, str]] = {}
        self._slips: dict[Element, dict[str, str]] = {}
        self._unread: dict[Element, dict[str, str]] = {}
        self._selectors = self._marks = self._tried = 0
        self._placed = False
        self._counted: set[str] = set()
        self._ids = {element.get("id") for element in document.lines}
        self._classes = {name for element in document.lines for name in element.get("class", "").split()}
        try:
            self._read_sheets()
        except RecursionError:
            raise ArtworkError(f"{document.name}: style sheet", "nested too deep",
                               remedy="simplify the style sheet") from None

    def _read_sheets(self) -> None:
        document = self._document
        matcher = cssselect2.Matcher()
        for element in document.root.iter(f"{SVG}style"):
            media = element.get("media", "").strip().lower()
            if media not in ("", "all", "screen", "print"):
                self.trouble.append((element, f"for media {media!r}"))
            elif media != "print" and element.get("type", "").strip().lower() in ("", "text/css"):
                text = "".join(element.itertext())
                self._count_marks(element, text)
                rules = tinycss2.parse_stylesheet(text, skip_comments=True, skip_whitespace=True)
                self._add(element, rules, matcher)
        if self._selectors:
            self._check_tests(matcher, document.lines)
            self._sheet = _matched(matcher, document.root)
            self._by_place = matcher if self._placed else None

    def _add(self, element: Element, rules: Iterable[Any], matcher: cssselect2.Matcher) -> None:
        for rule in rules:
            if rule.type == "at-rule":
                self._at_rule(element, rule, matcher)
            elif rule.type == "qualified-rule":
                nodes = tinycss2.parse_blocks_contents(rule.content, skip_comments=True)
                if any(node.type in ("at-rule", "qualified-rule") for node in nodes):
                    self.trouble.append((element, "rules within rules"))
                declarations = _known(nodes, rule.content)
                if max(map(len, _split(rule.prelude, ","))) > MOST_IN_SELECTOR:
                    self.trouble.append((element, "a selector too long"))
                    continue
                prelude = self._possible(rule.prelude)
                if not prelude:
                    continue
                try:
                    selectors = cssselect2.compile_selector_list(prelude)
                except cssselect2.SelectorError:
                    continue  # a rule with an unknown selector is passed over (CSS 2.1, section 4.1.7)
                self._placed |= any(token.type == "whitespace" or token in (">", "+", "~", ":") for one in _split(
                    prelude, ",") for token in _stripped(one))
                for selector in selectors:
                    matcher.add_selector(selector, declarations)
                self._selectors += len(selectors)
                if self._selectors > MOST_SELECTORS:
                    raise ArtworkError(f"{self._document.name}: style sheet", "too many selectors",
                                       allowed=f"{MOST_SELECTORS}", remedy="take unused rules out")

    def _possible(self, prelude: list[Any]) -> list[Any]:
        """The selectors of a list without the plain ones that name a class or an id which no element has."""
        kept: list[Any] = []
        for selector in _split(prelude, ","):
            plain = all(token.type in ("ident", "whitespace", "literal", "hash") for token in selector)
            if not plain or self._names_there(selector):
                kept += [*([_COMMA] if kept else []), *selector]
        return kept

    def _names_there(self, selector: list[Any]) -> bool:
        before = ""
        for token in selector:
            if token.type == "hash" and token.value not in self._ids:
                return False
            if token.type == "ident" and before == "." and token.value not in self._classes:
                return False
            before = token.value if token.type == "literal" else ""
        return True

    def _at_rule(self, element: Element, rule: Any, matcher: cssselect2.Matcher) -> None:
        words = tinycss2.serialize(rule.prelude).strip().lower()
        name = rule.lower_at_keyword
        if name == "media" and rule.content is not None:
            if words in ("", "all", "screen"):
                self._add(element, tinycss2.parse_rule_list(rule.content, True, True), matcher)
            elif words != "print":
                self.trouble.append((element, f"@media {words}"))
        elif name not in ("charset", "font-face", "keyframes", "-webkit-keyframes", "page", "namespace"):
            self.trouble.append((element, f"@{name} {words}".strip()))

    def _check_tests(self, matcher: cssselect2.Matcher, elements: Iterable[Element]) -> None:
        """Raise ArtworkError where too many rules would be tried in all: those of each element's id, classes and name,
        and the general ones."""
        for element in elements:
            self._tried += len(matcher.other_selectors) + len(matcher.id_selectors.get(element.get("id", ""), ()))
            self._tried += len(matcher.lower_local_name_selectors.get(local_name(element).lower(), ()))
            self._tried += sum(len(matcher.class_selectors.get(name, ())) for name in element.get("class", "").split())
        if self._tried > MOST_RULES_TRIED:
            raise ArtworkError(f"{self._document.name}: style sheet", "too many rules for so many elements",
                               allowed=f"{MOST_RULES_TRIED} rules tried in all", remedy="take unused rules out")

    def is_alike_alone(self, element: Element) -> bool:
        """Whether style sheets say the same of it, and of all in it, where they do not see what it lies in: so browsers
        see what a use copies (SVG 2, section 5.6.3), and other programs do not."""
        if self._by_place is None:
            return True
        if element not in self._alike:
            self._check_tests(self._by_place, element.iter())
            alone = Element("alone")
            alone.append(element)
            found = _matched(self._by_place, alone)
            self._alike[element] = all(found.get(one, []) == self._sheet.get(one, []) for one in element.iter())
        return self._alike[element]

    def style(self, element: Element, parent: Style) -> Style:
        """The computed style of an element whose parent's is `parent`."""
        plain = parent.get(_PLAIN)
        if plain is None:  # what every child without declarations of its own has: made once
            plain = parent[_PLAIN] = {name: parent[name] for name in INHERITED} | _OWN_INITIAL
            plain[NOT_READ] = {name: said for name, said in parent[NOT_READ].items() if name in INHERITED}
        declared = self._declared(element)
        slips, unread = self._slips[element], self._unread[element]
        if not declared and not slips and not unread:
            return plain
        style = {name: value for name, value in plain.items() if name != _PLAIN}
        for name, text in declared.items():
            word = text.strip().lower()
            if word == "inherit":
                style[name] = parent[name]
            elif word in ("initial", "unset", "revert"):
                style[name] = INITIAL[name] if word == "initial" or name in OWN else parent[name]
            elif (value := _value(name, text)) is not _INVALID:
                style[name] = value
        for name, text in slips.items():
            style[name] = Slip(f"{name} = {text!r}", self._document.where(element), style[name])
        style[NOT_READ] = {name: said for name, said in plain[NOT_READ].items() if name not in declared}
        style[NOT_READ] |= {name: (self._document.where(element), f"{name} = {text!r}")
                            for name, text in unread.items()}
        return _computed(style, parent)

    def style_in_place(self, element: Element) -> Style:
        """The style of an element with its inheritance from where it stands in the file."""
        line = [element]
        while line[-1] in self._document.parents and line[-1] not in self._computed:
            line.append(self._document.parents[line[-1]])
        style = self._computed.get(line[-1]) or dict(INITIAL)
        for each in reversed(line):
            style = self._computed[each] = self._computed.get(each) or self.style(each, style)
        return style

    def stop_colour(self, stop: Element) -> str | None:
        """The colour of a gradient's stop, None where it is fully transparent."""
        style = self.style_in_place(stop)
        colour = shown_colour(style["stop-color"], style)
        return colour.hex if colour and style["stop-opacity"] > 0 else None

    def _own(self, element: Element, text: str) -> tuple[Declaration, ...]:
        """The declarations of a style attribute, unless it is nested so deep that reading it would not end well."""
        if max(map(text.count, "([{")) > MOST_NESTED and _depth(text) > MOST_NESTED:
            raise ArtworkError(f"{self._document.where(element)}: style", "brackets nested too deep",
                               allowed=f"{MOST_NESTED} levels", remedy="simplify it")
        self._count_marks(element, text)
        return _declarations(text)

    def _count_marks(self, element: Element, text: str) -> None:
        """Each text is parsed once, in time that goes by the words in it; pictures and fonts within it are one."""
        if text in self._counted:
            return
        self._counted.add(text)
        self._marks += len(_WORD.sub("", text))
        if self._marks > MOST_MARKS:
            raise ArtworkError(self._document.where(element), "too much style in the drawing",
                               allowed=f"{MOST_MARKS} characters other than letters and digits", remedy="simplify it")

    def _declared(self, element: Element) -> dict[str, str]:
        """Values by name, the strongest last: attributes, sheets, the style attribute, what is !important."""
        if element in self._known:
            return self._known[element]
        declared = {name: value for name, value in element.attrib.items() if name in _ATTRIBUTES}
        sheet = self._sheet.get(element, ())
        own = self._own(element, element.attrib["style"]) if "style" in element.attrib else ()
        worked_out = {name: value for name, value in declared.items() if self._is_worked_out(element, name, value)}
        unread = {name: value for name, value in declared.items() if not _valid(name, value)}
        shown, lower = dict(worked_out), list[dict[str, str]]()
        for important in (False, True):
            for layer, declarations in enumerate((sheet, own)):
                lower += [] if important else [dict(declared)]
                below = lower[layer]
                for name, value, strong in declarations:
                    if strong is None:
                        unread.setdefault(name, value)
                        continue
                    if made := self._is_worked_out(element, name, value):
                        worked_out.setdefault(name, value)
                    if strong == important and value.lower() == "revert-layer":  # as if this layer said nothing of it
                        for values in (declared, shown):
                            values.pop(name, None)
                            values |= {name: below[name]} if name in below else {}
                        if worked_out.get(name) != below.get(name):
                            worked_out.pop(name, None)
                    elif strong == important:
                        (declared if _valid(name, value) else unread)[name] = value
                        if made or _valid(name, value):
                            shown[name] = value
        for name, value in worked_out.items():
            if declared.get(name, value) == value:  # no plain colour beside it, for who cannot read it
                self._refuse(element, name, value)
            if _MIXED.search(shown[name]):
                self._refuse(element, name, shown[name])
        slips = {name: unread[name] for name in _PAINTS if unread.get(name, "").strip()
                 and declared.get(name) in (None, unread[name])}
        others = {name: text for name, text in unread.items() if name not in _PAINTS
                  and text.strip().lower() not in _NOTHING and declared.get(name, element.get(name)) in (None, text)}
        self._slips[element], self._unread[element], self._known[element] = slips, others, declared
        return declared

    def _is_worked_out(self, element: Element, name: str, value: str) -> bool:
        """Whether a value is a colour that is worked out as a page is shown, such as color-mix().

        Raises ArtworkError for var(), calc() and others that have no one meaning here.
        """
        if ("(" in value and _FUNCTION.search(value)) or (name in _LENGTHS and _BY_FONT.search(value)):
            self._refuse(element, name, value)
        return "(" in value and _COLOUR.search(value) is not None and _value(name, value) is _INVALID

    def _refuse(self, element: Element, name: str, value: str) -> NoReturn:
        raise ArtworkError(self._document.where(element),
                           f"its {name} is {value!r}, a value to be worked out by a browser", allowed="plain values",
                           remedy="write the value itself")


def _matched(matcher: cssselect2.Matcher, root: Element) -> dict[Element, list[Declaration]]:
    """What the rules say of each element within a root that they say anything of."""
    matches = ((one.etree_element, matcher.match(one))
               for one in cssselect2.ElementWrapper.from_xml_root(root).iter_subtree())
    return {element: [d for _, _, pseudo, declarations in found if pseudo is None for d in declarations]
            for element, found in matches if found}


def _stripped(tokens: list[Any]) -> list[Any]:
    """Without blanks at both ends."""
    inked = [k for k, token in enumerate(tokens) if token.type not in ("whitespace", "comment")]
    return tokens[inked[0]: inked[-1] + 1] if inked else []


def _split(tokens: Iterable[Any], at: str) -> list[list[Any]]:
    """The parts of a list, such as selectors at their commas."""
    parts: list[list[Any]] = [[]]
    for token in tokens:
        if token == at:
            parts.append([])
        else:
            parts[-1].append(token)
    return parts


def _valid(name: str, text: str) -> bool:
    return text.strip().lower() in ("inherit", "initial", "unset", "revert") or _value(name, text) is not _INVALID


def _computed(style: Style, parent: Style) -> Style:
    """Font size in px, and currentColor of the color property itself, which do not wait until painting."""
    size = style["font-size"]
    if isinstance(size, Length):
        relative = size.unit in ("%", "em")
        before = parent["font-size"] if relative else 16.0
        style["font-size"] = size.px(whole=before, font_size=before) if relative or size.unit == "rem" else (
            size.value * PX_PER[size.unit]
        )
    if style["color"] == "currentcolor":
        style["color"] = parent["color"]
    return style
