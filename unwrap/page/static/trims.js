// The chosen region's limits as lines to drag, in straight-on views.

export class Trims {
  // `changed` is told the limits while a line is dragged, and once more, with true, when it is let go.
  constructor(layer, canvas, camera, changed) {
    Object.assign(this, { layer, canvas, camera, changed, within: null, bounds: null });
  }

  setWithin(within, bounds) {
    this.within = within;
    this.bounds = bounds;
    this.place();
  }

  place() {
    const axes = this.within && this.bounds ? this.camera.axes() : null;
    const wanted = axes ? [["across", "upright"], ["upward", "across"]].flatMap(([way, look]) =>
      [0, 1].map((end) => ({ ...axes[way], look, end }))) : [];
    while (this.layer.children.length > wanted.length) this.layer.lastChild.remove();
    while (this.layer.children.length < wanted.length) this.layer.append(this.line());
    wanted.forEach((one, i) => this.placeLine(this.layer.children[i], one));
  }

  placeLine(line, one) {
    const value = this.limit(one.axis, one.end);
    line.className = `trim ${one.look}${this.within[one.axis] ? "" : " unset"}`;
    line.trim = one;
    line.title = `Trim at ${one.axis} = ${value.toFixed(2)} mm`;
    const point = [...this.camera.centre];
    point["xyz".indexOf(one.axis)] = value;
    const [x, y] = this.camera.project(point);
    const upright = one.look === "upright";
    line.style.left = upright ? `${clamp(x, 2, this.camera.width - 2)}px` : "";
    line.style.top = upright ? "" : `${clamp(y, 2, this.camera.height - 2)}px`;
  }

  limit(axis, end) {
    return this.within[axis]?.[end] ?? this.bounds[end ? "high" : "low"]["xyz".indexOf(axis)];
  }

  line() {
    const line = document.createElement("div");
    line.addEventListener("pointerdown", (event) => {
      line.setPointerCapture(event.pointerId);
      line.held = true;
      event.preventDefault();
    });
    line.addEventListener("pointermove", (event) => { if (line.held) this.drag(line, event, false); });
    line.addEventListener("pointerup", (event) => {
      if (!line.held) return;
      line.held = false;
      this.drag(line, event, true);
    });
    return line;
  }

  drag(line, event, done) {
    const { axis, end } = line.trim;
    const frame = this.canvas.getBoundingClientRect();
    const place = this.camera.ray(event.clientX - frame.left, event.clientY - frame.top).origin;
    const pair = [this.limit(axis, 0), this.limit(axis, 1)];
    pair[end] = place["xyz".indexOf(axis)];
    if (pair[0] < pair[1]) this.within = { ...this.within, [axis]: pair.map(hundredths) };
    this.place();
    this.changed(this.within, done);
  }
}

export const hundredths = (v) => Math.round(v * 100) / 100;
const clamp = (v, low, high) => Math.max(low, Math.min(high, v));
