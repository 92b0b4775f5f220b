"""Spherical caps and minimal surfaces against closed forms and independent libraries.

* alpha / sin alpha: J. Milnor, "A Problem in Cartography", Amer. Math. Monthly 76 (1969).
* Least work on caps: one-dimensional Euler-Lagrange equation solved by shooting (rtol 1e-11).
* Catenoid and helicoid are isometric: M. do Carmo, *Differential Geometry of Curves and
  Surfaces*, sect. 4.2, example 2.
* libigl's SLIM (M. Rabinovich et al., 2017) as independent minimiser of the same energy.
* PROJ's azimuthal equidistant scale factors (J. P. Snyder, USGS PP 1395, 25-2).
"""

import igl
import numpy as np
import pytest
import surfaces
from pyproj import Proj

from unwrap import Film
from unwrap.flatten import flatten, relax
from unwrap.flatten.energy import Work, energy, stretches
from unwrap.flatten.metric import metric_of

WIDE = Film(0.9, 0.9)


@pytest.mark.parametrize(
    ("degrees", "centre", "rim", "mean"),
    [
        (30, 0.9832246, 1.035376, 0.00158178),
        (60, 0.9368596, 1.156380, 0.0261307),
        (90, 0.8703816, 1.423330, 0.140509),
    ],
)
def test_least_work_on_a_cap(degrees, centre, rim, mean):
    v, f = surfaces.cap(1.0, degrees, 2500)
    flat = relax(v, f, WIDE, thorough=False).points
    metric = metric_of(v, f)
    got = energy(metric, metric.areas, Work(), flat) / metric.areas.sum()
    # Facets of a curved surface ask a little more: of the order of (edge / radius)^2.
    assert got == pytest.approx(mean, rel=0.01)
    s1, s2 = stretches(metric, flat)
    middle = v[f].mean(axis=1)
    pole = np.degrees(np.arccos(middle[:, 2] / np.linalg.norm(middle, axis=1)))
    assert np.mean(np.sqrt(s1 * s2)[pole < 0.1 * degrees]) == pytest.approx(centre, rel=2e-3)
    assert np.mean(s1[pole > 0.98 * degrees]) == pytest.approx(rim, rel=0.01)


@pytest.mark.parametrize("maker", [surfaces.torus, surfaces.nose])
def test_no_more_work_than_slim(maker):
    v, f = maker(count=500)
    v = v / np.sqrt(metric_of(v, f).areas.sum())
    ring = igl.boundary_loop(f)
    angle = 2 * np.pi * np.arange(len(ring)) / len(ring)
    start = igl.harmonic(v, f, ring, np.column_stack([np.cos(angle), np.sin(angle)]) / np.sqrt(np.pi), 1)
    data = igl.slim_precompute(
        v, f, start, igl.MappingEnergyType.SYMMETRIC_DIRICHLET, np.zeros(0, np.int64), np.zeros((0, 2)), 0.0
    )
    metric = metric_of(v, f)
    theirs = energy(metric, metric.areas, Work(), np.asarray(igl.slim_solve(data, 200)))
    mine = energy(metric, metric.areas, Work(), relax(v, f, WIDE, thorough=False).points)
    assert mine <= theirs * (1.0 + 1e-4)


@pytest.mark.parametrize("degrees", [30, 60])
def test_worst_strain_of_a_cap_is_the_equidistant_map_s(degrees):
    v, f = surfaces.cap(1.0, degrees, 2500)
    piece = flatten(v, f, Film(0.001, 0.001))
    ratio = piece.stretch[:, 0].max() / piece.stretch[:, 1].min()
    # PROJ's own scale factors of the azimuthal equidistant map at the rim: 1 along, c / sin c round it.
    found = Proj(proj="aeqd", lat_0=90.0, R=1.0).get_factors(10.0, 90.0 - degrees)
    best = max(found.meridional_scale, found.parallel_scale) / min(
        found.meridional_scale, found.parallel_scale
    )
    assert best == pytest.approx(np.radians(degrees) / np.sin(np.radians(degrees)), rel=1e-5)
    assert ratio <= 1.005 * best
    assert piece.bound <= ratio


def test_catenoid_and_helicoid_have_the_same_flat_shape():
    a = 20.0
    p, f = surfaces.sheet(2.0, 1.6, 300)
    u, w = p[:, 0], p[:, 1] - 0.8
    catenoid = np.column_stack([a * np.cosh(w) * np.cos(u), a * np.cosh(w) * np.sin(u), a * w])
    helicoid = np.column_stack([a * np.sinh(w) * np.cos(u), a * np.sinh(w) * np.sin(u), a * u])
    one, two = (relax(v, f, WIDE, thorough=False).points for v in (catenoid, helicoid))
    # Both are seen through the same parameters, so the flat shapes agree to the facets' chords.
    d1, d2 = (np.linalg.norm(x[:, None] - x[None], axis=2) for x in (one, two))
    assert np.abs(d1 - d2).max() <= 0.01 * d1.max()
    for v in (catenoid, helicoid):
        assert flatten(v, f, Film(0.001, 0.001)).bound > 1.0
