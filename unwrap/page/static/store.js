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

// Where an entry of a list is now that other changes may have come before; -1 where it is gone.
export function placeOf(list, place, was, count) {
  const same = (entry) => JSON.stringify(entry) === JSON.stringify(was);
  if (list[place] !== undefined && same(list[place])) return place;
  const found = list.findIndex(same);
  return found < 0 && list.length === count ? place : found; // as many as before: it was changed where it stands
}

export function freshName(stem) {
  let name = stem;
  for (let i = 2; regionNamed(name); i++) name = `${stem} ${i}`;
  return name;
}

export function asShape(bytes) {
  const [bits, corners, border, details] = unpack(bytes, REGION);
  return { whole: numbersOf(bits), corners, border, details };
}

// The numbers of the bits that are set.
function numbersOf(bits) {
  const numbers = new Uint32Array(bits.length * 8);
  let count = 0;
  for (let byte = 0; byte < bits.length; byte++) {
    for (let rest = bits[byte]; rest; rest &= rest - 1) numbers[count++] = 8 * byte + 31 - Math.clz32(rest & -rest);
  }
  return numbers.slice(0, count);
}

// `coming` is the answer to an earlier request for the body, null where there was none.
export async function fetchBody(coming) {
  const bytes = await (coming ?? getBytes("body"));
  store.bodyKey = store.state.body.key;
  store.shapes.clear();
  store.pieces.clear();
  return unpack(bytes, BODY);
}

const NOTHING = { whole: [], corners: [], border: null, details: null };

// Both answer whether anything is new.
export async function fetchShapes() {
  const news = await Promise.all(store.state.regions.map(async ({ name, shape }) => {
    if (store.shapes.get(name)?.shape === shape) return false;
    try {
      store.shapes.set(name, { shape, ...asShape(await getBytes(`region/${encodeURIComponent(name)}`)) });
    } catch { store.shapes.set(name, { shape, ...NOTHING }); } // the region's own line says why
    return true;
  }));
  return news.some(Boolean);
}

export async function fetchPieces() {
  const news = await Promise.all(store.state.regions.map(async (region) => {
    const { name, doneKey, doneShape } = region;
    if (region.area === undefined) return store.pieces.delete(name);
    if (store.pieces.get(name)?.key === doneKey) return false;
    const address = `piece/${encodeURIComponent(name)}`;
    const [piece, bytes] = await Promise.all([get(address), getBytes(`${address}/mesh`)]);
    const [places, points, faces, shades] = unpack(bytes, PIECE);
    store.pieces.set(name, { key: doneKey, shape: doneShape, piece, places, points, faces, shades });
    return true;
  }));
  return news.some(Boolean);
}
