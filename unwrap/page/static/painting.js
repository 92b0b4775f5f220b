// Regions and pieces painted on the body: in the regions' own hues, in the livery, or by strain.

import { printed, strained } from "./picture.js";
import { store } from "./store.js";

const BARE = [203, 207, 210];
const AMBER = [0.82, 0.47, 0, 1], PALE = [0.95, 0.72, 0.36, 1];
// Quiet hues that keep apart for common kinds of colour blindness.
const HUES = [[86, 142, 180], [222, 165, 74], [96, 160, 136], [190, 120, 160], [150, 130, 200], [200, 120, 90], [120, 150, 80], [120, 120, 140]];

export class Painting {
  // `shows` tells what is wanted: "livery", "strain" or "regions"
  constructor(drawing, shows) {
    Object.assign(this, { drawing, shows, coloured: 0 });
  }

  // In the fill's colour where the region has one, else in a hue of its own.
  hueOf(region, i) {
    const names = [region.name, region.mirror_of];
    const fill = store.state.fill.findLast((mark) => mark.region.some((name) => names.includes(name)));
    if (fill && this.shows() !== "regions") return [1, 3, 5].map((k) => parseInt(fill.colour.slice(k, k + 2), 16));
    return HUES[i % HUES.length];
  }

  pictureOf(found) {
    if (this.shows() === "strain") return found.strained ??= strained(found);
    return found.printed ??= printed(found);
  }

  paint() {
    const { drawing } = this;
    if (!drawing.body) return;
    const marks = store.faceMarks = drawing.faceMarks.fill(0);
    const colours = [BARE];
    const keep = new Set();
    store.state.regions.forEach((region, i) => {
      const hue = this.hueOf(region, i);
      colours.push(hue);
      const shape = store.shapes.get(region.name);
      if (!shape) return;
      for (const face of shape.whole) marks[face] = i + 1;
      if (shape.corners.length) {
        this.layOn(`rest of ${region.name}`, shape.corners, { places: shape.corners });
        drawing.patches.get(`rest of ${region.name}`).colour = [...hue.map((v) => v / 255), 1];
        keep.add(`rest of ${region.name}`);
      }
      const found = store.pieces.get(region.name);
      if (found && found.shape === region.shape && this.shows() !== "regions") {
        keep.add(region.name);
        const picture = this.pictureOf(found);
        this.layOn(region.name, picture, { places: found.places, flat: found.points, faces: found.faces, picture: picture.canvas, frame: picture.frame, lift: found.piece.lift });
      }
    });
    for (const name of [...drawing.patches.keys()]) if (!keep.has(name)) drawing.dropPatch(name);
    drawing.setMarks(marks);
    drawing.setColours(colours);
    this.outline();
    this.coloured = store.state.regions.filter((region) => store.shapes.has(region.name)).length;
  }

  // Nothing is sent to be drawn a second time; `from` tells what it was made of.
  layOn(name, from, patch) {
    if (this.drawing.patches.get(name)?.from === from) return;
    this.drawing.setPatch(name, patch);
    this.drawing.patches.get(name).from = from;
  }

  // The chosen region's border, and round the details that its film is carried over.
  outline() {
    const shape = store.shapes.get(store.chosen);
    const piece = store.pieces.get(store.chosen)?.piece;
    const lift = piece?.lift ?? 0;
    const holes = (piece?.details ?? []).filter((detail) => detail.kind === "hole");
    this.drawing.setStrokes("border", shape?.border, AMBER, 2.5, lift);
    this.drawing.setStrokes("details", shape?.details, PALE, 1.2, lift);
    this.drawing.setStrokes("holes", rings(holes), PALE, 1.2, lift);
  }
}

// Rings round what is closed over and so has no outline of its own on the surface.
function rings(details) {
  const segments = new Float32Array(details.length * 12 * 6);
  details.forEach(({ at, normal, width }, d) => {
    const aside = Math.abs(normal[0]) < 0.9 ? [0, normal[2], -normal[1]] : [-normal[2], 0, normal[0]];
    const length = Math.hypot(...aside);
    const u = aside.map((v) => v / length);
    const w = [normal[1] * u[2] - normal[2] * u[1], normal[2] * u[0] - normal[0] * u[2], normal[0] * u[1] - normal[1] * u[0]];
    const spot = (k) => at.map((v, i) => v + 0.15 * normal[i] + (width / 2 + 0.1) * (u[i] * Math.cos(k * Math.PI / 6) + w[i] * Math.sin(k * Math.PI / 6)));
    for (let k = 0; k < 12; k++) segments.set([...spot(k), ...spot(k + 1)], (d * 12 + k) * 6);
  });
  return segments;
}
