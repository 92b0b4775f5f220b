// Requests to the program that opened this page. What goes wrong comes back as one sentence.

export class Refused extends Error {
  constructor(sentence, stale) {
    super(sentence);
    this.stale = stale;
  }
}

async function answer(response) {
  if (response.ok) return response;
  let said = {};
  try { said = await response.json(); } catch { /* not ours: say the status */ }
  throw new Refused(said.error || `The program answered ${response.status}.`, Boolean(said.stale));
}

async function reach(address, options) {
  try {
    return await answer(await fetch(address, options));
  } catch (error) {
    if (error instanceof Refused || error.name === "AbortError") throw error;
    throw new Refused("The program does not answer; start it again, the job file is safe.", false);
  }
}

export const get = async (address, options) => (await reach(address, options)).json();
export const getBytes = async (address) => (await reach(address)).arrayBuffer();

function sending(what) {
  return { method: "POST", body: JSON.stringify(what), headers: { "Content-Type": "application/json" } };
}

export const send = async (address, what) => (await reach(address, sending(what))).json();
export const sendForBytes = async (address, what) => (await reach(address, sending(what))).arrayBuffer();
export const sendFile = async (address, file) => (await reach(address, { method: "POST", body: file })).json();

// Arrays packed as: a count for each, then each array; `parts` lists [type, numbers per entry].
export function unpack(buffer, parts) {
  const counts = new Uint32Array(buffer, 0, parts.length);
  let at = 4 * parts.length;
  return parts.map(([Type, per], i) => {
    const array = new Type(buffer, at, counts[i] * per);
    at += array.byteLength;
    return array;
  });
}

export const BODY = [[Float32Array, 3], [Uint32Array, 3]];
export const REGION = [[Uint8Array, 1], [Float32Array, 3], [Float32Array, 6], [Float32Array, 6]];
export const PIECE = [[Float32Array, 3], [Float32Array, 2], [Uint32Array, 3], [Uint8Array, 4]];
