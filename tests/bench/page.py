"""How long the marking page keeps a modeller waiting: `python tests/bench/page.py`.

Prints seconds, and multiples of an empty request on the same machine, for bodies of 200,000
and 1,000,000 faces in headless Chromium without a graphics processor.
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
    const look = () => window.markingPage.coloured() > before
      ? requestAnimationFrame(() => done(performance.now() - begun)) : requestAnimationFrame(look);
    look();
  }, { once: true });
}); }"""


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


def until(page: Page, expression: str) -> None:
    while not page.evaluate(expression):
        time.sleep(0.02)


def measure(faces: int, page: Page, folder: Path) -> None:
    body = tube(faces)
    (folder / "tube.stl").write_bytes(body.export(file_type="stl"))
    job = folder / "job.toml"
    job.write_text('[job]\nname = "tube"\nscale = "1:76.2"\n[body]\nfile = "tube.stl"\n')
    begun = time.perf_counter()
    with Serving(job) as serving:
        page.goto(serving.address)
        until(page, "Boolean(window.markingPage?.state()?.body)")
        page.evaluate("window.markingPage.ready")
        opened = time.perf_counter() - begun
        empty = page.evaluate(
            """async () => { const times = [];
            for (let i = 0; i < 30; i++) {
                const t = performance.now();
                await fetch('making');
                times.push(performance.now() - t);
            }
            return times.sort((a, b) => a - b)[15]; }"""
        )
        serving.session.outside()
        page.get_by_role("button", name="Left", exact=True).click()
        page.get_by_role("button", name="Mark a region").click()
        page.evaluate(CLICK)
        x, y = page.evaluate("window.markingPage.project([0, 14, 0])")
        page.mouse.click(x, y)
        click = page.evaluate("window.clicked")
        print(
            f"{len(body.faces):>9,} faces: empty request {empty:.1f} ms; opened and drawn {opened:.2f} s "
            f"({1000 * opened / empty:.0f} x); coloured after a click {click:.0f} ms ({click / empty:.0f} x)"
        )


def main() -> None:
    sizes = [int(text) for text in sys.argv[1:]] or [200_000, 1_000_000]
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as folder:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), headless=True, args=QUIET
        )
        page = browser.new_page(viewport={"width": 1400, "height": 900})
        for faces in sizes:
            measure(faces, page, Path(folder))
        browser.close()


if __name__ == "__main__":
    main()
