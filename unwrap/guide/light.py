"""Soft studio light: a lamp with a soft shadow, and the sky that each place sees."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.rays import Rays
from unwrap.guide.camera import Camera

Floats = NDArray[np.float32]

# Probes per place. Pixels are dealt out in tiles of TILE x TILE that each probe in other
# directions; smoothing pools two tiles each way, so that every pattern counts alike and no
# grain is left.
PROBES = 12
TILE = 3

# Places are lifted off the surface by this share of the body before a ray leaves them,
# so that single precision does not make a face shade itself.
LIFT = 2e-4


@dataclass(frozen=True, eq=False)
class Light:
    """How the body is lit.

    Parameters
    ----------
    key : (3,) float64
        Unit direction towards the lamp.
    reach : float
        How far a place looks for what shuts out the sky, mm.
    lamp_power, sky_power : float
        Shares of the lamp and of the sky.
    spread : float
        Size of the lamp as the tangent of its half angle: how soft its shadow is.
    """

    key: FloatArray
    reach: float
    lamp_power: float = 0.66
    sky_power: float = 0.52
    spread: float = 0.14

    @classmethod
    def studio(cls, camera: Camera, reach: float) -> Light:
        """A lamp over the shoulder on whose hand the model's long side lies.

        The long side carries the livery: it must not be the one in the shade.
        """
        hand = np.sign(camera.back[1] * camera.right[1]) or -1.0
        aside = 0.42 * hand * camera.right
        towards = 0.75 * camera.back + aside + 0.35 * camera.up + np.array([0.0, 0.0, 0.75])
        return cls(key=towards / np.linalg.norm(towards), reach=reach)

    def brightness(
        self, normal: Floats, direction: Floats, lamp: Floats, sky: Floats
    ) -> tuple[Floats, Floats]:
        """Light falling on places and sheen towards the onlooker, both (n,).

        Parameters
        ----------
        normal, direction : (n, 3) float32
            The way places face, and the way they are looked at.
        lamp, sky : (n,) float32
            Shares of the lamp and of the sky that they see.
        """
        key = self.key.astype(np.float32)
        facing = np.maximum(normal @ key, 0.0)
        above = 0.74 + 0.26 * normal[:, 2]
        half = key - direction
        along = np.einsum("nd,nd->n", normal, half) / np.sqrt(np.einsum("nd,nd->n", half, half))
        sheen = 0.09 * np.maximum(along, 0.0) ** 36 * lamp
        shut_in = 0.25 + 0.75 * sky
        return (self.lamp_power * facing * lamp * (0.4 + 0.6 * sky) + self.sky_power * above * shut_in), sheen


def probe(
    rays: Rays, place: Floats, normal: Floats, tile: IntArray, light: Light, floor: float
) -> tuple[Floats, Floats]:
    """Shares of the sky (cosine-weighted) and of the lamp that places see, both (n,), 0 to 1.

    Parameters
    ----------
    rays : Rays
        The body.
    place, normal : (n, 3) float32
        Where and which way the places face, mm.
    tile : (n,) int64
        Which of the TILE * TILE patterns each place probes with.
    light : Light
        The lamp, and how far to look.
    floor : float
        Height of the ground, mm. It shuts out half as much as the body does, because
        it is white and gives light back.
    """
    first, second = _frame(normal)
    start = rays.local(place + np.float32(LIFT * rays.reach) * normal)
    # Shifts of a low-discrepancy sequence in the plane (golden-ratio relatives).
    u = (0.5 + 0.7548776662 * np.arange(TILE * TILE)) % 1.0
    v = (0.5 + 0.5698402910 * np.arange(TILE * TILE)) % 1.0
    drop = np.maximum(place[:, 2] - np.float32(floor), 0.0)
    sky = np.zeros(len(place), dtype=np.float32)
    for k in range(PROBES):
        ring, turn = (k + u) / PROBES, 2.0 * np.pi * (k * 0.6180339887 + v)
        out = np.sqrt(ring)
        # Each pattern's direction against a place's two sides and its normal.
        share = np.stack([out * np.cos(turn), out * np.sin(turn), np.sqrt(1.0 - ring)]).astype(np.float32)
        aside, along, away = share[:, tile]
        way = aside[:, None] * first + along[:, None] * second + away[:, None] * normal
        near = np.maximum(1.0 - rays.distance(start, way, light.reach) / np.float32(light.reach), 0.0)
        to_floor = drop / np.maximum(-way[:, 2], 1e-6)
        near_floor = np.where(way[:, 2] < 0, 0.5 * np.maximum(1.0 - to_floor / light.reach, 0.0), 0.0)
        sky += 1.0 - np.maximum(near, near_floor)
    across, along = _frame(light.key[None])
    lamp = np.zeros(len(place), dtype=np.float32)
    facing = np.flatnonzero(normal @ light.key > 0)
    for k in range(2):
        shift, turn = light.spread * np.sqrt((k + u) / 2), 2.0 * np.pi * v
        ways = light.key + (shift * np.cos(turn))[:, None] * across + (shift * np.sin(turn))[:, None] * along
        lamp[facing] += 0.5 * ~rays.blocked_from(start[facing], ways.astype(np.float32)[tile[facing]])
    return sky / np.float32(PROBES), lamp


def finer(
    fields: tuple[Floats, ...], depth: Floats, normal: Floats, coarse: int, step: float
) -> list[Floats]:
    """Fields known at every `coarse` pixels each way, smoothed and carried to all pixels.

    Neither step mixes places across an edge of the body.

    Parameters
    ----------
    fields : tuple of (h / coarse, w / coarse) float32
        What is known.
    depth : (h, w) float32
        Distance from the onlooker, mm (infinite: nothing there).
    normal : (h, w, 3) float32
        The way each place faces.
    coarse : int
        Pixels from one known place to the next.
    step : float
        Largest change of depth from one pixel to the next on the same ground, mm.
    """
    height, width = depth.shape
    near = np.where(np.isfinite(depth), depth, np.float32(-1e9))
    few_near, few_normal = near[::coarse, ::coarse], normal[::coarse, ::coarse]
    smoothed = _smooth(fields, few_near, few_normal, coarse * step)
    row, column = np.arange(height), np.arange(width)
    totals = [np.zeros_like(depth) for _ in fields]
    weight = np.full_like(depth, 1e-9)
    for total, field in zip(totals, smoothed, strict=True):
        total += 1e-9 * field[row[:, None] // coarse, column // coarse]
    for down in (0, 1):
        for across in (0, 1):
            there_row = np.minimum(row // coarse + down, few_near.shape[0] - 1)
            there_column = np.minimum(column // coarse + across, few_near.shape[1] - 1)
            there = np.ix_(there_row, there_column)
            share_row = np.abs(1 - down - (row % coarse) / coarse)
            share_column = np.abs(1 - across - (column % coarse) / coarse)
            share = (share_row[:, None] * share_column).astype(np.float32)
            alike = np.einsum("ijd,ijd->ij", normal, few_normal[there]) > 0.9
            alike &= np.abs(near - few_near[there]) < step * (1 + 2 * coarse)
            share *= alike
            for total, field in zip(totals, smoothed, strict=True):
                total += share * field[there]
            weight += share
    return [total / weight for total in totals]


def _smooth(fields: tuple[Floats, ...], near: Floats, normal: Floats, step: float) -> list[Floats]:
    """Average over two tiles each way, so that every pattern of probes counts alike."""
    totals = [np.zeros_like(field) for field in fields]
    weight = np.zeros_like(near)
    for dy in range(-TILE, TILE):
        for dx in range(-TILE, TILE):
            there_rows, here_rows = _overlap(dy, near.shape[0])
            there_columns, here_columns = _overlap(dx, near.shape[1])
            here, there = (here_rows, here_columns), (there_rows, there_columns)
            share = np.einsum("ijd,ijd->ij", normal[here], normal[there]) > 0.9
            share &= np.abs(near[here] - near[there]) < step * (1 + abs(dx) + abs(dy))
            for total, field in zip(totals, fields, strict=True):
                total[here] += np.where(share, field[there], 0.0)
            weight[here] += share
    return [
        np.divide(total, weight, out=field.copy(), where=weight > 0)
        for total, field in zip(totals, fields, strict=True)
    ]


def _frame(normal: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Two unit vectors square to each normal and to each other, without a pole.

    After T. Duff et al., "Building an Orthonormal Basis, Revisited", JCGT 6(1), 2017.
    """
    x, y, z = normal.T
    sign = np.where(z >= 0, 1.0, -1.0).astype(normal.dtype)
    a = -1.0 / (sign + z)
    b = x * y * a
    first = np.column_stack([1.0 + sign * x * x * a, sign * b, -sign * x])
    second = np.column_stack([b, sign + y * y * a, -y])
    return first, second


def _overlap(step: int, length: int) -> tuple[slice, slice]:
    """Slices of a row and of the same row moved by a step."""
    return slice(max(step, 0), length + min(step, 0)), slice(max(-step, 0), length + min(-step, 0))
