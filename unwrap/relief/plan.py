"""Choose the slits: many beginnings on the coarse copy, the best settled, slits added and left out."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.flatten.edges import boundary_edges
from unwrap.relief.board import Board, Trial
from unwrap.relief.mirror import Mirror
from unwrap.relief.settle import settle
from unwrap.relief.slit import Edge, Slit, nearest_edge
from unwrap.relief.ways import cheap_ways

TARGET = 0.955  # need on the coarse copy at which the real patch is just within, as a rule
MOST = 8  # slits that are tried where no limit is given
HOPELESS = 1.15  # times the least cost found that a beginning may promise to be settled in earnest
SHARE = 1 / 3  # of the way from no slits to the target that a set has to go for more to be looked for
JUST_SHORT = 1.03  # times the target up to which a settled set is worth more rounds
IN_SIGHT = 2.5  # times the target, or the least need tried, from which a few rounds may lead somewhere
AGAIN = 1.2  # times as much as it promises that another set of the same count must seem to cost
CHEAP_DEPTH = 0.8  # share of the cheapest ways to the heart that first slits go
DEPTHS = ((0.75, 0.5), (0.75, 0.0))  # share of the way to the heart, and turn, of first slits


@dataclass(frozen=True)
class Effort:
    """How long to look, in trials on the coarse copy.

    Parameters
    ----------
    begun : int
        Beginnings that are settled a little, of all that are tried once.
    first : int
        Rounds for each of these.
    settled : int
        Beginnings that are then settled in earnest, at most: one that promises to cost clearly more
        than the best so far is not.
    rounds : int
        For settling one.
    feet : int
        Places on the edges where another slit is tried.
    joins : int
        Ways to lead slits through openings that are tried.
    changes : int
        How often a slit is added or left out.
    """

    begun: int = 6
    first: int = 4
    settled: int = 2
    rounds: int = 24
    feet: int = 5
    joins: int = 8
    changes: int = 3


def plan(
    board: Board, *, most: int | None = None, target: float = TARGET, effort: Effort | None = None
) -> list[Trial]:
    """Sets of slits that bring the coarse copy within the film, cheapest first.

    Even sets of all counts are tried once; the most hopeful are settled a little, the best of these
    in earnest; then slits are left out and added for as long as that pays.

    Parameters
    ----------
    board : Board
    most : int, optional
        Largest number of slits.
    target : float
        Largest need.
    effort : Effort, optional

    Returns
    -------
    list of Trial
        Those that reach the target, cheapest first; then the others, nearest first.
        Empty if no slit can be drawn.
    """
    effort = effort or Effort()
    limit = MOST if most is None else most

    def rank(trial: Trial) -> tuple[bool, float]:
        reached = trial.reaches(target)
        return not reached, trial.cost if reached else trial.need * (1.0 + trial.overlap)

    begun = beginnings(board, limit, target, effort)
    found = list(begun)
    least = min((t.cost for t in begun if t.reaches(target)), default=np.inf)
    for trial in _in_turn(begun, target)[: effort.settled]:
        if _hope(trial, target) > HOPELESS * least:
            continue
        settled = settle(board, trial, target, rounds=effort.rounds, below=least)
        found.append(settled)
        if settled.reaches(target):
            least = min(least, settled.cost)
    found.sort(key=rank)
    if not found or not gets_on(board, found, target):
        return found
    for _ in range(effort.changes):
        best = found[0]
        below = best.cost if best.reaches(target) else np.inf
        changed = [fewer(board, best, target, effort, below)]
        if len(best.slits) < limit and not best.reaches(target):
            changed.append(one_more(board, best, target, effort, limit))
        if len(board.edges) > 1:
            changed += joined(board, best, target, effort, limit, below)
        # One that costs less but is a hair short of the target is given as many rounds again.
        near = [t for t in changed if t is not None and t.cost < best.cost and _just_short(t, target)]
        changed += [settle(board, t, target, rounds=effort.rounds) for t in near]
        found = sorted([*found, *(t for t in changed if t is not None)], key=rank)
        before, after = rank(best), rank(found[0])
        if after[0] == before[0] and after[1] > 0.98 * before[1]:
            break
    if np.isfinite(found[0].need):
        # A mesh that was dragged far tells a little less than one made for where the slits are now.
        fresh = board.attempt(found[0].slits)
        found = sorted([settle(board, fresh, target, rounds=effort.rounds), *found], key=rank)
    return found


def gets_on(board: Board, trials: list[Trial], target: float = TARGET) -> bool:
    """Whether any of the sets goes a good share of the way from the need without slits to the target."""
    nearest = min(t.need for t in trials)
    whole = np.log(board.bare.need / target)
    return bool(nearest <= target or np.log(nearest / target) <= (1.0 - SHARE) * whole)


def _just_short(trial: Trial, target: float) -> bool:
    return not trial.reaches(target) and not trial.overlap and trial.need < JUST_SHORT * target


def _hope(trial: Trial, target: float) -> float:
    """What a set would cost once settled, as far as one can tell: need is made up for by length."""
    over = trial.need / target
    return trial.cost * over * min(over, 1.0) ** 0.25 * (1.0 + trial.overlap)


def beginnings(board: Board, limit: int, target: float, effort: Effort) -> list[Trial]:
    """Even sets of straight slits round the outer edge, the most hopeful settled for a few rounds."""
    edge = board.edges[0]
    tried: list[Trial] = []
    for mirror in board.mirrors or (None,):
        middle = heart(board, mirror)
        # Counted from where the line of symmetry meets the edge, an even set is symmetric.
        origin = 0.0 if mirror is None else _on_line(mirror, edge)
        for count in range(1, limit + 1):
            for depth, turn in DEPTHS:
                even = led_through(board.edges, even_slits(edge, middle, count, depth, turn, origin))
                if len(even) > limit:
                    continue
                trial = board.attempt(even)
                if np.isfinite(trial.need):
                    tried.append(trial)
            # On a saddle the lips of every slit lie over each other: no count will mend that.
            if count >= 2 and tried and all(t.overlap for t in tried):
                return []
            # A count that costs far more than all that is needed elsewhere leads nowhere.
            reached = [t.cost for t in tried if t.reaches(target)]
            if reached and all(t.cost > 2.0 * min(reached) for t in tried if len(t.slits) >= count):
                break
    tried += _along_cheap_ways(board, limit)
    least = min((t.need for t in tried), default=target)
    tried = [t for t in tried if t.need <= IN_SIGHT * max(target, least)]
    chosen = _in_turn(tried, target)[: effort.begun]
    return [settle(board, t, target, rounds=effort.first) for t in chosen]


def _in_turn(trials: list[Trial], target: float) -> list[Trial]:
    """The most hopeful first, each count of slits in its turn: what one promises says little of others."""
    trials = sorted(trials, key=lambda t: _hope(t, target))
    place = [sum(len(t.slits) == len(trial.slits) for t in trials[:k]) for k, trial in enumerate(trials)]
    rank = [_hope(t, target) * AGAIN**k for t, k in zip(trials, place, strict=True)]
    return [trials[k] for k in np.argsort(rank, kind="stable")]


def _along_cheap_ways(board: Board, limit: int) -> list[Trial]:
    """Sets of one, two and three slits along the ways that cost least, symmetric where the patch is."""
    mirror = board.mirrors[0] if board.mirrors else None
    whole: tuple[Slit, ...] = ()
    tried = []
    for slit in cheap_ways(board.field, board.edges[0], heart(board, mirror), CHEAP_DEPTH):
        added: tuple[Slit, ...] = (slit,)
        if mirror is not None:
            image = mirror.image(slit, board.edges)
            on_line = np.linalg.norm(image.foot - slit.foot) < 2.0 * board.spacing
            alone = np.zeros(1, dtype=np.int64)
            added = mirror.made_even((slit,), alone, board.edges) if on_line else (slit, image)
        if len(whole) + len(added) <= limit and not board.mesher.at_fault((*whole, *added)).any():
            whole = (*whole, *added)
            tried.append(board.attempt(whole))
    return [t for t in tried if np.isfinite(t.need)]


def even_slits(
    edge: Edge, middle: FloatArray, count: int, depth: float, turn: float = 0.0, origin: float = 0.0
) -> tuple[Slit, ...]:
    """Straight slits evenly round an edge towards a point, `depth` of the way to it.

    The first starts `turn` of their spacing behind `origin`, a distance along the edge.
    """
    starts = origin + edge.length * (np.arange(count) + turn) / count
    feet = edge.point(starts)
    return tuple(Slit(edge, float(s), f + depth * (middle - f)) for s, f in zip(starts, feet, strict=True))


def led_through(edges: list[Edge], slits: tuple[Slit, ...]) -> tuple[Slit, ...]:
    """Straight slits parted by the openings that they meet: one ends there and goes on at the other side."""
    openings = edges[1:]
    if not openings:
        return slits
    holes = shapely.union_all([shapely.Polygon(edge.ring) for edge in openings])
    out: list[Slit] = []
    for slit in slits:
        rest = shapely.difference(shapely.LineString([slit.foot, slit.tip]), holes)
        for part in shapely.get_parts(rest):
            start, end = shapely.get_coordinates(part)[[0, -1]]
            begins, ends = np.allclose(start, slit.foot), np.allclose(end, slit.tip)
            edge, place = (slit.edge, slit.start) if begins else nearest_edge(openings, start)
            out.append(Slit(edge, place, end, into=None if ends else nearest_edge(openings, end)[0]))
    return tuple(out)


def heart(board: Board, mirror: Mirror | None = None) -> FloatArray:
    """The point of the copy that lies deepest inside its outer edge, on the line of symmetry."""
    ring = shapely.LinearRing(board.edges[0].ring)
    chart = board.field.ground.chart
    deepest = chart[int(np.argmax(shapely.distance(ring, shapely.points(chart))))]
    return deepest if mirror is None else mirror.onto(deepest)


def _on_line(mirror: Mirror, edge: Edge) -> float:
    """Distance along an edge of a place on the line of symmetry."""
    places = np.linspace(0.0, edge.length, 721)[:-1]
    points = edge.point(places)
    return float(places[int(np.argmin(np.linalg.norm(points - mirror.reflected(points), axis=1)))])


def fewer(board: Board, trial: Trial, target: float, effort: Effort, below: float) -> Trial | None:
    """The set without the slit that it can best do without, settled anew; see `settle` for `below`."""
    if len(trial.slits) < 2:
        return None
    kept = board.symmetry(trial.slits)
    groups = {frozenset((i, i if kept is None else int(kept[1][i]))) for i in range(len(trial.slits))}
    rests = [tuple(s for i, s in enumerate(trial.slits) if i not in group) for group in groups]
    left = [board.attempt(rest) for rest in rests if rest]
    left = [t for t in left if np.isfinite(t.need)]
    if not left:
        return None
    # Less need and less cost both speak for a rest; one unit of need is worth about the whole cost.
    best = min(left, key=lambda t: t.cost + trial.cost * max(0.0, np.log(t.need / target)))
    return settle(board, best, target, rounds=effort.rounds, below=below)


def one_more(board: Board, trial: Trial, target: float, effort: Effort, limit: int) -> Trial | None:
    """The set with the slit added that lowers the need most for its cost, settled anew.

    Slits are tried where the sheet's edge is longest for what it has to cover: there lips part most.
    """
    kept = board.symmetry(trial.slits)
    middle = heart(board, None if kept is None else kept[0])
    tried = []
    for edge, start in _long_places(board, trial, effort.feet):
        foot = edge.point(start)
        inward = edge.inward(start, board.spacing)
        away = float(np.linalg.norm(middle - foot))
        slit = Slit(edge, start, foot + 0.3 * max(away, 4.0 * board.spacing) * inward)
        added: tuple[Slit, ...] = (slit,)
        if kept is not None:
            image = kept[0].image(slit, board.edges)
            on_line = np.linalg.norm(image.tip - slit.tip) < 2.0 * board.spacing
            alone = np.zeros(1, dtype=np.int64)
            added = kept[0].made_even((slit,), alone, board.edges) if on_line else (slit, image)
        if len(trial.slits) + len(added) > limit:
            continue
        new = board.attempt((*trial.slits, *added))
        if np.isfinite(new.need):
            tried.append(new)
    if not tried:
        return None
    best = min(tried, key=lambda t: t.cost + 2.0 * trial.cost * np.log(t.need / target))
    return settle(board, best, target, rounds=effort.rounds)


def joined(
    board: Board, trial: Trial, target: float, effort: Effort, limit: int, below: float
) -> list[Trial]:
    """The set with one slit led through another edge, settled anew; see `settle` for `below`.

    Where an opening is near, cut and opening work as one long slit: a slit is run on into it, one that
    passes it is broken there in two, or a new one bridges the shortest way to it.
    """
    kept = board.symmetry(trial.slits)
    tried: list[tuple[float, tuple[Slit, ...]]] = []

    def put(away: float, i: int | None, slits: tuple[Slit, ...]) -> None:
        """Note the set with these in the place of slit i, and their images in the place of its image."""
        images: tuple[Slit, ...] = ()
        leaves = {i}
        if kept is not None and (i is None or int(kept[1][i]) != i):
            images = tuple(kept[0].image(slit, board.edges) for slit in slits)
            leaves.add(None if i is None else int(kept[1][i]))
            if i is None and images[0].into is slits[0].into:
                images = ()
        whole = (*(s for j, s in enumerate(trial.slits) if j not in leaves), *slits, *images)
        if len(whole) <= limit and not board.mesher.at_fault(whole).any():
            tried.append((away, whole))

    for i, slit in enumerate(trial.slits):
        if slit.into is not None or (kept is not None and kept[1][i] < i):
            continue
        for edge in (e for e in board.edges if e is not slit.edge):
            end = edge.point(edge.nearest(slit.tip))
            put(float(np.linalg.norm(end - slit.tip)), i, (replace(slit, tip=end, into=edge),))
            entry, leave = edge.point(edge.nearest(slit.foot)), edge.nearest(slit.tip)
            away = np.linalg.norm(slit.curve()[:, None] - edge.ring[None], axis=2).min()
            first = replace(slit, tip=entry, bend=0.0, sway=0.0, into=edge)
            put(float(away), i, (first, Slit(edge, leave, slit.tip)))
    outer = board.edges[0]
    for edge in board.edges[1:]:
        ways = np.linalg.norm(outer.ring[:, None] - edge.ring[None], axis=2)
        a, b = np.unravel_index(int(np.argmin(ways)), ways.shape)
        put(float(ways[a, b]), None, (Slit(outer, float(outer.at[a]), edge.ring[b], into=edge),))
    tried.sort(key=lambda t: t[0])
    found = [t for t in (board.attempt(slits) for _, slits in tried[: effort.joins]) if np.isfinite(t.need)]
    found.sort(key=lambda t: t.cost + 2.0 * trial.cost * max(0.0, float(np.log(t.need / target))))
    return [settle(board, t, target, rounds=effort.rounds, below=below) for t in found[: effort.settled]]


def _long_places(board: Board, trial: Trial, count: int) -> list[tuple[Edge, float]]:
    """Places on the edges where the sheet is longest for what it covers, the best of each edge first."""
    mesh, surface, points = trial.mesh, trial.surface, trial.points
    assert mesh is not None and trial.chart is not None and surface is not None and points is not None
    rim = boundary_edges(mesh.ground.faces)
    one, two = rim.T
    excess = np.log(
        np.linalg.norm(points[one] - points[two], axis=1)
        / np.linalg.norm(surface[one] - surface[two], axis=1)
    )
    found: list[tuple[float, Edge, float]] = []
    for k, edge in enumerate(board.edges):
        on = (mesh.edge[one] == k) & (mesh.edge[two] == k)
        places = np.array([edge.nearest(p) for p in 0.5 * (trial.chart[one[on]] + trial.chart[two[on]])])
        apart = max(2.0 * board.spacing, edge.length / 12.0)
        order = np.argsort(-excess[on])
        chosen: list[float] = []
        for j in order.tolist():
            gaps = [
                abs((places[j] - c + 0.5 * edge.length) % edge.length - 0.5 * edge.length) for c in chosen
            ]
            if min(gaps, default=np.inf) > apart:
                chosen.append(float(places[j]))
                # The best of every edge is tried whatever it promises.
                found.append((np.inf if len(chosen) == 1 else float(excess[on][j]), edge, float(places[j])))
            if len(chosen) == count:
                break
    found.sort(key=lambda f: -f[0])
    return [(edge, place) for _, edge, place in found[: max(count, len(board.edges))]]
