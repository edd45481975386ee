"""What hangs over a drawing's page is cut off, as in a browser, and said."""

import pytest

import pathgen
from tests import small_board

PAGE = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
PX = 25.4 / 96  # P: CSS Values and Units 4, section 6.2


def read(folder, inside, **options):
    path = folder / "art.svg"
    path.write_text(f"{PAGE}{inside}</svg>")
    return pathgen.read_artwork(path, **options)


def test_a_drawing_without_a_page_is_as_large_as_all_that_it_paints_with_the_origin(tmp_path):
    (tmp_path / "art.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg"><path d="M-10 -4h30v10h-30z" '
                                      'stroke="#225577" stroke-width="2"/><path d="M2 0h1v1h-1z"/></svg>')
    art = pathgen.read_artwork(tmp_path / "art.svg")
    assert art.page == pytest.approx((32 * PX, 12 * PX))
    assert art.corner == (0, 0)
    assert not art.physical
    stroked = next(r.polygon for r in art.regions if r.colour == "#225577")
    assert stroked.bounds == pytest.approx((0, 0, 32 * PX, 12 * PX))


@pytest.mark.parametrize(("inside", "said"), [
    ('<rect x="30" y="5" width="30" height="10" fill="#225577"/>', "it hangs 20.0 mm over"),
    ('<g transform="translate(-8 0)"><circle id="moon" cx="5" cy="15" r="10" fill="#225577"/></g>',
     "it hangs 13.0 mm over"),
    ('<path d="M5,5 H60" stroke="#225577" stroke-width="2" fill="none"/>', "it hangs 20.0 mm over"),
    ('<defs><clipPath id="c"><rect x="0" y="0" width="48" height="30"/></clipPath></defs>'
     '<rect x="30" y="5" width="30" height="10" fill="#225577" clip-path="url(#c)"/>', "it hangs 8.0 mm over"),
    ('<g fill="#225577"><rect x="-3" y="5" width="30" height="10"/><rect x="2" y="20" width="5" height="25"/></g>',
     "it hangs 15.0 mm over the page's edge, as does another"),
])
def test_what_hangs_over_the_page_is_said(tmp_path, inside, said):
    (left,) = read(tmp_path, inside).left_out
    assert said in left.reason
    assert "line 1" in left.id


@pytest.mark.parametrize("inside", [
    '<rect width="40" height="30" fill="#225577"/>',
    '<rect x="0.02" y="0.02" width="39.96" height="29.96" fill="none" stroke="#225577" stroke-width="0.1"/>',
    '<defs><clipPath id="c"><rect x="0" y="0" width="38" height="30"/></clipPath></defs>'
    '<rect x="30" y="5" width="30" height="10" fill="#225577" clip-path="url(#c)"/>',
    '<path d="M15,-0.03 V20" stroke="#225577" stroke-width="4" fill="none"/>',  # it was "0.0 mm over"
    '<svg x="5" y="5" width="10" height="10"><rect width="90" height="90" fill="#225577"/></svg>',
])
def test_what_lies_on_the_page_is_not(tmp_path, inside):
    assert read(tmp_path, inside).left_out == ()


@pytest.mark.parametrize(("seen", "told"), [("visible", 1), ("hidden", 0)])
def test_a_picture_that_is_not_seen_is_not_missed(tmp_path, seen, told):
    """P: SVG 1.1, section 11.5: what is hidden is not painted."""
    picture = f'<image href="moth.png" width="3" height="3" visibility="{seen}"/><path d="M5 5h3v3z"/>'
    assert len(read(tmp_path, picture, missing="report").left_out) == told


def test_a_background_may_hang_over(tmp_path):
    inside = '<rect x="-5" y="-5" width="60" height="60" fill="#ffffff"/><rect x="5" y="5" width="3" height="3"/>'
    assert read(tmp_path, inside, white_is_background=True).left_out == ()
    assert len(read(tmp_path, inside).left_out) == 1


def test_it_is_in_the_report_of_an_inlay_and_of_an_outline(tmp_path):
    art = small_board.ART.replace('x="24" y="7" width="12"', 'x="34" y="7" width="12"')
    report = small_board.built(tmp_path, art=art, resolution=0.4).report
    (words,) = report["left_out"]
    assert words.startswith("art.svg: part of ")
    assert "it hangs 6.0 mm over the page's edge" in words
    (tmp_path / "plate.svg").write_text(f'{PAGE}<rect x="-6" y="2" width="40" height="26" fill="#225577"/></svg>')
    (tmp_path / "plate.toml").write_text(
        '[plate]\nthickness = 5\nartwork = "plate.svg"\nface = false\n[stock]\nlength = 70\nwidth = 70\n'
        'thickness = 5\nmargin_nut = 15\n[[cutter]]\nname = "flat"\nshape = "flat-end"\ndiameter = 3\nspeed = 16000\n'
        'feed = 1000\nplunge = 300\nstepdown = 1.5\nflute_length = 12\n[outline]\ncutter = "flat"\n')
    assert "it hangs 6.0 mm over" in pathgen.build(pathgen.load_job(tmp_path / "plate.toml")).report["left_out"][0]
