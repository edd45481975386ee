"""Programs spoilt on purpose, in many ways, to see how many of them verification notices.

    python -m tests.spoiling JOB.toml [SEED]

builds the job, spoils its programs in each way in turn and prints the share that verification refused.
"""

from __future__ import annotations

import functools
import math
import re
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
import shapely

from pathgen.verify.read import read_program
from pathgen.work.clamping import Clamping
from pathgen.work.operations import Outline

SURFACE_ROUGH, SURFACE_FINISH, RESURFACE = "surface-rough", "surface-finish", "resurface"
POCKET, SLOTS, OUTLINE = "pocket", "slots", "outline"

Texts = dict[str, str]


@dataclass
class Moves:
    """A program taken apart into moves that can be changed, and put together again."""

    head: list[str]
    kind: np.ndarray
    points: np.ndarray
    feed: np.ndarray
    unit: float

    @classmethod
    def of(cls, text: str) -> Moves:
        read = read_program(text)
        lines = text.splitlines()
        head = lines[: int(read.line[0])]  # as far as the first retract, which has no X and Y yet
        head += [line for line in lines[len(head) :] if line.startswith(("M3", "G4"))][:2]
        unit = 25.4 if read.units == {"in"} else 1.0
        return cls(head, (read.kind[1:] > 0).astype(np.int8), read.end[1:].copy(), read.feed[1:].copy(), unit)

    def text(self) -> str:
        rows = [
            f"G{k} X{x:.5f} Y{y:.5f} Z{z:.5f}" + (f" F{f:.3f}" if k else "")
            for k, (x, y, z), f in zip(self.kind, self.points / self.unit, self.feed / self.unit, strict=True)
        ]
        return "\n".join([*self.head, *rows, "M5", "M30", ""])

    def keep(self, which: np.ndarray) -> Moves:
        self.kind, self.points, self.feed = self.kind[which], self.points[which], self.feed[which]
        return self

    def leave_out(self, some: np.ndarray | int) -> Moves:
        return self.keep(~np.isin(np.arange(len(self.kind)), some))

    @property
    def cuts(self) -> np.ndarray:
        return self.kind > 0

    def runs(self) -> list[np.ndarray]:
        """Indices of each run of feed moves between rapids across; up and down in its own hole it may be quick."""
        index, hops = np.flatnonzero(self.cuts), np.cumsum(self.hops)
        return np.split(index, np.flatnonzero(np.diff(hops[index])) + 1)

    @property
    def hops(self) -> np.ndarray:
        """Rapids that go across."""
        moved = np.diff(self.points[:, :2], axis=0, prepend=np.inf).any(axis=1)
        return (self.kind == 0) & moved

    def passes(self, axis: int = 1) -> list[np.ndarray]:
        """Indices of moves of each long lengthwise pass of the last run."""
        run = self.runs()[-1]
        same = np.flatnonzero(np.diff(self.points[run, axis]) == 0) + 1
        groups = np.split(run[same], np.flatnonzero(np.diff(run[same]) > 1) + 1)
        return [g for g in groups if np.abs(self.points[g[-1], 1 - axis] - self.points[g[0] - 1, 1 - axis]) > 20]


