// A straight (orthographic) look at the body: no perspective, so that mm can be measured on it.

const VIEWS = {
  left: [90, 0], right: [-90, 0], front: [0, 0], rear: [180, 0], top: [-90, 90], corner: [52, 24],
};
const PX_PER_MM = 96 / 25.4; // of a CSS pixel

const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

export class Camera {
  constructor() {
    this.width = this.height = 1;
    this.centre = [0, 0, 0];
    this.reach = 100; // half the body's diagonal, mm
    this.perMm = 1; // CSS pixels per mm
    this.turnTo("corner");
  }

  fit(low, high) {
    this.centre = low.map((v, i) => (v + high[i]) / 2);
    this.reach = Math.hypot(...low.map((v, i) => high[i] - v)) / 2 || 1;
    this.low = low;
    this.high = high;
    this.fill();
  }

  // Zoom so that the body just fills the frame as it is turned now.
  fill() {
    if (!this.low) return;
    this.centre = this.low.map((v, i) => (v + this.high[i]) / 2);
    let across = 0, upward = 0;
    for (let corner = 0; corner < 8; corner++) {
      const off = this.centre.map((c, i) => (corner >> i & 1 ? this.high[i] : this.low[i]) - c);
      across = Math.max(across, Math.abs(dot(off, this.right)));
      upward = Math.max(upward, Math.abs(dot(off, this.up)));
    }
    this.moved = false;
    this.perMm = 0.92 * Math.min(this.width / (2 * across || 1), this.height / (2 * upward || 1));
  }

  turnTo(view) {
    [this.azimuth, this.tilt] = VIEWS[view].map((v) => v * Math.PI / 180);
    this.view = view === "corner" ? null : view;
    this.aim();
  }

  aim() {
    const [ca, sa, ce, se] = [Math.cos(this.azimuth), Math.sin(this.azimuth), Math.cos(this.tilt), Math.sin(this.tilt)];
    this.eye = [ce * ca, ce * sa, se];
    this.right = [-sa, ca, 0];
    this.up = [-se * ca, -se * sa, ce];
  }

  // The straight-on view that the body is seen from most nearly.
  nearestView() {
    const towards = { left: this.eye[1], right: -this.eye[1], front: this.eye[0], rear: -this.eye[0], top: this.eye[2] };
    return Object.keys(towards).reduce((best, view) => (towards[view] > towards[best] ? view : best));
  }

  turn(dx, dy) {
    this.azimuth -= dx;
    this.tilt = Math.max(-Math.PI / 2, Math.min(Math.PI / 2, this.tilt + dy));
    this.view = null;
    this.moved = true;
    this.aim();
  }

  slide(dx, dy) {
    this.moved = true;
    this.centre = this.centre.map((c, i) => c - (this.right[i] * dx - this.up[i] * dy) / this.perMm);
  }

  zoom(factor, x = this.width / 2, y = this.height / 2) {
    const before = this.perMm;
    this.moved = true;
    this.perMm = Math.max(0.05, Math.min(400, before * factor));
    const shift = 1 - before / this.perMm;
    const dx = (x - this.width / 2) / before * shift, dy = (y - this.height / 2) / before * shift;
    this.centre = this.centre.map((c, i) => c + this.right[i] * dx - this.up[i] * dy);
  }

  realSize() {
    this.perMm = PX_PER_MM;
    this.moved = true;
  }

  project(point) {
    const off = point.map((v, i) => v - this.centre[i]);
    return [this.width / 2 + dot(off, this.right) * this.perMm, this.height / 2 - dot(off, this.up) * this.perMm];
  }

  // The line of sight through a pixel, from outside the body.
  ray(x, y) {
    const dx = (x - this.width / 2) / this.perMm, dy = (this.height / 2 - y) / this.perMm;
    const away = 4 * this.reach + Math.hypot(dx, dy);
    return {
      origin: this.centre.map((c, i) => c + this.right[i] * dx + this.up[i] * dy + this.eye[i] * away),
      direction: this.eye.map((v) => -v),
    };
  }

  // In a straight-on view: which body axis runs across and which upward, with sign.
  axes() {
    if (!this.view) return null;
    const along = (v) => { const i = v.findIndex((c) => Math.abs(c) > 0.9); return { axis: "xyz"[i], sign: Math.sign(v[i]) }; };
    return { across: along(this.right), upward: along(this.up) };
  }

  // Column-major matrix from body mm to clip space.
  matrix() {
    const sx = 2 * this.perMm / this.width, sy = 2 * this.perMm / this.height;
    // Just deep enough for the body, so that film and the face below it are told apart.
    const aside = this.low ? this.low.map((v, i) => (v + this.high[i]) / 2 - this.centre[i]) : [0, 0, 0];
    const sz = -1 / (1.1 * this.reach + Math.abs(dot(aside, this.eye)) + 5);
    const rows = [this.right.map((v) => v * sx), this.up.map((v) => v * sy), this.eye.map((v) => v * sz)];
    const m = [];
    for (let c = 0; c < 3; c++) m.push(rows[0][c], rows[1][c], rows[2][c], 0);
    m.push(-dot(rows[0], this.centre), -dot(rows[1], this.centre), -dot(rows[2], this.centre), 1);
    return new Float32Array(m);
  }
}
