// Faces as pixels: which face of a flat piece each pixel shows, and hatching on some of them.
// A canvas that is given every face as a path of its own takes a hundred times as long.

// For each pixel of a picture the number of the face that covers its middle, from 1; 0 for none.
export function facesOf({ canvas, frame, perMm }, { points, faces }) {
  const { width, height } = canvas, [left, bottom] = frame;
  const cells = new Uint32Array(width * height);
  const across = (v) => (points[v] - left) * perMm - 0.5, down = (v) => height - (points[v + 1] - bottom) * perMm - 0.5;
  for (let f = 0; f < faces.length; f += 3) {
    let a = 2 * faces[f], b = 2 * faces[f + 1], c = 2 * faces[f + 2];
    if (points[a + 1] < points[b + 1]) [a, b] = [b, a]; // from the top down
    if (points[b + 1] < points[c + 1]) [b, c] = [c, b];
    if (points[a + 1] < points[b + 1]) [a, b] = [b, a];
    const xa = across(a), ya = down(a), xb = across(b), yb = down(b), xc = across(c), yc = down(c);
    const last = Math.min(Math.floor(yc), height - 1);
    for (let y = Math.max(Math.ceil(ya), 0); y <= last; y++) {
      const long = along(xa, ya, xc, yc, y), short = y < yb ? along(xa, ya, xb, yb, y) : along(xb, yb, xc, yc, y);
      const end = Math.min(Math.floor(Math.max(long, short)), width - 1);
      for (let x = Math.max(Math.ceil(Math.min(long, short)), 0); x <= end; x++) cells[y * width + x] = f / 3 + 1;
    }
  }
  return cells;
}

const along = (x0, y0, x1, y1, y) => (y1 > y0 ? x0 + (x1 - x0) * (y - y0) / (y1 - y0) : x1);

// How far a pixel, from 0 to 1, lies in a stroke of a hatching that rises to the right. The
// stroke's width and place are shares of the hatching's step, in pixels.
export function inStroke(x, y, step, wide, aside) {
  const turns = (x + y) / step - aside;
  const away = Math.abs(turns - Math.round(turns)) * step * Math.SQRT1_2; // square to the stroke
  return Math.max(0, Math.min(1, wide * step / 2 - away + 0.5));
}
