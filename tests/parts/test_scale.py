"""Where frets go, against published tables and the frequencies of notes."""

import numpy as np
import pytest

from pathgen import PathgenError, fret_distances

# P: worked table for a 25 in scale, bridge to fret 1..10 in inches, "Guitar bits 'n' bobs".
PUBLISHED_25_INCH = [23.597, 22.272, 21.022, 19.843, 18.729, 17.678, 16.685, 15.749, 14.865, 14.031]

# Open-string frequencies in Hz, CRC Handbook of Chemistry and Physics (A = 440 Hz, ISO 16:1975).
OPEN_STRINGS = {"E2": 82.4069, "A2": 110.0, "D3": 146.832, "G3": 195.998, "B3": 246.942, "E4": 329.628}


def test_published_fret_table():
    assert 25.0 - fret_distances(25.0, 10) == pytest.approx(PUBLISHED_25_INCH, abs=0.0006)


def test_divisor_of_the_trade():
    divisor = 650.0 / fret_distances(650.0, 1)[0]
    assert divisor == pytest.approx(17.817, abs=5e-4)  # P: "Building Electric Guitars", fret constant
    assert divisor == pytest.approx(1 / (1 - 2 ** (-1 / 12)), rel=1e-12)  # derived


def test_distances_to_a_micrometre():
    # derived: 650 mm and 25.5 in, nut to fret
    got = fret_distances(650.0, 24)
    assert got[[0, 4, 6, 11, 23]] == pytest.approx([36.4817, 163.0502, 216.1770, 325.0, 487.5], abs=6e-5)
    inches = fret_distances(25.5, 24)
    assert inches[[0, 4, 6, 11, 23]] == pytest.approx([1.4312, 6.3966, 8.4808, 12.75, 19.125], abs=6e-5)


def test_the_octave_is_exact_and_old_rules_are_not():
    got = fret_distances(650.0, 12)
    assert got[11] == pytest.approx(325.0, abs=1e-12)
    # stepwise by 17.817 is off by 0.002 mm at fret 12 (derived); the rule of 18 (Galilei, from memory) by far more
    assert abs(650.0 * (1 - (1 - 1 / 17.817) ** 12) - got[11]) > 0.001
    assert abs(650.0 * (1 - (17 / 18) ** 12) - got[11]) > 1.0


def test_fretted_notes_have_the_frequencies_of_the_scale():
    length = 648.0
    at = fret_distances(length, 5)
    # the fifth fret of one string is the next open string; B3 lies at the fourth fret of G3
    for low, high, fret in [("E2", "A2", 5), ("A2", "D3", 5), ("D3", "G3", 5), ("G3", "B3", 4), ("B3", "E4", 5)]:
        note = OPEN_STRINGS[low] * length / (length - at[fret - 1])
        assert note == pytest.approx(OPEN_STRINGS[high], rel=5e-6)


def test_other_divisions():
    assert fret_distances(600.0, 19, divisions=19)[-1] == pytest.approx(300.0, abs=1e-12)


@pytest.mark.parametrize(
    "bad", [(-650.0, 12, 12), (float("nan"), 12, 12), (np.inf, 12, 12), (650.0, 0, 12), (650.0, 5, 0)]
)
def test_bad_numbers_are_refused(bad):
    with pytest.raises(PathgenError):
        fret_distances(*bad)
