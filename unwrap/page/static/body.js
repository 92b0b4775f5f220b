// Turning, sliding, zooming, clicking and drawing on the picture of the body.

import { Corners } from "./corners.js";
import { Drawn } from "./drawn.js";
import { setRuler } from "./flat.js";
import { Trims } from "./trims.js";

const CLICK = 4; // pixels that a press may move and still be a click
const DRAWING = ["box", "lasso"]; // tools that draw on a straight-on view

export class BodyView {
  // `on` has: chosen(px), pointed(px or null), trimmed(within, done), drawn(corners or null), moved(number, corners, view), turned(view or null)
  constructor(drawing, camera, elements, on) {
    Object.assign(this, { drawing, camera, on, tool: null, pressed: new Map() });
    Object.assign(this, elements); // canvas, trims, corners, drawn, here, ruler
    this.limits = new Trims(elements.trims, this.canvas, camera, on.trimmed);
    this.round = new Drawn(elements.drawn, camera, on.drawn);
    this.single = new Corners(elements.corners, elements.drawn, this.canvas, camera, on.moved);
    this.listen();
    new ResizeObserver(() => { if (this.canvas.clientWidth) { this.measure(); this.redraw(); } }).observe(this.canvas);
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
      this.on.turned(this.camera.view);
      setRuler(this.ruler, this.camera.perMm);
      this.limits.place();
      this.round.place();
      this.single.place();
      this.point(this.pointed);
    });
  }

  // A cross over a place of the body, mm, or none. It lies over the picture, which need not be drawn again.
  point(place) {
    this.pointed = place;
    this.here.hidden = !place;
    if (!place) return;
    const [x, y] = this.camera.project(place);
    this.here.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)`;
  }

  // What a press on the body does; null turns it.
  setTool(tool) {
    this.tool = tool;
    this.round.clear();
    this.single.show(null);
    this.canvas.classList.toggle("aiming", Boolean(tool));
    this.trims.hidden = DRAWING.includes(tool); // one thing to draw with at a time
    if (DRAWING.includes(tool) && !this.camera.view) this.look(this.camera.nearestView());
  }

  look(view) {
    this.camera.turnTo(view);
    this.camera.fill();
    this.redraw();
  }

  get drawingNow() {
    return DRAWING.includes(this.tool) && Boolean(this.camera.view);
  }

  // ---------------------------------------------------------------- pointer

  listen() {
    const { canvas } = this;
    canvas.addEventListener("pointerdown", (event) => this.down(event));
    canvas.addEventListener("pointermove", (event) => this.move(event));
    canvas.addEventListener("pointerup", (event) => this.up(event));
    canvas.addEventListener("pointercancel", (event) => { this.pressed.delete(event.pointerId); this.round.clear(); });
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
    if (this.pressed.size === 1) this.start = { x: event.offsetX, y: event.offsetY, moved: false, slides: event.shiftKey || event.button !== 0 };
    else if (this.start?.moved && this.drawingNow) this.round.clear(); // a second finger slides instead
  }

  move(event) {
    const was = this.pressed.get(event.pointerId);
    if (!was) {
      this.on.pointed([event.offsetX, event.offsetY]);
      return;
    }
    const { start } = this;
    if (!start.moved) {
      if (Math.hypot(event.offsetX - start.x, event.offsetY - start.y) < CLICK) return;
      start.moved = true;
      if (this.drawingNow && this.pressed.size === 1 && !start.slides) this.round.press(this.tool, start.x, start.y);
    }
    const dx = event.offsetX - was.x, dy = event.offsetY - was.y;
    if (this.pressed.size === 2) this.pinch(event, was, dx, dy);
    else if (this.round.from) this.round.drag(event.offsetX, event.offsetY);
    else if (start.slides || event.buttons & 6 || this.drawingNow) this.camera.slide(dx, dy);
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
    if (this.round.from) this.round.release();
    else if (this.start && !this.start.moved && event.button === 0) this.press(event.offsetX, event.offsetY);
    this.start = this.pressed.size ? this.start : null;
  }

  press(x, y) {
    if (this.tool === "lasso" && this.drawingNow) this.round.corner(x, y);
    else this.on.chosen([x, y]);
  }

  key(event) {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const { camera } = this;
    if (step) {
      if (event.shiftKey || this.drawingNow) camera.slide(-20 * step[0], -20 * step[1]);
      else camera.turn(step[0] * 0.12, step[1] * 0.12);
    } else if (event.key === "+" || event.key === "=") camera.zoom(1.2);
    else if (event.key === "-") camera.zoom(1 / 1.2);
    else if (event.key === "Enter") this.press(camera.width / 2, camera.height / 2);
    else return;
    event.preventDefault();
    this.redraw();
  }
}
