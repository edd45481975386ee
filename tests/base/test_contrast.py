"""Contrast and colour difference against the published definitions and test pairs."""

import pytest

from pathgen.base.contrast import ciede2000, colour_difference, contrast_ratio, lab, relative_luminance

# Sharma, Wu & Dalal, Color Research & Application 30 (2005), Table 1: (L a b), (L a b), CIEDE2000. From memory;
# a pair remembered wrongly would not come out to four decimals by the formula.
PAIRS = [
    ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
    ((50.0, 3.1571, -77.2803), (50.0, 0.0, -82.7485), 2.8615),
    ((50.0, 2.8361, -74.0200), (50.0, 0.0, -82.7485), 3.4412),
    ((50.0, -1.3802, -84.2814), (50.0, 0.0, -82.7485), 1.0000),
    ((50.0, -1.1848, -84.8006), (50.0, 0.0, -82.7485), 1.0000),
    ((50.0, -0.9009, -85.5211), (50.0, 0.0, -82.7485), 1.0000),
    ((50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
    ((50.0, -1.0, 2.0), (50.0, 0.0, 0.0), 2.3669),
    ((50.0, 2.4900, -0.0010), (50.0, -2.4900, 0.0009), 7.1792),
    ((50.0, 2.4900, -0.0010), (50.0, -2.4900, 0.0010), 7.1792),
    ((50.0, 2.4900, -0.0010), (50.0, -2.4900, 0.0011), 7.2195),
    ((50.0, 2.4900, -0.0010), (50.0, -2.4900, 0.0012), 7.2195),
    ((50.0, -0.0010, 2.4900), (50.0, 0.0009, -2.4900), 4.8045),
    ((50.0, -0.0010, 2.4900), (50.0, 0.0010, -2.4900), 4.8045),
    ((50.0, -0.0010, 2.4900), (50.0, 0.0011, -2.4900), 4.7461),
    ((50.0, 2.5, 0.0), (50.0, 0.0, -2.5), 4.3065),
    ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
    ((50.0, 2.5, 0.0), (61.0, -5.0, 29.0), 22.8977),
    ((50.0, 2.5, 0.0), (56.0, -27.0, -3.0), 31.9030),
    ((50.0, 2.5, 0.0), (58.0, 24.0, 15.0), 19.4535),
    ((50.0, 2.5, 0.0), (50.0, 3.1736, 0.5854), 1.0000),
    ((50.0, 2.5, 0.0), (50.0, 3.2972, 0.0), 1.0000),
    ((50.0, 2.5, 0.0), (50.0, 1.8634, 0.5757), 1.0000),
    ((50.0, 2.5, 0.0), (50.0, 3.2592, 0.3350), 1.0000),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((63.0109, -31.0961, -5.8663), (62.8187, -29.7946, -4.0864), 1.2630),
    ((61.2901, 3.7196, -5.3901), (61.4292, 2.2480, -4.9620), 1.8731),
    ((35.0831, -44.1164, 3.7933), (35.0232, -40.0716, 1.5901), 1.8645),
    ((22.7233, 20.0904, -46.6940), (23.0331, 14.9730, -42.5619), 2.0373),
    ((36.4612, 47.8580, 18.3852), (36.2715, 50.5065, 21.2231), 1.4146),
    ((90.8027, -2.0831, 1.4410), (91.1528, -1.6435, 0.0447), 1.4441),
    ((90.9257, -0.5406, -0.9208), (88.6381, -0.8985, -0.7239), 1.5381),
    ((6.7747, -0.2908, -2.4247), (5.8714, -0.0985, -2.2286), 0.6377),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
]


@pytest.mark.parametrize(("one", "other", "difference"), PAIRS)
def test_published_pairs(one, other, difference):
    assert ciede2000(one, other) == pytest.approx(difference, abs=5e-5)
    assert ciede2000(other, one) == pytest.approx(difference, abs=5e-5)


def test_luminance_by_the_definition():
    # WCAG 2.2, "relative luminance": 0 for darkest black, 1 for lightest white; the three weights
    assert relative_luminance("#000000") == 0.0
    assert relative_luminance("#ffffff") == pytest.approx(1.0)
    assert relative_luminance("#ff0000") == pytest.approx(0.2126)
    assert relative_luminance("#00ff00") == pytest.approx(0.7152)
    assert relative_luminance("#0000ff") == pytest.approx(0.0722)


def test_contrast_of_known_greys():
    # #767676 on white is the darkest grey pair that just passes 4.5:1, #949494 that for 3:1 (W3C's techniques; M)
    assert contrast_ratio("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast_ratio("#949494", "#ffffff") == pytest.approx(3.03, abs=0.005)
    assert contrast_ratio("#ffffff", "#949494") == contrast_ratio("#949494", "#ffffff")
    assert contrast_ratio("#3a2a1c", "#3a2a1c") == 1.0


def test_lab_of_known_colours():
    # CIE 1976, sRGB primaries under D65, in common tables (M)
    assert lab("#ffffff") == pytest.approx((100.0, 0.0, 0.0), abs=0.02)
    assert lab("#ff0000") == pytest.approx((53.24, 80.09, 67.20), abs=0.02)
    assert lab("#0000ff") == pytest.approx((32.30, 79.19, -107.86), abs=0.02)
    assert colour_difference("#ffffff", "#000000") == pytest.approx(100.0, abs=1e-3)
