"""The one way out for texts. Characters by the Unicode standard: Cc, Cf, Zl, Zp and halves of pairs do not print."""

import io
import json
import re
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathgen.app.terminal import say, say_json
from pathgen.base.errors import PathgenError
from pathgen.base.plain import in_ascii, in_json, one_line
from pathgen.programs.write import comment, wrapped
from pathgen.verify.findings import Finding
from pathgen.work.clamping import slug

NASTY = "a\x1b]0;title\x07\x9b31m\u2028b\u2029\u202ec\ud800\x85\r\nd"
EVERY = st.text(st.characters(codec=None, categories=None), max_size=60)


def test_nothing_that_a_terminal_obeys_goes_out():
    shown = io.StringIO()
    say(NASTY, shown)
    assert shown.getvalue() == "a]0;title31mbcd\n".replace("cd", "c\nd")
    assert one_line(NASTY) == "a]0;title31m b c   d"


class _Terminal(io.StringIO):
    def isatty(self):
        return True


def test_on_a_terminal_no_word_of_a_sentence_is_broken(monkeypatch):
    monkeypatch.setenv("COLUMNS", "30")
    monkeypatch.setenv("NO_COLOR", "1")
    words = " the cutters open it all, but not where a/path/that-is-longer-than-the-terminal/is stands."
    for stream, alike in ((_Terminal(), False), (io.StringIO(), True)):
        say(words, stream, mark="note:")
        lines = stream.getvalue().splitlines()
        assert (len(lines) == 1) == alike
        assert " ".join(lines) == f"note:{words}"
        assert alike or all(len(line) <= 30 or " " not in line for line in lines)
    rows = _Terminal()
    say("01-pocket-1-flat.nc     0.4 m     0.5 min", rows)
    assert rows.getvalue() == "01-pocket-1-flat.nc     0.4 m     0.5 min\n"  # a table's row stays one
    monkeypatch.setattr(sys, "stdout", _Terminal())
    say_json({"a": words})
    assert json.loads(sys.stdout.getvalue()) == {"a": words}
    assert words in sys.stdout.getvalue()


@given(EVERY)
def test_errors_and_findings_are_one_line(text):
    error = str(PathgenError(text, text, allowed=text, remedy=text))
    finding = str(Finding(code="x", severity="warn", where=text, got=text, allowed=text, remedy=text))
    for words in (error, finding):
        assert len(words.splitlines()) == 1
        assert words.replace("\N{NO-BREAK SPACE}", "").isprintable()


@given(EVERY)
def test_json_is_the_same_and_prints(text):
    written = in_json(json.dumps({"a": text}, ensure_ascii=False))
    assert json.loads(written) == {"a": text}
    assert written.isprintable()


# P: RS274/NGC (NISTIR 6556), 3.3.4: a comment that begins with MSG, is a message. The others are derived: controllers
# that know more such words will know them in the same place.
ACTIVE = ["MSG,", "SHOUT,", "PRINT,", "LOG,", "LOGSTART", "PROBESTOP x"]


@given(st.sampled_from(ACTIVE), st.sampled_from(["", "job: ", "cutter ", "x" * 71 + " ", "- Fit "]), EVERY)
def test_no_comment_begins_with_a_users_words(word, before, after):
    for line in map(comment, wrapped([f"{before}{word} {after}", f"\ufb01{word}", f"( {word}"])):
        inside = line[1:-1]
        assert len(line) <= 256
        assert "".join(inside.split()).upper().startswith(("..", "JOB:", "CUTTER", "-", "FIMSG"))
        assert not any("".join(inside.split()).upper().startswith(w.split(" ")[0]) for w in ACTIVE)


def test_a_title_that_grows_is_wrapped_after_it_grew():
    """U+FDFA is one character, eighteen and three blanks in Arabic when taken apart (Unicode, NFKD); U+33A7 is m/s."""
    lines = [comment(text) for text in wrapped(["job: " + "\u33a7" * 200])]
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_json_stays_json_where_the_output_has_few_characters(monkeypatch, encoding):
    """Of other text such an output shows \\xe9 and \\U0001f600, as command lines are set up: JSON knows neither."""
    shown = io.TextIOWrapper(io.BytesIO(), encoding=encoding, errors="backslashreplace")
    monkeypatch.setattr(sys, "stdout", shown)
    value = {"a": "\xe9 \u2192 \U0001f600"}
    words = in_json(json.dumps(value, indent=2, ensure_ascii=False))
    say_json(value)
    told = shown.buffer.getvalue().decode(encoding)
    assert json.loads(told) == value
    assert (told.strip() == words) == (encoding == "utf-8")


def test_a_comment_keeps_the_pause_of_a_semicolon_and_marks_the_keys_of_a_job():
    """As commas a setter stood where tape holds the work, and "slots width" was no key any more."""
    assert comment("- a setter standing there; where tape holds the work, on tape") == \
        "(- a setter standing there - where tape holds the work, on tape)"
    assert comment('- write [stock] thickness, or [[cutter]] "slot" (0.6 mm)') == \
        '(- write "stock" thickness, or "cutter" "slot" - 0.6 mm)'


def test_an_aside_in_brackets_stays_one():
    """Between commas what the display shows read as one more demand, and the cutter as two."""
    assert comment("- Fit flat (flat-end, 2 mm) and set Z 0") == "(- Fit flat - flat-end, 2 mm - and set Z 0)"
    assert comment("- within 0.02 mm (Z 8.1 mm as the job says; what it was off comes from the blank).") == \
        "(- within 0.02 mm - Z 8.1 mm as the job says, what it was off comes from the blank.)"


@pytest.mark.parametrize(("name", "shown", "in_file"), [
    ("Jörg Müßiggänger", "Joerg Muessiggaenger", "joerg-muessiggaenger"), ("Überlänge", "Ueberlaenge", "ueberlaenge"),
    ("für Äste", "fuer Aeste", "fuer-aeste"), ("A\u0308ste", "Aeste", "aeste"),
    ("Ørsted, Łódź", "Oersted, Lodz", "oersted-lodz"), ("Gaëlle 3×2", "Gaelle 3x2", "gaelle-3x2"),
])
def test_letters_are_written_out_alike_in_programs_and_in_their_names(name, shown, in_file):
    """As travel documents do (ICAO Doc 9303, from memory); "Muigganger" and "ste" were nobody's and nothing's names."""
    assert comment(f"job: {name}") == f"(job: {shown})"
    assert slug(name, "cutter") == in_file


def test_no_number_is_parted_from_its_unit_or_axis():
    for before in range(60, 80):
        lines = list(wrapped([f"- {'x' * before} at X 12.5 mm, Y -27.5 mm for 3 min or more"]))
        assert len(lines) > 1
        assert not any(re.search(r"(\d|\b[XYZ])$", line) for line in lines[:-1])
        whole = " ".join(line.removeprefix(".. ") for line in lines)
        assert whole.endswith("at X 12.5 mm, Y -27.5 mm for 3 min or more")


def test_an_aside_before_a_comma_ends_where_it_did():
    """The comma alone stood at its end, as any other: what followed read as part of the aside."""
    assert in_ascii("on a setter (a block of known height), or on a strip") == \
        "on a setter - a block of known height - or on a strip"
    assert in_ascii("a setter (a block), (or two), 3 mm") == "a setter - a block, or two, 3 mm"
    assert in_ascii("a setter (a block) there (or two): so (or so).") == \
        "a setter - a block - there - or two: so - or so."
