"""Common slips of the file's syntax are answered with the line and a plain remedy."""

import pytest

from pathgen import JobError, load_job

SLIPS = {
    "nut_width = 5,5": "decimal point",
    "nut_width = 5,5  # as measured": "decimal point",
    "nut_width = 1/4": "quotes round a fraction",
    "nut_width = 1 11/16": "quotes round a fraction",
    "nut_width = 43 mm": "quotes round a length",
    'nut_width = 1.7"': "quotes round a length",
    "at = [5 mm, 3]": "quotes round a length",
    "title = “Fern”": "straight quotes",
    'title = "Fern': "end the text",
    "nut_width = .5": "before the decimal point",
    "nut_width = 5.": "after the decimal point",
    "nut_width = 06": "without 0 before",
    "left_handed = True": "true or false",
    "left_handed = yes": "true or false",
    "wood_colour = #3b2a20": "quotes round a colour",
    'artwork = "C:\\art\\fern.svg"': "write /",
    "// the board": "comment with #",
    "nut_width = 43 // edge to edge": "comment with #",
    "nut_width: 43": "write = between",
    "fill = resin": "quotes round words",
    "nut_width =": "a value after =",
    "nut_width": "key = value",
    "nut width = 43": "as one word",
    "[stock": "as many brackets",
    "[[cutter]": "as many brackets",
    "colours = [\"#112233\",": "close what is opened",
}


@pytest.mark.parametrize("line", SLIPS)
def test_the_line_and_what_to_do(tmp_path, line):
    path = tmp_path / "job.toml"
    path.write_text(f"# one\n[board]\nfrets = 20\n{line}\n")
    with pytest.raises(JobError) as refused:
        load_job(path)
    assert SLIPS[line] in refused.value.remedy
    assert refused.value.where == "job.toml, line 4"
    assert line[:20] in refused.value.problem


def test_written_twice(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text("[board]\nfrets = 20\nfrets = 22\n")
    with pytest.raises(JobError, match=r"job\.toml, line 3: not TOML: frets = 22: it is there already: write it once"):
        load_job(path)
