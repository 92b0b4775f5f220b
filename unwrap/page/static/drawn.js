// Drawing round a part of the body on a straight-on view: a box, or a line of any shape, in one
// go or corner by corner. Corners are kept in mm on the body, so they follow when it is slid.

import { hundredths } from "./trims.js";

export const PLANES = { left: [0, 2], right: [0, 2], front: [1, 2], rear: [1, 2], top: [0, 1] };
const FINE = 3; // pixels between two places of a line drawn in one go
const STRAIGHT = 0.8; // pixels that the line may be off after needless corners are left out

export class Drawn {
  // `layer` is an svg over the body; `changed` is told the corners whenever they are other ones.
  constructor(layer, camera, changed) {
    Object.assign(this, { layer, camera, changed, corners: [], view: null, from: null, path: null });
    this.shape = document.createElementNS("http://www.w3.org/2000/svg", "polygon");
    this.layer.append(this.shape);
  }

  clear() {
    Object.assign(this, { corners: [], view: null, from: null, path: null });
    this.place();
    this.changed(null);
  }

  press(kind, x, y) {
    if (this.view !== this.camera.view) this.clear();
    this.view = this.camera.view;
    Object.assign(this, { kind, from: [x, y], path: null });
  }

  drag(x, y) {
    if (!this.from) return;
    if (this.kind === "box") {
      const [a, b] = this.from;
      this.corners = [[a, b], [x, b], [x, y], [a, y]].map((spot) => this.toBody(spot));
    } else {
      this.path ??= [this.from];
      if (Math.hypot(x - this.path.at(-1)[0], y - this.path.at(-1)[1]) < FINE) return;
      this.path.push([x, y]);
      this.corners = this.path.map((spot) => this.toBody(spot));
    }
    this.place();
  }

  release() {
    if (!this.from) return;
    if (this.path) this.corners = fewer(this.path).map((spot) => this.toBody(spot));
    this.from = this.path = null;
    this.place();
    this.changed(this.corners.length > 2 ? this.corners : null);
  }

  // A corner by a click, or by Enter under the cross.
  corner(x, y) {
    if (this.view !== this.camera.view) this.clear();
    this.view = this.camera.view;
    this.from = null;
    this.corners.push(this.toBody([x, y]));
    this.place();
    if (this.corners.length > 2) this.changed(this.corners);
  }

  toBody(spot) {
    const place = this.camera.ray(...spot).origin;
    return PLANES[this.camera.view].map((axis) => hundredths(place[axis]));
  }

  // Where the corners are on the screen now; what was drawn on another view goes.
  place() {
    if (this.view && this.view !== this.camera.view) { this.clear(); return; }
    const spots = this.corners.map((corner) => {
      const place = [...this.camera.centre];
      PLANES[this.view].forEach((axis, k) => { place[axis] = corner[k]; });
      return this.camera.project(place);
    });
    this.shape.setAttribute("points", spots.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(" "));
  }
}

// The limits that a box on a view stands for.
export function boxLimits(view, corners) {
  return Object.fromEntries(PLANES[view].map((axis, k) => {
    const along = corners.map((corner) => corner[k]);
    return ["xyz"[axis], [Math.min(...along), Math.max(...along)]];
  }));
}

// Leave out corners that are not needed (Ramer 1972; Douglas and Peucker 1973).
function fewer(path) {
  if (path.length < 3) return path;
  const [a, b] = [path[0], path.at(-1)];
  const run = [b[0] - a[0], b[1] - a[1]], length = Math.hypot(...run);
  let worst = 0, where = 0;
  for (let i = 1; i < path.length - 1; i++) {
    const off = [path[i][0] - a[0], path[i][1] - a[1]];
    const away = length > 1 ? Math.abs(run[0] * off[1] - run[1] * off[0]) / length : Math.hypot(...off);
    if (away > worst) [worst, where] = [away, i];
  }
  if (worst <= STRAIGHT) return [a, b];
  return [...fewer(path.slice(0, where + 1)).slice(0, -1), ...fewer(path.slice(where))];
}
