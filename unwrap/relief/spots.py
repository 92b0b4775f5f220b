"""Slits into the few spots where a piece that is otherwise at ease is beyond the film."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from unwrap.flatten.edges import boundary_edges
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.flatten.overlap import overlaps
from unwrap.flatten.strain import strain
from unwrap.relief.board import Board
from unwrap.relief.draw import CannotDraw
from unwrap.relief.ease import at_ease, eased, spots_of
from unwrap.relief.finish import cut_along, on_mesh
from unwrap.relief.ground import Ground
from unwrap.relief.slit import Slit, nearest_edge

FEW = 0.15  # share of the area that may be beyond the film at ease for slits into its spots to be tried
SPECK = 2e-4  # share of the area below which a spot gets no slit of its own
DEPTHS = (0.7, 1.1, 1.6)  # of the way to a spot's far side that slits into it go


class Spotted(NamedTuple):
    """A piece with slits into its few spots, and what they cost, mm."""

    piece: FlatPiece
    cost: float


def at_few_spots(
    board: Board,
    ground: Ground,
    uncut: FlatPiece,
    most: int,
    allowed: Callable[[tuple[Slit, ...]], bool],
) -> tuple[FlatPiece | None, list[Spotted]]:
    """The patch at ease, and cut into the few spots where it is not; nothing where most of it is not.

    Parameters
    ----------
    board : Board
    ground : Ground
        The uncut patch.
    uncut : FlatPiece
        Its flat shape, with the same faces.
    most : int
        Largest number of slits.
    allowed : callable
        Whether slits may go where a set of them does.
    """
    trial = board.bare
    if trial.mesh is None or board.beyond_at_ease(trial) > FEW:
        return None, []
    calm = eased(uncut)
    if calm.within or calm.area_beyond > FEW:
        return calm, []
    sets = [slits for slits in spot_slits(board, ground, calm, most) if allowed(slits)]
    cut = [(cut_at_ease(ground, on_mesh(ground, slits), calm), board.cost(slits)) for slits in sets]
    return calm, [Spotted(piece, cost) for piece, cost in cut if piece is not None]


def spot_slits(board: Board, ground: Ground, calm: FlatPiece, most: int) -> list[tuple[Slit, ...]]:
    """Sets of slits into each of the largest spots beyond the film at an edge, shallowest first.

    Parameters
    ----------
    board : Board
        Its edges are where slits begin.
    ground : Ground
        The uncut patch.
    calm : FlatPiece
        It laid flat at ease, with the same faces.
    most : int
        Largest number of slits.
    """
    whole = float(calm.areas.sum())
    rim = np.zeros(len(calm.points), dtype=bool)
    rim[boundary_edges(calm.faces)] = True
    # A slit from the edge is of no help to a lump in the middle.
    spots = [s for s in spots_of(calm) if rim[calm.faces[s]].any() and calm.areas[s].sum() > SPECK * whole]
    spots = spots[:most]
    sets = []
    for depth in DEPTHS:
        slits: tuple[Slit, ...] = ()
        for spot in spots:
            places = ground.chart[ground.faces[spot]].mean(axis=1)
            middle = np.average(places, axis=0, weights=calm.areas[spot])
            broad = float(np.sqrt(calm.areas[spot].sum()))
            edge, start = nearest_edge(board.edges, middle)
            foot = edge.point(start)
            inward = edge.inward(start, 0.5 * broad)
            slit = Slit(edge, start, foot + depth * (float((middle - foot) @ inward) + broad) * inward)
            if not board.mesher.at_fault((*slits, slit)).any():
                slits = (*slits, slit)
        kept = board.symmetry(slits)
        sets.append(slits if kept is None else kept[0].made_even(slits, kept[1], board.edges))
    return [slits for slits in sets if slits]


def cut_at_ease(ground: Ground, slits: tuple[Slit, ...], uncut: FlatPiece) -> FlatPiece | None:
    """The patch cut along slits and laid flat at ease; None where it cannot be cut or lies over itself."""
    try:
        cut, cuts = cut_along(ground, slits)
    except CannotDraw:
        return None
    points = at_ease(cut.surface, cut.faces, uncut.film, cut.chart)
    if overlaps(points, cut.faces):
        return None
    return FlatPiece(
        points=points,
        faces=cut.faces,
        vertex=cut.vertex,
        surface=cut.surface,
        face=cut.face,
        stretch=strain(cut.surface, points, cut.faces).stretch,
        film=uncut.film,
        bound=uncut.bound,
        cuts=tuple(cuts),
        uncut=uncut,
    )
