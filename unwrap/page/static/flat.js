// The chosen region's flat piece beside the body, true to scale.

export class Flat {
  constructor(canvas, ruler, scale, onPoint) {
    this.canvas = canvas;
    this.ruler = ruler;
    this.scale = scale;
    this.shown = null;
    this.mark = null; // a place pointed at, mm on the piece
    canvas.addEventListener("pointermove", (event) => {
      if (this.shown) onPoint(this.toPiece(event.offsetX, event.offsetY));
    });
    canvas.addEventListener("pointerleave", () => onPoint(null));
    new ResizeObserver(() => this.draw()).observe(canvas);
  }

  // `piece` as the program tells it, `picture` as picture.js makes it.
  show(piece, picture, strain) {
    this.shown = piece && { piece, picture, strain };
    this.mark = null;
    this.canvas.setAttribute("aria-label", piece ? `The flat piece ${piece.name}` : "No flat piece yet");
    this.draw();
  }

  point(place) {
    this.mark = place;
    this.draw();
  }

  toPiece(x, y) {
    return [(x - this.x0) / this.perMm, (this.y0 - y) / this.perMm];
  }

  toPage([x, y]) {
    return [this.x0 + x * this.perMm, this.y0 - y * this.perMm];
  }

  draw() {
    const dots = Math.min(window.devicePixelRatio || 1, 2);
    const { clientWidth: width, clientHeight: height } = this.canvas;
    this.canvas.width = width * dots;
    this.canvas.height = height * dots;
    const pen = this.canvas.getContext("2d");
    this.ruler.hidden = !this.shown;
    this.scale.hidden = !this.shown?.strain;
    if (!this.shown || !width) return;
    const { piece, picture } = this.shown;
    const size = piece.high.map((v, i) => v - piece.low[i]);
    this.perMm = Math.min((width - 40) / size[0], (height - 60) / size[1], 60);
    this.x0 = (width - size[0] * this.perMm) / 2 - piece.low[0] * this.perMm;
    this.y0 = (height + size[1] * this.perMm) / 2 + piece.low[1] * this.perMm - 14;
    const [left, bottom, wide, high] = picture.frame;
    pen.setTransform(dots, 0, 0, dots, 0, 0);
    pen.imageSmoothingQuality = "high";
    pen.drawImage(picture.canvas, this.x0 + left * this.perMm, this.y0 - (bottom + high) * this.perMm,
      wide * this.perMm, high * this.perMm);
    pen.setTransform(dots * this.perMm, 0, 0, -dots * this.perMm, dots * this.x0, dots * this.y0);
    pen.strokeStyle = "#1b1f23";
    pen.lineWidth = 1.2 / this.perMm;
    pen.stroke(new Path2D(piece.outline));
    for (const slit of piece.slits) this.slit(pen, slit);
    this.front(pen, piece, size);
    if (this.mark) this.cross(pen, this.mark);
    setRuler(this.ruler, this.perMm);
    if (this.shown.strain) showScale(this.scale, piece.scale);
  }

  slit(pen, slit) {
    pen.beginPath();
    slit.forEach(([x, y], i) => (i ? pen.lineTo(x, y) : pen.moveTo(x, y)));
    pen.setLineDash([4 / this.perMm, 3 / this.perMm]);
    pen.stroke();
    pen.setLineDash([]);
  }

  // An arrow towards the body's front, below the piece.
  front(pen, piece, size) {
    const [fx, fy] = piece.front;
    if (!fx && !fy) return;
    const length = 26 / this.perMm, half = length / 2;
    const x = piece.low[0] + size[0] - half - fx * half, y = piece.low[1] - half - 4 / this.perMm - fy * half;
    const tip = [x + fx * length, y + fy * length];
    const head = 6 / this.perMm;
    pen.beginPath();
    pen.moveTo(x, y);
    pen.lineTo(...tip);
    for (const turn of [2.6, -2.6]) {
      pen.moveTo(...tip);
      pen.lineTo(tip[0] + head * (fx * Math.cos(turn) - fy * Math.sin(turn)),
        tip[1] + head * (fx * Math.sin(turn) + fy * Math.cos(turn)));
    }
    pen.stroke();
    pen.save();
    pen.scale(1, -1);
    pen.font = `${12 / this.perMm}px system-ui, sans-serif`;
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    pen.fillStyle = "#1b1f23";
    pen.fillText("front", Math.min(x, tip[0]) - 5 / this.perMm, -(y + tip[1]) / 2);
    pen.restore();
  }

  cross(pen, [x, y]) {
    const arm = 9 / this.perMm;
    pen.beginPath();
    pen.moveTo(x - arm, y); pen.lineTo(x + arm, y);
    pen.moveTo(x, y - arm); pen.lineTo(x, y + arm);
    pen.strokeStyle = "#fff";
    pen.lineWidth = 4 / this.perMm;
    pen.stroke();
    pen.strokeStyle = "#d07a00";
    pen.lineWidth = 2 / this.perMm;
    pen.stroke();
  }
}

// A ruler of a round length that is about 120 pixels long.
export function setRuler(element, perMm) {
  const wish = 120 / perMm;
  const power = 10 ** Math.floor(Math.log10(wish));
  const length = [5, 2, 1].find((n) => n * power <= wish) * power;
  element.style.width = `${length * perMm}px`;
  element.dataset.text = `${Number(length.toPrecision(2))} mm`;
}

function showScale(element, scale) {
  element.replaceChildren();
  const canvas = document.createElement("canvas");
  canvas.width = scale.colours.length;
  canvas.height = 1;
  const pen = canvas.getContext("2d");
  scale.colours.forEach((c, i) => { pen.fillStyle = `rgb(${c})`; pen.fillRect(i, 0, 1, 1); });
  const ticks = document.createElement("div");
  ticks.className = "ticks";
  const text = (v) => `${(100 * v).toFixed(1)} %`;
  ticks.append(...[text(scale.low), "strain", text(scale.high)].map((t) => Object.assign(document.createElement("span"), { textContent: t })));
  const note = document.createElement("div");
  note.textContent = `Film takes ${text(scale.limits[0])} to +${text(scale.limits[1])}; hatched: beyond`;
  element.append(note, canvas, ticks);
}
