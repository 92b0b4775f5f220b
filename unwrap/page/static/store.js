// What the page knows: the job as the program told it last, and the shapes that were fetched for it.

import { BODY, get, getBytes, PIECE, REGION, unpack } from "./ask.js";

export const store = {
  state: null, // the answer to `state`
  chosen: null, // name of the chosen region
  bodyKey: null,
  shapes: new Map(), // region name -> { shape, whole, corners, border, details }
  pieces: new Map(), // region name -> { key, shape, piece, places, points, faces, shades }
  faceMarks: null, // per face of the body, which region it shows: 0 for none, else from 1

  regionOfFace(face) {
    return this.state.regions[(this.faceMarks?.[face] ?? 0) - 1]?.name ?? null;
  },
};

const EMPTY = { regions: [], fill: [], lining: [], band: [], lettering: [], artwork: [], fitting: [] };

// Take over an answer; false where a later one has overtaken it.
export function take(next) {
  if (store.state && next.revision < store.state.revision) return false;
  store.state = { ...EMPTY, ...next };
  if (!regionNamed(store.chosen)) store.chosen = store.state.regions[0]?.name ?? null;
  return true;
}

export const regionNamed = (name) => store.state?.regions.find((region) => region.name === name) ?? null;
export const chosenRegion = () => regionNamed(store.chosen);

export function freshName(stem) {
  let name = stem;
  for (let i = 2; regionNamed(name); i++) name = `${stem} ${i}`;
  return name;
}

export function asShape(bytes) {
  const [whole, corners, border, details] = unpack(bytes, REGION);
  return { whole, corners, border, details };
}

export async function fetchBody() {
  const bytes = await getBytes("body");
  store.bodyKey = store.state.body.key;
  store.shapes.clear();
  store.pieces.clear();
  return unpack(bytes, BODY);
}

export async function fetchShapes() {
  await Promise.all(store.state.regions.map(async ({ name, shape }) => {
    if (store.shapes.get(name)?.shape === shape) return;
    try {
      store.shapes.set(name, { shape, ...asShape(await getBytes(`region/${encodeURIComponent(name)}`)) });
    } catch { store.shapes.delete(name); } // the region's own line says why
  }));
}

export async function fetchPieces() {
  await Promise.all(store.state.regions.map(async (region) => {
    const { name, doneKey, doneShape } = region;
    if (region.area === undefined) { store.pieces.delete(name); return; }
    if (store.pieces.get(name)?.key === doneKey) return;
    const address = `piece/${encodeURIComponent(name)}`;
    const [piece, bytes] = await Promise.all([get(address), getBytes(`${address}/mesh`)]);
    const [places, points, faces, shades] = unpack(bytes, PIECE);
    store.pieces.set(name, { key: doneKey, shape: doneShape, piece, places, points, faces, shades });
  }));
}
