// Pictures of a flat piece: what is printed on it, or its strain. The same picture is
// shown on the sheet beside the body and laid on the body.

import { facesOf, inStroke } from "./cells.js";

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
    const path = new Path2D(paint.path);
    if (paint.dots) {
      made.pen.save();
      made.pen.clip(path, "evenodd");
      made.pen.transform(...paint.placed);
      made.pen.drawImage(dotted(paint), 0, 0);
      made.pen.restore();
    } else {
      made.pen.fillStyle = paint.colour;
      made.pen.fill(path, "evenodd");
    }
  }
  made.pen.restore();
  if (found.shades.some((shade, i) => i % 4 === 3 && shade)) shade(made, found, false, DARK_AND_LIGHT);
  return made;
}

// A paint's dots as a canvas.
function dotted(paint) {
  const bytes = atob(paint.dots), count = bytes.length / 3;
  const canvas = document.createElement("canvas");
  canvas.width = paint.across;
  canvas.height = count / paint.across;
  const pen = canvas.getContext("2d"), image = pen.createImageData(canvas.width, canvas.height);
  for (let i = 0; i < count; i++) {
    for (let k = 0; k < 3; k++) image.data[4 * i + k] = bytes.charCodeAt(3 * i + k);
    image.data[4 * i + 3] = 255;
  }
  pen.putImageData(image, 0, 0);
  return canvas;
}

export function strained(found) {
  const made = blank(found.piece);
  shade(made, found, true, LIGHT_ONLY);
  return made;
}

const DARK = [27, 31, 35], LIGHT = [255, 255, 255];
// Strokes of the hatching where a face asks more than the film takes up: colour, and width and
// place as shares of its step.
const LIGHT_ONLY = [[LIGHT, 0.22, 0]];
const DARK_AND_LIGHT = [[LIGHT, 0.26, 0], [DARK, 0.12, 0.19]]; // seen on any livery

// Lay the hatching over a picture, and below it each face's colour by its strain, if those are wanted.
function shade(made, found, coloured, strokes) {
  const { canvas, pen, perMm } = made, { width, height } = canvas, { shades } = found;
  const cells = facesOf(made, found), step = Math.max(0.7 * perMm, 7, Math.max(width, height) / 70); // seen on a large piece too
  const image = new ImageData(width, height), { data } = image;
  for (let y = 0, i = 0; y < height; y++) {
    for (let x = 0; x < width; x++, i++) {
      if (!cells[i]) continue;
      const face = 4 * (cells[i] - 1), to = 4 * i;
      if (coloured) {
        for (let k = 0; k < 3; k++) data[to + k] = shades[face + k];
        data[to + 3] = 255;
      }
      if (!shades[face + 3]) continue;
      for (const [colour, wide, aside] of strokes) {
        const over = 255 * inStroke(x, y, step, wide, aside);
        if (!over) continue;
        const under = data[to + 3] * (1 - over / 255);
        for (let k = 0; k < 3; k++) data[to + k] = (data[to + k] * under + colour[k] * over) / (under + over);
        data[to + 3] = under + over;
      }
    }
  }
  const layer = document.createElement("canvas");
  [layer.width, layer.height] = [width, height];
  layer.getContext("2d").putImageData(image, 0, 0);
  pen.save();
  pen.resetTransform();
  pen.drawImage(layer, 0, 0);
  pen.restore();
}
