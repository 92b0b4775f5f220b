// The corners of a line that was drawn round, to be moved one by one: by dragging, by the arrow keys,
// taken out by Delete; a dot between two corners makes a new one.

import { PLANES } from "./drawn.js";
import { make } from "./forms.js";
import { hundredths } from "./trims.js";

export class Corners {
  // `layer` holds the dots, `lines` is an svg over the body; `changed` is told the line's number and its new corners.
  constructor(layer, lines, canvas, camera, changed) {
    Object.assign(this, { layer, canvas, camera, changed, number: null, view: null, corners: [] });
    this.shape = lines.appendChild(document.createElementNS("http://www.w3.org/2000/svg", "polygon"));
  }

  // Show a line's corners, or none.
  show(number, line) {
    Object.assign(this, { number: line ? number : null, view: line?.view ?? null, corners: line?.keep ?? line?.drop ?? [] });
    this.place();
  }

  get shown() { return this.number !== null; }

  place() {
    if (this.shown && this.view !== this.camera.view) { this.show(null); return; }
    const spots = this.corners.map((corner) => this.toPage(corner));
    this.shape.setAttribute("points", spots.map((spot) => spot.map((v) => v.toFixed(1)).join()).join(" "));
    const wanted = 2 * spots.length; // each corner, and the middle of the side that begins there
    this.layer.hidden = !wanted;
    while (this.layer.children.length > wanted) this.layer.lastChild.remove();
    while (this.layer.children.length < wanted) this.layer.append(this.dot());
    spots.forEach((spot, i) => {
      const next = spots[(i + 1) % spots.length], [dot, between] = [2 * i, 2 * i + 1].map((k) => this.layer.children[k]);
      put(dot, spot, i, `Corner ${i + 1} of ${spots.length}: ${this.corners[i].map((v) => v.toFixed(1)).join(", ")} mm`);
      put(between, [0, 1].map((k) => (spot[k] + next[k]) / 2), i, "");
      between.classList.add("between");
      between.tabIndex = -1;
      between.setAttribute("aria-hidden", "true");
    });
  }

  toPage(corner) {
    const place = [...this.camera.centre];
    PLANES[this.view].forEach((axis, k) => { place[axis] = corner[k]; });
    return this.camera.project(place);
  }

  dot() {
    const dot = make("button", { type: "button", className: "corner" });
    dot.addEventListener("pointerdown", (event) => {
      dot.setPointerCapture(event.pointerId);
      if (dot.classList.contains("between")) this.corners = this.corners.toSpliced(dot.number + 1, 0, this.under(event));
      this.held = { dot, number: dot.number + (dot.classList.contains("between") ? 1 : 0) };
      event.preventDefault();
    });
    dot.addEventListener("pointermove", (event) => { if (this.held?.dot === dot) this.set(this.held.number, this.under(event), dot); });
    const release = () => { if (this.held?.dot === dot) { this.held = null; this.tell(); } };
    dot.addEventListener("pointerup", release);
    dot.addEventListener("pointercancel", release);
    dot.addEventListener("keydown", (event) => this.key(event, dot.number));
    return dot;
  }

  // While a dot is held the others stay what they are, so that the held one keeps the pointer.
  set(number, corner, dot) {
    this.corners = this.corners.with(number, corner);
    const [x, y] = this.toPage(corner);
    if (dot) dot.style.transform = `translate(${x}px, ${y}px)`;
    this.shape.setAttribute("points", this.corners.map((one) => this.toPage(one).map((v) => v.toFixed(1)).join()).join(" "));
  }

  under(event) {
    const frame = this.canvas.getBoundingClientRect();
    const place = this.camera.ray(event.clientX - frame.left, event.clientY - frame.top).origin;
    return PLANES[this.view].map((axis) => hundredths(place[axis]));
  }

  key(event, number) {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (event.key === "Delete" && this.corners.length > 3) this.corners = this.corners.toSpliced(number, 1);
    else if (step) {
      const { right } = this.camera, far = event.shiftKey ? 1 : 0.1;
      const across = Math.sign(right[PLANES[this.view][0]]) || 1; // some views show an axis from its far end
      this.corners = this.corners.with(number, [0, 1].map((k) => hundredths(this.corners[number][k] + far * step[k] * (k ? 1 : across))));
    } else return;
    event.preventDefault();
    event.stopPropagation();
    this.place();
    clearTimeout(this.later);
    this.later = setTimeout(() => this.tell(), 500);
  }

  tell() {
    this.place();
    this.changed(this.number, this.corners, this.view);
  }
}

function put(dot, [x, y], number, label) {
  dot.className = "corner";
  dot.number = number;
  dot.style.transform = `translate(${x}px, ${y}px)`;
  dot.tabIndex = 0;
  dot.removeAttribute("aria-hidden");
  dot.setAttribute("aria-label", label);
}
