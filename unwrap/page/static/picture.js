// Pictures of a flat piece: what is printed on it, or its strain. The same picture is
// shown on the sheet beside the body and laid on the body.

const LARGEST = 2048; // pixels along a side
const FINEST = 14; // pixels per mm

// A canvas that holds the piece, its frame on the piece in mm, and pixels per mm.
export function blank(piece) {
  const [left, bottom] = piece.low, [width, height] = piece.high.map((v, i) => v - piece.low[i]);
  const perMm = Math.min(FINEST, LARGEST / Math.max(width, height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(2, Math.ceil(width * perMm));
  canvas.height = Math.max(2, Math.ceil(height * perMm));
  const frame = [left, bottom, canvas.width / perMm, canvas.height / perMm];
  const pen = canvas.getContext("2d");
  pen.setTransform(perMm, 0, 0, -perMm, -left * perMm, canvas.height + bottom * perMm);
  return { canvas, pen, frame, perMm };
}

export function printed(piece) {
  const made = blank(piece);
  const outline = new Path2D(piece.outline);
  made.pen.save();
  made.pen.clip(outline, "evenodd");
  for (const paint of piece.paints) {
    made.pen.fillStyle = paint.colour;
    made.pen.fill(new Path2D(paint.path), "evenodd");
  }
  made.pen.restore();
  return made;
}

export function strained(piece, points, faces, shades) {
  const made = blank(piece);
  const { pen, perMm } = made;
  const hatched = new Path2D();
  pen.lineWidth = 0.8 / perMm; // closes the hairlines between faces
  pen.lineJoin = "round";
  for (let f = 0; f < faces.length; f += 3) {
    const s = 4 * f / 3;
    const path = f3(points, faces, f);
    pen.fillStyle = pen.strokeStyle = `rgb(${shades[s]},${shades[s + 1]},${shades[s + 2]})`;
    pen.fill(path);
    pen.stroke(path);
    if (shades[s + 3]) hatched.addPath(path);
  }
  hatch(made, hatched);
  return made;
}

function f3(points, faces, f) {
  const path = new Path2D();
  for (let k = 0; k < 3; k++) {
    const v = 2 * faces[f + k];
    if (k) path.lineTo(points[v], points[v + 1]); else path.moveTo(points[v], points[v + 1]);
  }
  path.closePath();
  return path;
}

function hatch({ pen, frame, perMm }, area) {
  const [left, bottom, width, height] = frame;
  pen.save();
  pen.clip(area);
  pen.beginPath();
  const step = Math.max(0.7, 7 / perMm);
  for (let x = left - height; x < left + width; x += step) {
    pen.moveTo(x, bottom);
    pen.lineTo(x + height, bottom + height);
  }
  pen.strokeStyle = "#fff";
  pen.lineWidth = 0.22 * step;
  pen.stroke();
  pen.restore();
}
