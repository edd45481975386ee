"""The whole verification: read the texts, simulate, compare with the part, and say what was found."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely

from pathgen.base import given
from pathgen.base.brief import Brief
from pathgen.base.errors import PathgenError
from pathgen.base.limits import COARSEST_GRID, FINEST_GRID, MOST_POINTS
from pathgen.base.markup import as_table
from pathgen.removal.grid import Grid
from pathgen.removal.material import most_work
from pathgen.removal.motion import Motion
from pathgen.verify.both_sides import Below, WoodBetween, below_of, both_sides_findings, wood_between
from pathgen.verify.comparing import compared
from pathgen.verify.cutting import cutting_findings, in_pieces
from pathgen.verify.findings import TOO_LONG, Finding, Tolerances, at, forbids, rank
from pathgen.verify.given_programs import blamed, edited_programs, header_findings, read_programs
from pathgen.verify.handling import program_findings, travel_findings
from pathgen.verify.keep_outs import near_findings
from pathgen.verify.kept import Cut, mark_kept_findings, zero_kept_findings
from pathgen.verify.loads import Load, load_findings, loads_of
from pathgen.verify.neighbours import neighbour_findings
from pathgen.verify.over_board import motion_over_board
from pathgen.verify.pocket_measures import PocketMeasure, pocket_measures
from pathgen.verify.program import ReadProgram
from pathgen.verify.ridges import Ridges, measure_ridges, stations
from pathgen.verify.seen import Seen
from pathgen.verify.shares import overlap_findings, share_findings
from pathgen.verify.simulate import Simulation, simulate
from pathgen.verify.surfaces import extremes, finished_area, measure_surface
from pathgen.work.clamping import Clamping, Step
from pathgen.work.layers import thin_layers
from pathgen.work.operations import CutOut, DowelHoles, RoundHoles, Slot

_CLEAR = 0.03  # mm: how close to the edges of board and slots the surface is measured
_SECTIONS, _ON_SECTION = 20.0, 0.01  # mm: between cross sections, and between the points on one
_ACROSS = 5  # points of the grid across the narrowest cutter: with fewer, single points pass for cuts, gaps for tabs
_OF_A_SINKING = 0.5  # of what a layer of an opening takes: a short move round a hole, downward, of what is under it
_FINEST = 0.05  # mm: a grid of 500 by 80 mm then has 16 million points


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Verification(Brief):
    """What the programs of a job were found to do: `check` gives it, and ``Build.verification`` is it. Lengths in mm.

    Attributes
    ----------
    findings : tuple of Finding
        What forbids cutting first.
    surface_low, surface_high : float
        Lowest and highest deviation of the finished surface from where it should be; NaN where none is cut.
    scallop_measured : float
        Highest ridge between passes, square to the surface.
    programs : mapping of file name to ReadProgram
        Those that could be read.
    under : Verification or None
        That of the other side, whose programs were run before; its findings are among these.
    by_grid : bool
        Whether something forbids cutting that was seen in the simulated wood, on either side.
    seconds, cells : float, int
        How long verifying took, and how many points of the wood it looked at.
    ridges, pockets, loads, between, simulation
        Every ridge; area and volumes of each inlay; what a tooth takes; the least wood between both sides; the wood
        after each program: what ``Build.report`` and the pictures are made from.

    >>> import pathgen
    >>> found = pathgen.build(pathgen.load_job("board.toml"), resolution=0.5).verification
    >>> found.passed, found.findings, found.scallop_measured <= 0.0207, len(found.programs)
    (True, (), True, 5)
    """

    findings: tuple[Finding, ...]
    surface_low: float
    surface_high: float
    scallop_measured: float
    ridges: Ridges | None
    pockets: tuple[PocketMeasure, ...]
    simulation: Simulation
    loads: Mapping[int, Load]
    programs: Mapping[str, ReadProgram]
    seconds: float
    cells: int
    under: Verification | None
    between: WoodBetween | None
    by_grid: bool

    def _repr_html_(self) -> str:
        """A table, for notebooks."""
        rows = [("passed", "yes" if self.passed else "no: do not cut")]
        if not math.isnan(self.scallop_measured):
            rows += [("highest ridge", f"{self.scallop_measured:.4f} mm"),
                     ("against the surface", f"{self.surface_low:+.4f} to {self.surface_high:+.4f} mm")]
        return as_table([*rows, *((finding.severity, str(finding)) for finding in self.findings)])

    @property
    def passed(self) -> bool:
        """Whether nothing found forbids cutting."""
        return not forbids(self.findings)


def verify(
    clamping: Clamping,
    texts: Mapping[str, str],
    *,
    resolution: float = 0.1,
    job_fingerprint: str | None = None,
    tolerances: Tolerances | None = None,
    pictured: bool = False,
    written: Mapping[str, str] | None = None,
) -> Verification:
    """Read the programs, remove material as the machine would, and compare with the part.

    Parameters
    ----------
    clamping : Clamping
        The part, the stock, the machine and the steps; each step's program is found by its file name.
    texts : mapping of file name to text
    resolution : float
        Spacing of the simulation's grid, mm. What such a grid would forbid is looked at again on one of a fifth of the
        narrowest cutter, when that is finer: it may be the grid's fault.
    job_fingerprint : str, optional
        What the programs' headers should state.
    pictured : bool
        Keep small copies of what stands there after each program, for pictures.
    written : mapping of file name to text, optional
        Programs as they were written, as far as that is known: of these it is told whether more than comments changed.

    Notes
    -----
    Bad programs do not raise: what cannot be read is a finding. Then the others are verified as far as that can be
    done without it: each by itself, in simulation those before it, and the finished part not at all.
    """
    look = partial(verify_once, clamping, texts, job_fingerprint=job_fingerprint, tolerances=tolerances,
                   pictured=pictured, written=written)
    resolution = given.length("resolution", resolution, least=FINEST_GRID, most=COARSEST_GRID)
    x0, y0, x1, y1 = clamping.stock.bounds
    least = math.sqrt((x1 - x0) * (y1 - y0) / MOST_POINTS)
    if resolution < least:
        raise PathgenError("resolution", f"{resolution:g} mm on a blank of {x1 - x0:g} by {y1 - y0:g} mm",
                           allowed=f"{least + 0.005:.2f} mm or more", remedy="give that, or a smaller [stock]")
    found = look(resolution=resolution)
    steps = clamping.steps + (clamping.under.steps if clamping.under else ())
    finer = max(min(step.cutter.diameter for step in steps) / _ACROSS, _FINEST, least)
    if not found.by_grid or finer >= resolution:
        return found
    allowed = _allowed(clamping, found.programs, Grid.over(clamping.stock.bounds, resolution))
    again = look(resolution=finer, most=allowed - sum(found.simulation.worked.values()))
    return found if any(finding.code == TOO_LONG for finding in again.findings) else again


def _allowed(clamping: Clamping, programs: Mapping[str, ReadProgram], grid: Grid) -> float:
    """The work that simulating some programs may take, with what the job's openings and holes take.

    Arcs count by their chords, so that a program takes the same part of it without them.
    """
    moves = {name: len(program) + math.ceil(program.chords) for name, program in programs.items()}
    return most_work(grid, len(clamping.steps), sum(moves.values()), laps=sum(
        step.operation.feature.shapes.area * math.ceil(step.operation.feature.depth / step.cutter.stepdown)
        / step.cutter.stepover for step in clamping.steps if isinstance(step.operation, CutOut)
    ) + sum(_OF_A_SINKING * math.pi * step.cutter.radius**2 * moves.get(step.file_name, 0)
            for step in clamping.steps if isinstance(step.operation, RoundHoles | DowelHoles)))


def verify_once(
    clamping: Clamping, texts: Mapping[str, str], *, resolution: float, job_fingerprint: str | None = None,
    tolerances: Tolerances | None = None, pictured: bool = False, most: float | None = None,
    written: Mapping[str, str] | None = None,
) -> Verification:
    """`verify` on one grid; `most` is the work that simulating may take, where that is not what such a grid allows."""
    began = time.perf_counter()
    tolerances = tolerances or Tolerances()
    under, texts = _under(clamping, texts, partial(
        verify_once, resolution=resolution, job_fingerprint=job_fingerprint, tolerances=tolerances, pictured=pictured,
        most=most, written=written))
    found = list(under.findings) if under is not None else []
    below = _below(under, clamping)
    programs = read_programs(clamping, texts, found)
    edited = edited_programs(programs, texts, written or {})
    found += header_findings(programs, job_fingerprint, edited)
    readable = [step for step in clamping.steps if step.file_name in programs]
    moves = {step.order: motion_over_board(programs[step.file_name], clamping, chord_tolerance=tolerances.chord,
                                           step=step) for step in readable}
    for step in readable:
        found += program_findings(programs[step.file_name], moves[step.order], step, clamping, tolerances)
        found += share_findings(moves[step.order], step, clamping, tolerances)
    found += near_findings(moves, clamping)
    found += mark_kept_findings(clamping, moves, tolerances)
    found += zero_kept_findings([(clamping, programs, moves)], tolerances) if clamping.shared is None else ()
    found += travel_findings(programs, clamping, under.programs if under is not None else None)
    motions = {step.order: in_pieces(moves[step.order], step, resolution) for step in readable}
    unread = [step for step in clamping.steps if step.file_name not in programs]
    grid = Grid.over(clamping.stock.bounds, resolution)
    most = _allowed(clamping, programs, grid) if most is None else most
    # what an unread program would have cut is not known, and so neither is what those after it meet
    known = {order: motion for order, motion in motions.items() if not unread or order < unread[0].order}
    sim = simulate(clamping, known, grid, tolerances, pictured=pictured, most=most,
                   gone=below.through if below is not None else None)
    if sim.given_up is not None:
        found.append(_too_long(sim, clamping, most, resolution))
        unread = sorted([*unread, sim.given_up[0]], key=lambda step: step.order)
    found += _not_compared(unread)
    of_texts = len(found)
    found += cutting_findings(clamping, sim, motions, tolerances)
    loads = loads_of(clamping, sim, motions)
    found += load_findings(clamping.steps, loads)
    area = finished_area(clamping, _CLEAR)
    ridges = None if unread else _ridges(clamping, motions, area, tolerances)
    deviation = measure_surface(sim, clamping, area) if ridges is not None else None
    found += neighbour_findings(clamping, tolerances)
    found += compared(Seen(
        clamping=clamping, programs=programs, motions=motions, tolerances=tolerances, sim=sim, ridges=ridges,
        deviation=deviation, whole=not unread,
    ))
    between = wood_between(sim, below, clamping, tolerances) if below is not None and not unread else None
    if below is not None:
        found += both_sides_findings(between, below, clamping, tolerances)
    low = high = math.nan
    if ridges is not None and deviation is not None:
        (low, _), (high, _) = extremes(deviation, ridges)
    by_grid = (not unread and forbids(found[of_texts:])) or bool(under and under.by_grid)
    return Verification(
        findings=tuple(sorted(blamed(found, programs, edited), key=lambda f: rank(f.code, f.severity))),
        surface_low=low, surface_high=high,
        scallop_measured=ridges.highest if ridges else math.nan, ridges=ridges,
        simulation=sim, loads=loads,
        pockets=() if unread else pocket_measures(sim, clamping),
        programs=programs, seconds=time.perf_counter() - began, cells=grid.shape[0] * grid.shape[1],
        under=under, between=between, by_grid=by_grid,
    )


def verify_all(
    clampings: Sequence[Clamping], texts: Mapping[str, str], *, resolution: float = 0.1,
    job_fingerprint: str | None = None, written: Mapping[str, str] | None = None,
) -> tuple[tuple[Verification, ...], tuple[Finding, ...]]:
    """Each of several clampings with its own programs, and what is found of all of them together.

    Texts that are no program of any are the first one's, which refuses them.
    """
    own = [{name: text for name, text in texts.items() if name in one.files} for one in clampings]
    own[0] |= {name: text for name, text in texts.items() if not any(name in mine for mine in own)}
    found = tuple(verify(one, mine, resolution=resolution, job_fingerprint=job_fingerprint, written=written)
                  for one, mine in zip(clampings, own, strict=True))
    return found, together_findings(clampings, found)


def together_findings(clampings: Sequence[Clamping], found: Sequence[Verification]) -> tuple[Finding, ...]:
    """What the parts of one blank do to each other; nothing for clampings that are run each by itself."""
    if not all(one.shared for one in clampings):
        return ()
    every = {name: program for one in found for name, program in one.programs.items()}
    cut: list[Cut] = [(clamping, every, {
        step.order: motion_over_board(every[step.file_name], clamping, chord_tolerance=Tolerances().chord, step=step)
        for step in clamping.steps if step.file_name in every}) for clamping in clampings]
    return (*overlap_findings(clampings), *travel_findings(every, clampings[0]),
            *zero_kept_findings(cut, Tolerances()))


def _under(
    clamping: Clamping, texts: Mapping[str, str], look: Callable[[Clamping, Mapping[str, str]], Verification],
) -> tuple[Verification | None, Mapping[str, str]]:
    """What the programs of the other side do, where there is one, looked at; and the texts that are not its own."""
    if clamping.under is None:
        return None, texts
    own = {name: text for name, text in texts.items() if name in clamping.under.files}
    return look(clamping.under, own), {name: text for name, text in texts.items() if name not in own}


def _below(under: Verification | None, clamping: Clamping) -> Below | None:
    """What the other side's programs left; None where one of them could not be read."""
    if under is None or clamping.under is None or len(under.programs) < len(clamping.under.steps):
        return None
    return below_of(under.simulation, clamping.stock.thickness)