@dataclass
class Case:
    """What a spoiling works on."""

    texts: Texts
    clamping: Clamping
    rng: np.random.Generator
    spoilt: Texts = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.spoilt = dict(self.texts)

    def name(self, operation: str, index: int = 0) -> str:
        return [s.file_name for s in self.clamping.steps if s.operation.name == operation][index]

    def moves(self, operation: str, index: int = 0) -> Moves:
        return Moves.of(self.texts[self.name(operation, index)])

    def put(self, operation: str, moves: Moves | str, index: int = 0) -> None:
        self.spoilt[self.name(operation, index)] = moves if isinstance(moves, str) else moves.text()

    def sub(self, operation: str, pattern: str, new: str, *, count: int = 1, index: int = 0) -> None:
        text = self.texts[self.name(operation, index)]
        self.put(operation, re.sub(pattern, new, text, count=count, flags=re.MULTILINE), index)

    def half_way(self, operation: str, line: str) -> None:
        lines = self.texts[self.name(operation)].splitlines()
        self.put(operation, "\n".join([*lines[: len(lines) // 2], line, *lines[len(lines) // 2 :], ""]))

    @property
    def across(self) -> int:
        """Index of the machine axis across the board."""
        return 1 if self.clamping.setup.along == "x" else 0

    @staticmethod
    def slots(moves: Moves) -> list[np.ndarray]:
        """Feed moves of each slot, without those that only let the cutter down beside the board."""
        low = moves.points[moves.cuts, 2].min() + 1.0
        return [run for run in moves.runs() if moves.points[run, 2].min() < low]

    def slot(self, moves: Moves) -> np.ndarray:
        """Feed moves of one slot, chosen by chance."""
        runs = self.slots(moves)
        return runs[int(self.rng.integers(len(runs)))]

    def finishing_pass(self, moves: Moves) -> np.ndarray:
        """Moves of one pass amid the others, chosen by chance."""
        passes = moves.passes(self.across)
        return passes[int(self.rng.integers(2, len(passes) - 2))]


Spoiling = Callable[[Case], None]
SPOILINGS: dict[str, Spoiling] = {}


def _tab_height(case):
    """The height of the tabs in the program, mm."""
    cut = case.clamping.feature(Outline)
    return cut.tab_height - case.clamping.z_zero if cut else 0.0


def spoiling(call: Spoiling) -> Spoiling:
    SPOILINGS[call.__name__.replace("_", " ")] = call
    return call


def moving(operation: str | None = None, index: int = 0) -> Callable[[Callable[[Case, Moves], object]], Spoiling]:
    """For what changes the moves of one program, or of every program where none is named."""

    def spoiling_of(change: Callable[[Case, Moves], object]) -> Spoiling:
        @functools.wraps(change)
        def call(case: Case) -> None:
            for name in [case.name(operation, index)] if operation else case.texts:
                moves = Moves.of(case.texts[name])
                change(case, moves)
                case.spoilt[name] = moves.text()

        return spoiling(call)

    return spoiling_of


def _shifted(operation: str, axis: int, by: float, *, cuts_only: bool = True) -> Spoiling:
    """Moved by so much along the board (0), across it (1) or up (2)."""

    def call(case: Case) -> None:
        moves = case.moves(operation)
        which = moves.cuts if cuts_only else slice(None)
        board_axis = {0: 1 - case.across, 1: case.across, 2: 2}[axis]
        moves.points[which, board_axis] += by
        case.put(operation, moves)

    return call


for _name, _operation, _axis, _by in (
    ("rough 0.5 too low", SURFACE_ROUGH, 2, -0.5),
    ("finish 0.005 too low", SURFACE_FINISH, 2, -0.005),
    ("finish 0.005 too high", SURFACE_FINISH, 2, 0.005),
    ("resurface 0.004 too low", RESURFACE, 2, -0.004),
    ("resurface 0.02 too high", RESURFACE, 2, 0.02),
    ("pocket 0.03 too deep", POCKET, 2, -0.03),
    ("pocket 0.05 too shallow", POCKET, 2, 0.05),
    ("slots 0.02 too deep", SLOTS, 2, -0.02),
    ("slots 0.02 too shallow", SLOTS, 2, 0.02),
    ("outline 0.5 into the bed", OUTLINE, 2, -0.5),
    ("outline not through", OUTLINE, 2, 0.5),
):
    SPOILINGS[_name] = _shifted(_operation, _axis, _by)


@moving(POCKET, 1)
def small_cutter_too_shallow(case: Case, moves: Moves) -> None:
    moves.points[moves.cuts, 2] += 0.05


for _name, _operation, _axis, _by in (
    ("pocket 0.1 aside along the board", POCKET, 0, 0.1),
    ("pocket 0.1 aside across the board", POCKET, 1, 0.1),
    ("slots 0.02 aside along the board", SLOTS, 0, 0.02),
    ("slots 1 aside across the board", SLOTS, 1, 1.5),
    ("outline 0.03 aside along the board", OUTLINE, 0, 0.03),
    ("outline 0.03 aside across the board", OUTLINE, 1, 0.03),
    ("finish 2 aside along the board", SURFACE_FINISH, 0, 2.0),
    ("finish 0.1 aside across the board", SURFACE_FINISH, 1, 0.1),
    ("resurface 0.1 aside across the board", RESURFACE, 1, 0.1),
):
    SPOILINGS[_name] = _shifted(_operation, _axis, _by, cuts_only=False)


@moving(SURFACE_FINISH)
def one_finishing_pass_left_out(case: Case, moves: Moves) -> None:
    moves.leave_out(case.finishing_pass(moves))


@moving(SURFACE_FINISH)
def one_finishing_pass_lower(case: Case, moves: Moves) -> None:
    moves.points[case.finishing_pass(moves), 2] -= 0.01


@moving(SURFACE_FINISH)
def one_finishing_pass_higher(case: Case, moves: Moves) -> None:
    moves.points[case.finishing_pass(moves), 2] += 0.02


@moving(SURFACE_FINISH)
def one_finishing_pass_aside(case: Case, moves: Moves) -> None:
    chosen = case.finishing_pass(moves)
    moves.points[np.concatenate([[chosen[0] - 1], chosen]), case.across] += 0.15


@spoiling
def every_second_finishing_pass_left_out(case: Case) -> None:
    for operation in (SURFACE_FINISH, RESURFACE):
        moves = case.moves(operation)
        case.put(operation, moves.leave_out(np.concatenate(moves.passes(case.across)[1::2])))


@moving(RESURFACE)
def one_resurfacing_point_moved(case: Case, moves: Moves) -> None:
    run = moves.runs()[-1]
    moves.points[run[int(case.rng.integers(5, len(run) - 5))], 2] += 0.001


@moving(RESURFACE)
def lifted_resurfacing_left_out(case: Case, moves: Moves) -> None:
    moves.leave_out(moves.runs()[0])


@moving(RESURFACE)
def last_resurfacing_left_out(case: Case, moves: Moves) -> None:
    moves.leave_out(moves.runs()[-1])


@moving(POCKET)
def a_run_of_a_pocket_left_out(case: Case, moves: Moves) -> None:
    moves.leave_out(moves.runs()[-1])


@moving(POCKET, 1)
def the_small_cutter_left_out_of_a_pocket(case: Case, moves: Moves) -> None:
    runs = moves.runs()
    which = np.zeros(len(moves.kind), bool)
    which[: runs[0][-1] + 2] = True
    moves.keep(which)


@moving(POCKET)
def upper_layers_of_a_pocket_left_out(case: Case, moves: Moves) -> None:
    depth = case.clamping.board.surface.thickness - moves.points[:, 2] - case.clamping.z_zero
    moves.keep(~moves.cuts | (depth > 0.8 * case.clamping.inlays[0].depth))


@moving(POCKET)
def one_stray_move_in_a_pocket(case: Case, moves: Moves) -> None:
    run = moves.runs()[-1]
    point = case.clamping.to_board(moves.points[[run[len(run) // 2]]])
    edge = shapely.shortest_line(shapely.Point(point[0, :2]), case.clamping.inlays[0].area.boundary)
    point[0, :2] = shapely.get_coordinates(edge)[1]
    moves.points[run[len(run) // 2]] = case.clamping.to_machine(point)[0]


@moving(POCKET)
def a_pocket_mirrored(case: Case, moves: Moves) -> None:
    middle = moves.points[moves.cuts, 1 - case.across].mean()
    moves.points[:, 1 - case.across] = 2 * middle - moves.points[:, 1 - case.across]


@moving(POCKET)
def a_pocket_a_hundredth_larger(case: Case, moves: Moves) -> None:
    centre = moves.points[moves.cuts].mean(axis=0) * [1, 1, 0]
    moves.points = (moves.points - centre) * [1.02, 1.02, 1] + centre


@moving(POCKET)
def a_pocket_cut_as_if_the_cutter_were_thinner(case: Case, moves: Moves) -> None:
    """A path for a cutter 0.2 mm thinner runs 0.1 mm nearer to the walls."""
    area = case.clamping.inlays[0].area.boundary
    board = case.clamping.to_board(moves.points)
    points = shapely.points(board[:, :2])
    nearest = shapely.get_coordinates(shapely.shortest_line(points, area)).reshape(-1, 2, 2)[:, 1]
    run = nearest - board[:, :2]
    length = np.linalg.norm(run, axis=1, keepdims=True)
    board[:, :2] += np.where(length > 0.1, run / np.maximum(length, 1e-9) * 0.1, 0.0)
    moves.points = case.clamping.to_machine(board)


@moving(SLOTS)
def one_slot_left_out(case: Case, moves: Moves) -> None:
    moves.leave_out(case.slot(moves))


@moving(SLOTS)
def one_slot_aside(case: Case, moves: Moves) -> None:
    moves.points[case.slot(moves), 1 - case.across] += 0.01


@moving(SLOTS)
def one_slot_deeper(case: Case, moves: Moves) -> None:
    moves.points[case.slot(moves), 2] -= 0.02


@moving(SLOTS)
def one_slot_crooked(case: Case, moves: Moves) -> None:
    slot = case.slot(moves)
    moves.points[slot, 1 - case.across] += 0.001 * moves.points[slot, case.across]


@moving(SLOTS)
def slots_that_stop_short(case: Case, moves: Moves) -> None:
    cuts, axis = moves.cuts, case.across
    moves.points[cuts, axis] = np.clip(moves.points[cuts, axis], -20.0, 20.0)


@moving(SLOTS)
def slot_layers_left_out(case: Case, moves: Moves) -> None:
    slot = case.slot(moves)
    moves.leave_out(slot[1 : 2 * len(slot) // 3])


@moving(SLOTS)
def the_upper_layers_of_a_slot_a_third_of_a_millimetre_short(case: Case, moves: Moves) -> None:
    """So that its last layer takes the whole depth there at once."""
    slot = case.slot(moves)
    whole = np.arange(slot[0] - 1, slot[-1] + 1)
    at, z = moves.points[whole, case.across], moves.points[whole, 2]
    end = at.max()
    moves.points[whole[(at > end - 0.35) & (z > z[at == end].min())], case.across] = end - 0.35


@moving(SLOTS)
def wood_left_standing_in_a_slot_for_its_last_layer(case: Case, moves: Moves) -> None:
    """A third of a millimetre of it, in the middle of a long move: the layers above are lifted over it."""
    slot, axis = case.slot(moves), case.across
    reach = (0.35 + next(s.cutter.diameter for s in case.clamping.steps if s.operation.name == SLOTS)) / 2
    middle, over = float(np.median(moves.points[slot, axis])) + 1.5, moves.points[slot, 2].max() + 1.0
    layers = [k for k in slot[1:] if moves.kind[k - 1] > 0
              and np.abs(moves.points[[k - 1, k], axis] - middle).min() > reach
              and (moves.points[k - 1, axis] < middle) != (moves.points[k, axis] < middle)]
    for k in reversed(layers[:-1]):
        a, b = moves.points[k - 1], moves.points[k]
        way = math.copysign(reach, b[axis] - a[axis])
        put = np.stack([a + (b - a) * (at - a[axis]) / (b[axis] - a[axis])
                        for at in (middle - way, middle - way, middle + way, middle + way)])
        put[1:3, 2] = over
        moves.points = np.insert(moves.points, [k] * 4, put, axis=0)
        moves.kind, moves.feed = np.insert(moves.kind, [k] * 4, 1), np.insert(
            moves.feed, [k] * 4, [moves.feed[k], moves.feed[k], moves.feed[k], moves.feed[slot].min()])


@moving(SLOTS)
def slots_level_instead_of_curved(case: Case, moves: Moves) -> None:
    for run in moves.runs():
        moves.points[run, 2] = moves.points[run, 2].min()


@moving(OUTLINE)
def an_outline_corner_cut(case: Case, moves: Moves) -> None:
    cuts = np.flatnonzero(moves.cuts)[-int(moves.cuts.sum()) // 4 :]  # the last lap is the one at the wall
    corner = cuts[np.argmax(moves.points[cuts, 1 - case.across])]
    moves.leave_out(corner)


@moving(OUTLINE)
def tabs_left_out(case: Case, moves: Moves) -> None:
    bottom = moves.points[:, 2].min()
    tab = _tab_height(case)
    moves.points[moves.cuts & (np.abs(moves.points[:, 2] - tab) < 1e-3), 2] = bottom


@moving(OUTLINE)
def one_tab_thinner(case: Case, moves: Moves) -> None:
    tab = _tab_height(case)
    at = np.flatnonzero(moves.cuts & (np.abs(moves.points[:, 2] - tab) < 1e-3))
    moves.points[at[-2:], 2] -= 0.3


@moving(OUTLINE)
def tabs_narrower(case: Case, moves: Moves) -> None:
    tab = _tab_height(case)
    on_tab = moves.cuts & (np.abs(moves.points[:, 2] - tab) < 1e-3)
    for first in np.flatnonzero(on_tab & np.roll(on_tab, -1)):
        a, b = moves.points[first].copy(), moves.points[first + 1].copy()
        for near, share in ((first, 0.2), (first + 1, 0.8)):
            old = moves.points[near].copy()
            same = (np.abs(moves.points[:, :2] - old[:2]) < 1e-6).all(axis=1)
            moves.points[same, :2] = (a + (b - a) * share)[:2]


@moving(OUTLINE)
def the_last_lap_of_the_outline_left_out(case: Case, moves: Moves) -> None:
    cuts = np.flatnonzero(moves.cuts)
    moves.leave_out(cuts[len(cuts) // 2 :])


def _replaced(operation: str, pattern: str, new: str) -> Spoiling:
    """The first such words of a program's text left out or exchanged."""
    return lambda case: case.sub(operation, pattern, new)


for _name, _operation, _pattern, _new in (
    ("spindle never started", SLOTS, r"^M3.*\n", ""),
    ("spindle backwards", OUTLINE, r"^M3", "M4"),
    ("spindle at half speed", POCKET, r"S(\d+)", "S5000"),
    ("no retract at the start", SLOTS, r"^G0 Z[\d.-]+\n", ""),
    ("no retract at the end", SLOTS, r"^G0 Z[\d.-]+\nM5", "M5"),
    ("no units", POCKET, r"G2[01] ", ""),
    ("another work offset", SLOTS, "G54", "G55"),
    ("no work offset", SLOTS, " G54", ""),
    ("incremental for absolute", SURFACE_FINISH, "G90", "G91"),
    ("no end", OUTLINE, r"^M30\n", ""),
    ("an exponent", POCKET, r"^X\S+", "X1e2"),
    ("a comment not closed", POCKET, r"\)$", ""),
    ("an unknown word", POCKET, r"^M5$", "M5 Q3"),
    ("a cutter change in the middle", SLOTS, r"^M5$", "M6 T2\nM5"),
    ("the header of another job", SLOTS, r"job fingerprint: \S{16}", "job fingerprint: 0123456789abcdef"),
):
    SPOILINGS[_name] = _replaced(_operation, _pattern, _new)


@spoiling
def no_feed_at_all(case: Case) -> None:
    case.sub(SLOTS, r" ?F[\d.]+", "", count=0)


@moving(POCKET)
def plunges_at_the_cutting_feed(case: Case, moves: Moves) -> None:
    moves.feed[moves.cuts] = moves.feed.max()


@moving(SURFACE_FINISH)
def feeds_three_times_too_fast(case: Case, moves: Moves) -> None:
    moves.feed *= 3


@spoiling
def spindle_stopped_half_way(case: Case) -> None:
    case.half_way(SURFACE_FINISH, "M5")


@spoiling
def spindle_left_running(case: Case) -> None:
    case.sub(POCKET, r"^M5\n", "")
    lines = case.spoilt[case.name(POCKET)].splitlines()
    case.put(POCKET, "\n".join(["%", *lines[:-1], "%"]) + "\n")


@moving(SURFACE_FINISH)
def one_cut_made_a_rapid(case: Case, moves: Moves) -> None:
    passes = moves.passes(case.across)
    moves.kind[passes[len(passes) // 2]] = 0


@moving(POCKET)
def one_plunge_made_a_rapid(case: Case, moves: Moves) -> None:
    run = moves.runs()[0]
    z = moves.points[run, 2]
    moves.kind[run[: int(np.argmax(z < z.min() + 1e-3)) + 1]] = 0  # the way in may be a ramp


@moving(SLOTS)
def a_retract_left_out(case: Case, moves: Moves) -> None:
    low = moves.points[moves.cuts, 2].min() + 1.0
    up = np.flatnonzero((moves.kind == 0) & (np.roll(moves.kind, 1) > 0) & np.roll(moves.hops, -1)
                        & (np.roll(moves.points[:, 2], 1) < low))
    moves.leave_out(up[len(up) // 2])


@moving(POCKET, 1)
def retracts_too_low(case: Case, moves: Moves) -> None:
    rapid = moves.kind == 0
    moves.points[rapid, 2] = np.minimum(
        moves.points[rapid, 2], case.clamping.board.surface.thickness - 1.0 - case.clamping.z_zero
    )


@moving(RESURFACE)
def approach_into_the_fill(case: Case, moves: Moves) -> None:
    near = np.flatnonzero((moves.kind == 0) & (np.roll(moves.kind, -1) > 0))
    for k in near:
        moves.points[k, 2] = moves.points[k + 1, 2] - 0.3


@spoiling
def inches_for_millimetres(case: Case) -> None:
    old, new = ("G21", "G20") if case.clamping.units == "mm" else ("G20", "G21")
    case.sub(POCKET, old, new)


@moving()
def everything_aside(case: Case, moves: Moves) -> None:
    moves.points[:, 0] += 0.5


@moving()
def everything_lower(case: Case, moves: Moves) -> None:
    moves.points[moves.cuts, 2] -= 0.1


@moving()
def zero_on_the_wrong_side_of_the_stock(case: Case, moves: Moves) -> None:
    sign = 1 if case.clamping.setup.z_zero == "stock-top" else -1
    moves.points[:, 2] += sign * case.clamping.stock.thickness


@moving()
def the_board_mirrored(case: Case, moves: Moves) -> None:
    moves.points[:, 1 - case.across] *= -1


@moving()
def a_thousandth_longer(case: Case, moves: Moves) -> None:
    moves.points[:, 1 - case.across] *= 1.001


@spoiling
def a_program_missing(case: Case) -> None:
    names = list(case.spoilt)
    del case.spoilt[names[int(case.rng.integers(len(names)))]]


@spoiling
def a_program_too_many(case: Case) -> None:
    case.spoilt["99-more.nc"] = case.texts[case.name(SLOTS)]


@spoiling
def two_pocket_programs_exchanged(case: Case) -> None:
    case.put(POCKET, case.texts[case.name(POCKET, 1)])
    case.put(POCKET, case.texts[case.name(POCKET)], 1)


@spoiling
def slots_before_the_pockets(case: Case) -> None:
    case.put(POCKET, case.texts[case.name(SLOTS)])
    case.put(SLOTS, case.texts[case.name(POCKET)])


@spoiling
def file_cut_short(case: Case) -> None:
    text = case.texts[case.name(RESURFACE)]
    case.put(RESURFACE, text[: int(len(text) * 0.7)].rsplit("\n", 1)[0] + "\n")


@spoiling
def file_cut_short_but_ended(case: Case) -> None:
    lines = case.texts[case.name(SURFACE_FINISH)].splitlines()
    retract = next(line for line in lines if line.startswith("G0 Z"))
    case.put(SURFACE_FINISH, "\n".join([*lines[: len(lines) * 3 // 4], retract, "M5", "M30"]) + "\n")


@spoiling
def end_too_early(case: Case) -> None:
    case.half_way(SLOTS, "M30")


@spoiling
def a_point_lost_from_a_number(case: Case) -> None:
    lines = case.texts[case.name(SURFACE_FINISH)].splitlines()
    at = [i for i, line in enumerate(lines) if re.match(r"X-?\d+\.\d+", line)]
    lines[at[len(at) // 2]] = lines[at[len(at) // 2]].replace(".", "", 1)
    case.put(SURFACE_FINISH, "\n".join(lines) + "\n")


@spoiling
def a_sign_lost(case: Case) -> None:
    # in a pocket it may make a mere detour through what is to be cut away
    text = case.texts[case.name(SLOTS)]
    at = [m.start(1) for m in re.finditer(r"^X?[\d.]* ?[XY](-)", text, re.MULTILINE)]
    k = at[int(case.rng.integers(len(at)))]
    case.put(SLOTS, text[:k] + text[k + 1 :])


@spoiling
def two_digits_exchanged(case: Case) -> None:
    lines = case.texts[case.name(SURFACE_FINISH)].splitlines()
    at = [i for i, line in enumerate(lines) if re.search(r"Z-?\d\.(\d)(?!\1)\d", line)]
    k = at[len(at) // 2]
    lines[k] = re.sub(r"(Z-?\d\.)(\d)(\d)", r"\1\3\2", lines[k])
    case.put(SURFACE_FINISH, "\n".join(lines) + "\n")


@moving(SURFACE_ROUGH)
def a_clamp_in_the_way(case: Case, moves: Moves) -> None:
    end = moves.points[moves.kind == 0][-1].copy()
    box = case.clamping.setup.keep_out[0]
    middle = np.array([[sum(box.x) / 2, sum(box.y) / 2, box.height - 1.0]])
    moves.points = np.concatenate([moves.points, case.clamping.to_machine(middle), end[None]])
    moves.kind = np.concatenate([moves.kind, [0, 0]])
    moves.feed = np.concatenate([moves.feed, [0.0, 0.0]])


@moving(SLOTS)
def a_rapid_past_the_travel(case: Case, moves: Moves) -> None:
    at = np.flatnonzero(moves.kind == 0)[-1]
    moves.points[at, 0] += 5000.0


@spoiling
def an_arc_without_a_centre(case: Case) -> None:
    case.sub(POCKET, r"^G1 (X\S+ Y\S+)", r"G2 \1")
    if case.spoilt == case.texts:
        case.sub(POCKET, r"^(X\S+ Y\S+)", r"G2 \1")


@spoiling
def an_empty_file(case: Case) -> None:
    case.put(SLOTS, "")


@spoiling
def a_binary_file(case: Case) -> None:
    case.put(SLOTS, "".join(map(chr, case.rng.integers(0, 256, 500))))


@spoiling
def comments_only(case: Case) -> None:
    case.put(SLOTS, "(nothing)\nM30\n")


@spoiling
def zero_place_cut_away(case: Case) -> None:
    """Between two programs that have Z 0 tried there."""
    head = case.texts[case.name(SLOTS)].split("\nG", 1)[0].replace(")\n(..", "")
    x, y = re.search(r"Check Z 0 .*? at X (-?[\d.]+) .*?Y (-?[\d.]+) .*? over the bare raw top", head).groups()
    text, unit = case.texts[case.name(POCKET)], 25.4 if case.clamping.units == "in" else 1.0
    top, feed = case.clamping.stock.thickness - case.clamping.z_zero, re.search(r"F[\d.]+", text)[0]
    up, low = (f"Z{(top + z) / unit:.4f}" for z in (30.0, -0.3))
    case.put(POCKET, text.replace("\nM5\n", f"\nG0 {up}\nG0 X{x} Y{y}\nG1 {low} {feed}\nG0 {up}\nM5\n"))


def spoilt(texts: Mapping[str, str], clamping: Clamping, seed: int = 0) -> Iterator[tuple[str, Texts]]:
    """(name, texts) for each way of spoiling that changes anything in these programs."""
    for k, (name, call) in enumerate(SPOILINGS.items()):
        case = Case(dict(texts), clamping, np.random.default_rng((seed, k)))
        try:
            call(case)
        except IndexError:  # the job has no such program, or only one of them
            continue
        if case.spoilt == case.texts:
            raise AssertionError(f"{name}: changes nothing")
        yield name, case.spoilt


def main(arguments: list[str]) -> int:
    import pathgen
    from pathgen.verify import verify

    job = pathgen.load_job(arguments[0])
    built = pathgen.build(job)
    seed = int(arguments[1]) if len(arguments) > 1 else 0
    texts, clamping = {p.file_name: p.text for p in built.programs}, built.plan.clamping
    print(f"good: passed {built.passed}, {[f.code for f in built.verification.findings]}")
    missed = []
    total = 0
    for name, changed in spoilt(texts, clamping, seed):
        seen = verify(clamping, changed, job_fingerprint=job.fingerprint)
        codes = sorted({f.code for f in seen.findings if f.severity == "forbid"})
        print(f"{'seen  ' if codes else 'MISSED'} {name}: {', '.join(codes)}", flush=True)
        missed += [] if codes else [name]
        total += 1
    print(f"{total - len(missed)} of {total} seen; missed: {missed or 'none'}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
