// Turning, pointing and trimming on the picture of the body.

import { setRuler } from "./flat.js";

const CLICK = 4; // pixels that a press may move and still be a click

export class BodyView {
  // `on` has: chosen(place, event), pointed(place|null), trimmed(within, done), box(within)
  constructor(drawing, camera, elements, on) {
    Object.assign(this, { drawing, camera, on, mode: "turn", pressed: new Map(), within: null, bounds: null });
    Object.assign(this, elements); // canvas, trims, ruler
    this.listen();
    new ResizeObserver(() => { this.measure(); this.redraw(); }).observe(this.canvas);
    this.measure();
  }

  measure() {
    [this.camera.width, this.camera.height] = this.drawing.resize();
    if (!this.camera.moved) this.camera.fill();
  }

  redraw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.drawing.draw(this.camera);
      setRuler(this.ruler, this.camera.perMm);
      this.placeTrims();
    });
  }

  setMode(mode) {
    this.mode = mode;
    this.canvas.classList.toggle("marking", mode === "mark");
    this.canvas.classList.toggle("boxing", mode === "box");
  }

  look(view) {
    this.camera.turnTo(view);
    this.camera.fill();
    this.redraw();
  }

  // ---------------------------------------------------------------- pointer

  listen() {
    const { canvas } = this;
    canvas.addEventListener("pointerdown", (event) => this.down(event));
    canvas.addEventListener("pointermove", (event) => this.move(event));
    canvas.addEventListener("pointerup", (event) => this.up(event));
    canvas.addEventListener("pointercancel", (event) => { this.pressed.delete(event.pointerId); this.dropBox(); });
    canvas.addEventListener("pointerleave", () => { if (!this.pressed.size) this.on.pointed(null); });
    canvas.addEventListener("contextmenu", (event) => event.preventDefault());
    canvas.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.camera.zoom(Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.0016)), event.offsetX, event.offsetY);
      this.redraw();
    }, { passive: false });
    canvas.addEventListener("keydown", (event) => this.key(event));
  }

  down(event) {
    this.canvas.setPointerCapture(event.pointerId);
    this.pressed.set(event.pointerId, { x: event.offsetX, y: event.offsetY });
    if (this.pressed.size === 1) this.start = { x: event.offsetX, y: event.offsetY, moved: false };
    if (this.mode === "box" && this.camera.view) this.beginBox(event);
  }

  move(event) {
    const was = this.pressed.get(event.pointerId);
    if (!was) {
      this.on.pointed([event.offsetX, event.offsetY]);
      return;
    }
    const dx = event.offsetX - was.x, dy = event.offsetY - was.y;
    const away = Math.hypot(event.offsetX - this.start.x, event.offsetY - this.start.y);
    if (!this.start.moved && away < CLICK) return;
    this.start.moved = true;
    if (this.drag) this.growBox(event);
    else if (this.pressed.size === 2) this.pinch(event, was, dx, dy);
    else if (event.shiftKey || event.buttons & 6) this.camera.slide(dx, dy);
    else this.camera.turn(dx * 0.008, dy * 0.008);
    this.pressed.set(event.pointerId, { x: event.offsetX, y: event.offsetY });
    this.redraw();
  }

  pinch(event, was, dx, dy) {
    const other = [...this.pressed.entries()].find(([id]) => id !== event.pointerId)[1];
    const before = Math.hypot(was.x - other.x, was.y - other.y);
    const now = Math.hypot(event.offsetX - other.x, event.offsetY - other.y);
    this.camera.zoom(now / Math.max(before, 1), (event.offsetX + other.x) / 2, (event.offsetY + other.y) / 2);
    this.camera.slide(dx / 2, dy / 2);
  }

  up(event) {
    this.pressed.delete(event.pointerId);
    if (this.drag) { this.endBox(); return; }
    if (this.start && !this.start.moved && event.button === 0) this.on.chosen([event.offsetX, event.offsetY]);
    this.start = this.pressed.size ? this.start : null;
  }

  key(event) {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const { camera } = this;
    if (step) {
      if (event.shiftKey) camera.slide(-20 * step[0], -20 * step[1]);
      else camera.turn(step[0] * 0.12, step[1] * 0.12);
    } else if (event.key === "+" || event.key === "=") camera.zoom(1.2);
    else if (event.key === "-") camera.zoom(1 / 1.2);
    else if (event.key === "Enter") this.on.chosen([camera.width / 2, camera.height / 2]);
    else return;
    event.preventDefault();
    this.redraw();
  }

  // ---------------------------------------------------------------- trims

  // The chosen region's limits; lines to drag appear in straight-on views.
  setWithin(within, bounds) {
    this.within = within;
    this.bounds = bounds;
    this.placeTrims();
  }

  placeTrims() {
    const axes = this.within && this.bounds ? this.camera.axes() : null;
    const wanted = axes ? [["across", "upright"], ["upward", "across"]].flatMap(([way, look]) =>
      [0, 1].map((end) => ({ ...axes[way], look, end }))) : [];
    while (this.trims.children.length > wanted.length) this.trims.lastChild.remove();
    while (this.trims.children.length < wanted.length) this.trims.append(this.trimLine());
    wanted.forEach((one, i) => {
      const line = this.trims.children[i];
      line.className = `trim ${one.look}${this.within[one.axis] ? "" : " unset"}`;
      line.trim = one;
      const value = this.limit(one.axis, one.end);
      line.title = `Trim at ${one.axis} = ${value.toFixed(2)} mm`;
      const point = [...this.camera.centre];
      point["xyz".indexOf(one.axis)] = value;
      const [x, y] = this.camera.project(point);
      if (one.look === "upright") { line.style.left = `${clamp(x, 2, this.camera.width - 2)}px`; line.style.top = ""; }
      else { line.style.top = `${clamp(y, 2, this.camera.height - 2)}px`; line.style.left = ""; }
    });
  }

  limit(axis, end) {
    const i = "xyz".indexOf(axis);
    return this.within[axis]?.[end] ?? this.bounds[end ? "high" : "low"][i];
  }

  trimLine() {
    const line = document.createElement("div");
    line.addEventListener("pointerdown", (event) => { line.setPointerCapture(event.pointerId); line.held = true; event.preventDefault(); });
    line.addEventListener("pointermove", (event) => { if (line.held) this.dragTrim(line, event, false); });
    line.addEventListener("pointerup", (event) => { if (line.held) { line.held = false; this.dragTrim(line, event, true); } });
    return line;
  }

  dragTrim(line, event, done) {
    const { axis, end } = line.trim;
    const frame = this.canvas.getBoundingClientRect();
    const value = round(this.placeAt(event.clientX - frame.left, event.clientY - frame.top)["xyz".indexOf(axis)]);
    const pair = [this.limit(axis, 0), this.limit(axis, 1)];
    pair[end] = value;
    if (pair[0] < pair[1]) this.within = { ...this.within, [axis]: pair.map(round) };
    this.placeTrims();
    this.on.trimmed(this.within, done);
  }

  placeAt(x, y) {
    return this.camera.ray(x, y).origin;
  }

  beginBox(event) {
    this.drag = { from: [event.offsetX, event.offsetY], element: document.createElement("div") };
    this.drag.element.className = "box";
    this.trims.parentElement.append(this.drag.element);
  }

  growBox(event) {
    this.drag.to = [event.offsetX, event.offsetY];
    const [a, b] = [this.drag.from, this.drag.to];
    Object.assign(this.drag.element.style, {
      left: `${Math.min(a[0], b[0])}px`, top: `${Math.min(a[1], b[1])}px`,
      width: `${Math.abs(a[0] - b[0])}px`, height: `${Math.abs(a[1] - b[1])}px`,
    });
  }

  endBox() {
    const { from, to } = this.drag;
    this.dropBox();
    if (!to) return;
    const [p, q] = [this.placeAt(...from), this.placeAt(...to)];
    const axes = this.camera.axes();
    const within = { ...this.within };
    for (const { axis } of [axes.across, axes.upward]) {
      const i = "xyz".indexOf(axis);
      within[axis] = [Math.min(p[i], q[i]), Math.max(p[i], q[i])].map(round);
    }
    this.on.trimmed(within, true);
  }

  dropBox() {
    this.drag?.element.remove();
    this.drag = null;
  }
}

const round = (v) => Math.round(v * 100) / 100;
const clamp = (v, low, high) => Math.max(low, Math.min(high, v));
