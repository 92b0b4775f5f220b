"""How long the marking page keeps a modeller waiting: `python tests/bench/page.py [FACES ...]`.

Prints seconds, and multiples of an empty request on the same machine, in headless Chromium
without a graphics processor: a body of 200,000 and one of 1,000,000 faces opened and a side of
it clicked, each until the picture is drawn to the end; and the flat
pieces of 20,000 faces, of a barrel and of a dome, after another limit was put in: until the first
shape and until the full one is shown.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import trimesh
from playwright.sync_api import Page, sync_playwright

from unwrap.page.server import Serving

QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
]
CLICK = """() => { window.clicked = new Promise((done) => {
  const canvas = document.getElementById('body');
  const before = window.markingPage.coloured();
  canvas.addEventListener('pointerup', () => {
    const begun = performance.now();
    const drawn = () => { window.markingPage.drawn(); done(performance.now() - begun); };
    const look = () => requestAnimationFrame(window.markingPage.coloured() > before ? () => setTimeout(drawn) : look);
    look();
  }, { once: true });
}); }"""
EMPTY = """async () => { const times = [];
  for (let i = 0; i < 30; i++) {
    const t = performance.now();
    await fetch('making');
    times.push(performance.now() - t);
  }
  return times.sort((a, b) => a - b)[15]; }"""
# Put another limit in, and tell when the region's first and its full piece are shown for it.
CHANGED = """(limit) => new Promise((done) => {
  const begun = performance.now(), old = window.markingPage.piece().key, now = () => window.markingPage.piece().key;
  let first = null;
  const field = document.querySelector('[data-key="region within x 1"]');
  field.value = limit;
  field.dispatchEvent(new Event('change', { bubbles: true }));
  const look = () => {
    const key = now(), passed = performance.now() - begun;
    if (key !== old && key.startsWith('first')) first ??= passed;
    if (key !== old && !key.startsWith('first')) done([first ?? passed, passed]);
    else requestAnimationFrame(look);
  };
  look();
})"""
LIMITS = (22.0, 21.5, 21.0)


def tube(faces: int) -> trimesh.Trimesh:
    """A closed tube with domed ends, evenly meshed: its flank is one smooth region."""
    around = int(np.sqrt(faces / 6))
    stations = faces // (2 * around)
    turn = np.linspace(-np.pi / 2, np.pi / 2, stations + 1)[1:-1]
    x = 60.0 * np.sin(turn) ** 3 + 10 * np.sin(turn)
    radius = 14.0 * np.cos(turn) ** 0.5
    angle = np.arange(around) * 2 * np.pi / around
    rings = np.stack(
        [
            np.repeat(x[:, None], around, 1),
            radius[:, None] * np.cos(angle),
            radius[:, None] * np.sin(angle),
        ],
        axis=-1,
    ).reshape(-1, 3)
    near = np.arange(around)
    far = np.roll(near, -1)
    quads = [
        np.concatenate(
            [
                np.column_stack([k + near, k + far, k + around + far]),
                np.column_stack([k + near, k + around + far, k + around + near]),
            ]
        )
        for k in range(0, around * (len(turn) - 1), around)
    ]
    last, poles = around * (len(turn) - 1), len(rings)
    caps = [
        np.column_stack([np.full(around, poles), far, near]),
        np.column_stack([np.full(around, poles + 1), last + near, last + far]),
    ]
    ends = np.array([[x[0] - 0.01, 0, 0], [x[-1] + 0.01, 0, 0]])
    return trimesh.Trimesh(np.concatenate([rings, ends]), np.concatenate([*quads, *caps]), process=False)


def barrel(faces: int) -> trimesh.Trimesh:
    """A straight tube with flat ends, evenly meshed."""
    around = int(np.sqrt(faces / 3))
    stations = faces // (2 * around)
    x = np.linspace(-30.0, 30.0, stations + 1)
    angle = np.arange(around) * 2 * np.pi / around
    ring = np.column_stack([14.0 * np.cos(angle), 14.0 * np.sin(angle)])
    places = np.column_stack([np.repeat(x, around), np.tile(ring, (stations + 1, 1))])
    near, far = np.arange(around), np.roll(np.arange(around), -1)
    rows = np.arange(stations)[:, None] * around
    quads = [np.stack([rows + near, rows + far, rows + around + far], axis=-1)]
    quads.append(np.stack([rows + near, rows + around + far, rows + around + near], axis=-1))
    last, middle = stations * around, len(places)
    ends = [np.column_stack([np.full(around, middle), far, near])]
    ends.append(np.column_stack([np.full(around, middle + 1), last + near, last + far]))
    places = np.concatenate([places, [[-30.0, 0, 0], [30.0, 0, 0]]])
    return trimesh.Trimesh(places, np.concatenate([q.reshape(-1, 3) for q in quads + ends]), process=False)


def until(page: Page, expression: str) -> None:
    while not page.evaluate(expression):
        time.sleep(0.02)


def job_for(body: trimesh.Trimesh, folder: Path, region: str = "") -> Path:
    (folder / "body.stl").write_bytes(body.export(file_type="stl"))
    job = folder / "job.toml"
    job.write_text(f'[job]\nname = "bench"\nscale = "1:76.2"\n[body]\nfile = "body.stl"\n{region}')
    return job


def measure_click(faces: int, page: Page, folder: Path) -> None:
    body = tube(faces)
    job = job_for(body, folder)
    begun = time.perf_counter()
    with Serving(job) as serving:
        page.goto(serving.address)
        until(page, "Boolean(window.markingPage?.state()?.body)")
        page.evaluate("window.markingPage.ready")
        page.evaluate("window.markingPage.drawn()")
        opened = time.perf_counter() - begun
        serving.session.get_ready()
        empty = page.evaluate(EMPTY)
        page.get_by_role("button", name="Left", exact=True).click()
        page.get_by_role("button", name="Mark a region").click()
        page.evaluate(CLICK)
        x, y = page.evaluate("window.markingPage.project([0, 14, 0])")
        page.mouse.click(x, y)
        click = page.evaluate("window.clicked")
        print(
            f"{len(body.faces):>9,} faces: empty request {empty:.1f} ms; opened and drawn {opened:.2f} s "
            f"({1000 * opened / empty:.0f} x); coloured after a click {click:.0f} ms ({click / empty:.0f} x)",
            flush=True,
        )


def measure_piece(name: str, body: trimesh.Trimesh, page: Page, folder: Path) -> None:
    job = job_for(
        body,
        folder,
        '[[region]]\nname = "flank"\nat = [0, 14, 0]\nwithin = { x = [-20, 20], z = [-9, 15] }\n',
    )
    with Serving(job) as serving:
        page.goto(serving.address)
        until(page, "Boolean(window.markingPage?.settled())")
        empty = page.evaluate(EMPTY)
        first, full = np.array([page.evaluate(CHANGED, str(limit)) for limit in LIMITS]).T
        count = page.evaluate("window.markingPage.piece().faces.length / 3")
        print(
            f"{name} of {count:,.0f} faces: first shape {told(first, empty)}, full {told(full, empty)}; "
            f"empty request {empty:.1f} ms",
            flush=True,
        )


def told(times: np.ndarray, empty: float) -> str:
    """The middle one of some times, and the range that they lie in."""
    middle = float(np.median(times))
    return f"{middle:.0f} ({times.min():.0f} to {times.max():.0f}) ms ({middle / empty:.0f} x)"


def main() -> None:
    sizes = [int(text) for text in sys.argv[1:]] or [200_000, 1_000_000]
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as folder:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), headless=True, args=QUIET
        )
        page = browser.new_page(viewport={"width": 1400, "height": 900})
        for faces in sizes:
            measure_click(faces, page, Path(folder))
        measure_piece("a barrel's piece", barrel(44_000), page, Path(folder))
        measure_piece("a domed piece", tube(44_000), page, Path(folder))
        browser.close()


if __name__ == "__main__":
    main()
