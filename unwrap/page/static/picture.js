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

// `found` holds the piece as the program tells it, and its mesh.
export function printed(found) {
  const made = blank(found.piece);
  const outline = new Path2D(found.piece.outline);
  made.pen.save();
  made.pen.clip(outline, "evenodd");
  for (const paint of found.piece.paints) {
    made.pen.fillStyle = paint.colour;
    made.pen.fill(new Path2D(paint.path), "evenodd");
  }
  made.pen.restore();
  hatch(made, beyond(found), DARK_AND_LIGHT);
  return made;
}

export function strained(found) {
  const made = blank(found.piece);
  const { pen, perMm } = made;
  const { points, faces, shades } = found;
  pen.lineWidth = 0.8 / perMm; // closes the hairlines between faces
  pen.lineJoin = "round";
  for (let f = 0; f < faces.length; f += 3) {
    const s = 4 * f / 3;
    const path = new Path2D();
    addFace(path, points, faces, f);
    pen.fillStyle = pen.strokeStyle = `rgb(${shades[s]},${shades[s + 1]},${shades[s + 2]})`;
    pen.fill(path);
    pen.stroke(path);
  }
  hatch(made, beyond(found), LIGHT_ONLY);
  return made;
}

// The faces that ask more than the film takes up; null where there are none.
function beyond({ points, faces, shades }) {
  const path = new Path2D();
  let any = false;
  for (let f = 0; f < faces.length; f += 3) {
    if (!shades[4 * f / 3 + 3]) continue;
    addFace(path, points, faces, f);
    any = true;
  }
  return any ? path : null;
}

function addFace(path, points, faces, f) {
  for (let k = 0; k < 3; k++) {
    const v = 2 * faces[f + k];
    if (k) path.lineTo(points[v], points[v + 1]); else path.moveTo(points[v], points[v + 1]);
  }
  path.closePath();
}

// Strokes of the hatching: colour, and width and place as shares of its step.
const LIGHT_ONLY = [["#fff", 0.22, 0]];
const DARK_AND_LIGHT = [["#fff", 0.26, 0], ["#1b1f23", 0.12, 0.19]]; // seen on any livery

function hatch({ pen, frame, perMm }, area, strokes) {
  if (!area) return;
  const [left, bottom, width, height] = frame;
  const step = Math.max(0.7, 7 / perMm);
  pen.save();
  pen.clip(area);
  for (const [colour, wide, aside] of strokes) {
    pen.beginPath();
    for (let x = left - height + aside * step; x < left + width; x += step) {
      pen.moveTo(x, bottom);
      pen.lineTo(x + height, bottom + height);
    }
    pen.strokeStyle = colour;
    pen.lineWidth = wide * step;
    pen.stroke();
  }
  pen.restore();
}