def _too_long(sim: Simulation, clamping: Clamping, most: float, resolution: float) -> Finding:
    """Of the program that took the most work, which need not be the one that was come to."""
    order = max(sim.worked, key=lambda order: sim.worked[order])
    line = sim.given_up[1] if sim.given_up and sim.given_up[0].order == order else None
    step = next(step for step in clamping.steps if step.order == order)
    thin, deeper = thin_layers(clamping, step)
    return Finding(
        code=TOO_LONG, where=at(step.file_name, line),
        got="not simulated to the end, and so not verified: simulating the programs was given up, most of the work was "
            "for this one"
            f"{thin and f', which cuts {thin}'}",
        allowed=f"{most / 1e6:.0f} million heights worked out for all, several times what a job takes",
        remedy=f"{deeper and f'{deeper}; or '}look at them on a coarser grid, --resolution "
               f"{min(COARSEST_GRID, 2.0 * resolution):g}",
    )


def _not_compared(unread: Sequence[Step]) -> Iterator[Finding]:
    if unread:
        yield Finding(
            code="not-compared", severity="note", where=", ".join(step.file_name for step in unread),
            got="what comes out was not compared with the part", allowed="every program there, and read",
            remedy="mend what forbids cutting, then check again",
        )


def _ridges(
    clamping: Clamping, motions: Mapping[int, Motion], area: shapely.Geometry, tolerances: Tolerances
) -> Ridges | None:
    if clamping.surfacing is None:
        return None
    _, y0, _, y1 = clamping.board.outline.bounds
    slots = clamping.feature(Slot)
    xs = stations(clamping.board.outline, slots.lines if slots else None, spacing=_SECTIONS,
                  clear=(slots.width if slots else 0.0) / 2 + 0.5)
    grid = Grid(xs, y0 + _ON_SECTION * np.arange(1, round((y1 - y0) / _ON_SECTION)))
    surfaced = {
        step.order: motions[step.order] for step in clamping.steps
        if step.order in motions and (step.operation.makes_surface or step.operation.opens)
    }
    sim = simulate(clamping, surfaced, grid, tolerances, note=False)
    return measure_ridges(sim.top, grid, clamping.finished_surface, area)
