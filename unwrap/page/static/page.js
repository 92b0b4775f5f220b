// The page: keeps the job's state, and passes what the user does to the program and back.

import { BODY, get, getBytes, PIECE, REGION, send, sendFile, sendForBytes, unpack } from "./ask.js";
import { BodyView } from "./body.js";
import { Camera } from "./camera.js";
import { Drawing } from "./draw.js";
import { Flat } from "./flat.js";
import { showLivery } from "./livery.js";
import { makeSheets } from "./made.js";
import { printed, strained } from "./picture.js";
import { figures, showRegions, showSettings } from "./regions.js";
import { showWhole } from "./whole.js";

const BARE = [203, 207, 210];
// Quiet hues that keep apart for common kinds of colour blindness.
const HUES = [[86, 142, 180], [222, 165, 74], [96, 160, 136], [190, 120, 160], [150, 130, 200], [200, 120, 90], [120, 150, 80], [120, 120, 140]];

const $ = (id) => document.getElementById(id);
const camera = new Camera();
const drawing = new Drawing($("body"));
const shapes = new Map(); // region name -> { shape, whole, corners, border }
const pieces = new Map(); // region name -> { key, piece, mesh, printed, strained }

let state = null;
let chosen = null;
let bodyKey = null;
let coloured = 0; // regions that were painted on the body
let placing = null; // what to do with the next click on the body

const view = new BodyView(drawing, camera, { canvas: $("body"), trims: $("trims"), ruler: $("body-ruler") }, {
  chosen: (px) => guarded(() => click(px)),
  pointed: (px) => pointOnBody(px),
  trimmed: (within, done) => trimmed(within, done),
});
const flat = new Flat($("flat"), $("flat-ruler"), $("scale"), (place) => pointOnFlat(place));

// ------------------------------------------------------------------ saying

function say(sentence) {
  $("sentence").textContent = sentence ?? "";
  $("sentence").hidden = !sentence;
}

async function guarded(doing) {
  try {
    say(null);
    return await doing();
  } catch (error) {
    say(error.message);
    if (error.stale) await refresh(await get("state"));
    return null;
  }
}

// ------------------------------------------------------------------ state

async function refresh(next) {
  // An answer may be overtaken by a later one; what is older than what is shown is dropped.
  if (state && next.revision < state.revision) return;
  const former = state;
  state = { regions: [], fill: [], lining: [], band: [], lettering: [], artwork: [], ...next };
  if (state.error) say(state.error);
  if (state.body && state.body.key !== bodyKey) await loadBody();
  if (!state.regions.some((region) => region.name === chosen)) choose(state.regions[0]?.name ?? null, false);
  showHeader();
  showLists(former);
  await Promise.all(state.regions.map((region) => loadShape(region).catch(() => shapes.delete(region.name))));
  paintBody();
  await Promise.all(state.regions.map(loadPiece));
  paintBody();
  showFlat();
}

async function loadBody() {
  const key = state.body.key;
  const [vertices, faces] = unpack(await getBytes("body"), BODY);
  drawing.setBody(vertices, faces);
  camera.fit(state.body.low, state.body.high);
  bodyKey = key;
  shapes.clear();
  for (const name of pieces.keys()) drawing.dropPatch(name);
  pieces.clear();
  view.redraw();
}

async function loadShape(region) {
  if (shapes.get(region.name)?.shape === region.shape) return;
  shapes.set(region.name, { shape: region.shape, ...asShape(await getBytes(`region/${encodeURIComponent(region.name)}`)) });
}

function asShape(bytes) {
  const [whole, corners, border] = unpack(bytes, REGION);
  return { whole, corners, border };
}

async function loadPiece(region) {
  if (region.area === undefined || pieces.get(region.name)?.key === region.doneKey) return;
  const address = `piece/${encodeURIComponent(region.name)}`;
  const [piece, bytes] = await Promise.all([get(address), getBytes(`${address}/mesh`)]);
  const [places, points, faces, shades] = unpack(bytes, PIECE);
  pieces.set(region.name, { key: region.doneKey, shape: region.doneShape, piece, places, points, faces, shades });
}

function pictureOf(found) {
  if ($("show").value === "strain") return found.strained ??= strained(found.piece, found.points, found.faces, found.shades);
  return found.printed ??= printed(found.piece);
}

// ------------------------------------------------------------------ showing

function showHeader() {
  $("job-name").textContent = state.name ?? state.file;
  document.title = `${state.name ?? state.file}: marking page`;
  $("undo").disabled = !state.canUndo;
  $("redo").disabled = !state.canRedo;
  $("make").disabled = !state.regions.length;
  $("busy").textContent = state.busy ? `working out ${state.busy}…` : "";
  $("drop-here").hidden = Boolean(state.body);
}

function showLists(former) {
  const dots = state.regions.map((region, i) => `rgb(${hueOf(region, i)})`);
  $("no-region").hidden = state.regions.length > 0;
  showRegions($("regions"), state, chosen, dots, (name) => choose(name));
  if (former?.revision === state.revision && former.chosen === chosen && !former.settling) {
    // only figures are new: leave the forms alone while they are being filled in
    showFigures();
    return;
  }
  state.chosen = chosen;
  const region = regionNamed(chosen);
  showSettings($("settings"), state, region, { change, attempt, rename, reflect });
  showLivery($("livery"), state, region, { change, place });
  if (state.source) showWhole($("whole"), state, { change, sendFile: dropFile });
  view.setWithin(region && !region.mirror_of ? region.within : null, state.body);
  showFigures();
}

function showFigures() {
  state.chosen = chosen;
  const region = regionNamed(chosen);
  $("figures").textContent = figures(region);
  $("remarks").replaceChildren(...(region?.remarks ?? []).map((said) => Object.assign(document.createElement("li"), { textContent: said })));
}

function showFlat() {
  const found = pieces.get(chosen);
  flat.show(found?.piece ?? null, found ? pictureOf(found) : null, $("show").value === "strain");
}

const regionNamed = (name) => state.regions.find((region) => region.name === name) ?? null;

// In the regions' own colours, or in the fill's where the region has one.
function hueOf(region, i) {
  const names = [region.name, region.mirror_of];
  const fill = state.fill.findLast((mark) => mark.region.some((name) => names.includes(name)));
  if (fill && $("show").value !== "regions") return [1, 3, 5].map((k) => parseInt(fill.colour.slice(k, k + 2), 16));
  return HUES[i % HUES.length];
}

function paintBody() {
  if (!drawing.body) return;
  const marks = drawing.faceMarks.fill(0);
  const colours = [BARE];
  const keep = new Set();
  state.regions.forEach((region, i) => {
    const shape = shapes.get(region.name);
    const hue = hueOf(region, i);
    colours.push(hue);
    if (!shape) return;
    for (const face of shape.whole) marks[face] = i + 1;
    if (shape.corners.length) {
      drawing.setPatch(`rest of ${region.name}`, { places: shape.corners, colour: [...hue.map((v) => v / 255), 1] });
      keep.add(`rest of ${region.name}`);
    }
    const found = pieces.get(region.name);
    if (found && found.shape === region.shape && $("show").value !== "regions") {
      keep.add(region.name);
      layOn(region.name, found);
    }
  });
  for (const name of [...drawing.patches.keys()]) if (!keep.has(name)) drawing.dropPatch(name);
  drawing.setMarks(marks);
  drawing.setColours(colours);
  drawBorder();
  view.redraw();
  coloured = state.regions.filter((region) => shapes.has(region.name)).length;
}

function layOn(name, found) {
  const picture = pictureOf(found);
  const old = drawing.patches.get(name);
  if (old?.from === picture) return;
  drawing.setPatch(name, { places: found.places, flat: found.points, faces: found.faces, picture: picture.canvas, frame: picture.frame, lift: found.piece.lift });
  drawing.patches.get(name).from = picture;
}

function drawBorder() {
  drawing.setStrokes("border", shapes.get(chosen)?.border, [0.82, 0.47, 0, 1], 2.5);
  const details = pieces.get(chosen)?.piece.details ?? [];
  drawing.setStrokes("details", rings(details), [0.1, 0.12, 0.14, 0.8], 1);
}

// Small rings round the details that the piece is carried over.
function rings(details) {
  const segments = new Float32Array(details.length * 12 * 6);
  details.forEach(({ at, normal, width }, d) => {
    const aside = Math.abs(normal[0]) < 0.9 ? [0, normal[2], -normal[1]] : [-normal[2], 0, normal[0]];
    const length = Math.hypot(...aside);
    const u = aside.map((v) => v / length);
    const w = [normal[1] * u[2] - normal[2] * u[1], normal[2] * u[0] - normal[0] * u[2], normal[0] * u[1] - normal[1] * u[0]];
    const spot = (k) => at.map((v, i) => v + 0.15 * normal[i] + (width / 2 + 0.1) * (u[i] * Math.cos(k * Math.PI / 6) + w[i] * Math.sin(k * Math.PI / 6)));
    for (let k = 0; k < 12; k++) segments.set([...spot(k), ...spot(k + 1)], (d * 12 + k) * 6);
  });
  return segments;
}

// ------------------------------------------------------------------ doing

const change = (what, how) => guarded(async () => refresh(await send("change", { revision: state.revision, what, ...how })));
const step = (steps) => guarded(async () => refresh(await send("step", { revision: state.revision, steps })));

function choose(name, redraw = true) {
  chosen = name;
  if (name) send("look-at", { name }).catch(() => {});
  if (!redraw) return;
  showLists(null);
  drawBorder();
  showFlat();
  view.redraw();
}

function rename(name, renamed) {
  chosen = renamed;
  return change("set region", { name, values: { name: renamed } });
}

function freshName(stem) {
  let name = stem;
  for (let i = 2; regionNamed(name); i++) name = `${stem} ${i}`;
  return name;
}

function reflect(name) {
  const other = /left/i.test(name) ? name.replace(/left/i, "right") : /right/i.test(name) ? name.replace(/right/i, "left") : `${name} other side`;
  const fresh = freshName(other);
  return change("add region", { name: fresh, values: { mirror_of: name } });
}

// Follow a slider or a dragged line at once: at a glance while it moves, exactly when it
// rests. Nothing is saved before it is let go.
let trying = false, wanted = null;
async function attempt(values) {
  wanted = values;
  if (trying) return;
  trying = true;
  while (wanted) {
    const now = wanted;
    wanted = null;
    const { at, crease, within } = { ...regionNamed(chosen), ...now };
    try {
      await showTried("first-look", { at, crease, within });
      if (!wanted) await showTried("try", { name: chosen, values: now });
      say(null);
    } catch (error) { say(error.message); }
  }
  trying = false;
}

async function showTried(address, asked) {
  const shape = asShape(await sendForBytes(address, asked));
  shapes.set(chosen, { ...shape, shape: "tried" });
  paintBody();
}

function trimmed(within, done) {
  if (!chosen) { say("Choose a region first, then trim it."); return; }
  if (done) { setTool("turn"); change("set region", { name: chosen, values: { within } }); } else attempt({ within });
}

async function click(px) {
  if (!state?.body) return;
  const hit = await send("pick", camera.ray(...px));
  if (!hit.at) return;
  if (placing) {
    const then = placing;
    place(null);
    await then(hit.at);
    return;
  }
  const there = drawing.faceMarks[hit.face];
  if (there) { choose(state.regions[there - 1].name); return; }
  if (view.mode !== "mark") return;
  const name = freshName("region 1");
  chosen = name;
  const shape = asShape(await sendForBytes("first-look", { face: hit.face }));
  shapes.set(name, { ...shape, shape: "glance" });
  state.regions.push({ name, at: hit.at, within: {}, shape: "glance", key: "glance", doneKey: null });
  paintBody();
  await refresh(await send("change", { revision: state.revision, what: "add region", name, values: { at: hit.at } }));
}

function place(then) {
  placing = then;
  view.setMode(then ? "mark" : "turn");
  $("under").textContent = then ? "Click the body where the middle of the text is to be." : "";
  setTool(then ? null : "turn");
}

function setTool(tool) {
  $("mark").setAttribute("aria-pressed", String(tool === "mark"));
  $("box").setAttribute("aria-pressed", String(tool === "box"));
  if (tool) view.setMode(tool);
}

const dropFile = (address, file, query = {}) => guarded(async () => {
  const asked = new URLSearchParams({ ...query, revision: state.revision, name: file.name });
  await refresh(await sendFile(`${address}?${asked}`, file));
});

// ------------------------------------------------------------------ pointing

let asking = false, following = null;
async function ask(question) {
  following = question;
  if (asking) return;
  asking = true;
  while (following) {
    const now = following;
    following = null;
    try { showPointed(now.px ? await send("pick", { ...camera.ray(...now.px), pieces: true }) : await send("point", now)); } catch { /* the next move asks again */ }
  }
  asking = false;
}

function showPointed(found) {
  const same = found.name === chosen && found.flat;
  flat.point(same ? found.flat : null);
  drawing.setStrokes("pointed", found.at ? crossAt(found.at) : null, [0.82, 0.47, 0, 1], 2);
  const named = found.at && found.at.map((v) => v.toFixed(1)).join(", ");
  if (!placing) $("under").textContent = found.at ? `x, y, z ${named} mm${found.name ? `, on ${found.name}` : ""}` : "";
  view.redraw();
}

function crossAt(at) {
  const arm = 9 / camera.perMm;
  const ends = [camera.right, camera.up].flatMap((way) => [...at.map((v, i) => v + (camera.eye[i] * 2 - way[i]) * arm), ...at.map((v, i) => v + (camera.eye[i] * 2 + way[i]) * arm)]);
  return new Float32Array(ends);
}

function pointOnBody(px) {
  if (!px || !state?.body) showPointed({}); else ask({ px });
}

function pointOnFlat(placeOnFlat) {
  if (!placeOnFlat || !chosen) { flat.point(null); drawing.setStrokes("pointed", null); view.redraw(); return; }
  flat.point(placeOnFlat);
  ask({ name: chosen, flat: placeOnFlat });
}

// ------------------------------------------------------------------ wiring

$("undo").addEventListener("click", () => step(-1));
$("redo").addEventListener("click", () => step(1));
$("make").addEventListener("click", () => guarded(() => makeSheets($("made"), say)));
$("mark").addEventListener("click", () => { placing = null; setTool(view.mode === "mark" ? "turn" : "mark"); });
$("box").addEventListener("click", () => {
  if (view.mode !== "box" && !camera.view) view.look("left");
  setTool(view.mode === "box" ? "turn" : "box");
});
$("real-size").addEventListener("click", () => { camera.realSize(); view.redraw(); });
$("show").addEventListener("change", () => { showLists(state); paintBody(); showFlat(); });
document.querySelectorAll("[data-view]").forEach((one) => one.addEventListener("click", () => view.look(one.dataset.view)));
document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.target.matches("input[type=text], input[type=number]")) return;
  const key = event.key.toLowerCase();
  if (key === "z" || key === "y") { event.preventDefault(); step(key === "y" || event.shiftKey ? 1 : -1); }
});
for (const kind of ["dragover", "drop"]) {
  document.addEventListener(kind, (event) => {
    event.preventDefault();
    $("drop-here").hidden = kind === "drop" ? Boolean(state?.body) : false;
    const file = event.dataTransfer?.files[0];
    if (kind === "drop" && file) dropFile(/\.svg$/i.test(file.name) ? "artwork" : "body", file, /\.svg$/i.test(file.name) ? { view: camera.view ?? "left" } : {});
  });
}
document.addEventListener("dragleave", () => { $("drop-here").hidden = Boolean(state?.body); });

async function follow() {
  for (;;) {
    try {
      const news = await get(`news?after=${state.events}`);
      if (news.events !== state.events || news.revision !== state.revision) await refresh(await get("state"));
    } catch (error) {
      say(error.message);
      await new Promise((later) => setTimeout(later, 2000));
    }
  }
}

const ready = (async () => {
  await guarded(async () => refresh(await get("state")));
  if (state) follow();
})();

// For tests and measurements: where a known place of the body is on the page, and what the page has done.
window.markingPage = {
  ready,
  project: (place) => {
    const [x, y] = camera.project(place);
    const frame = $("body").getBoundingClientRect();
    return [frame.left + x, frame.top + y];
  },
  state: () => state,
  coloured: () => coloured,
  settled: () => Boolean(state) && !state.busy && state.regions.every((region) => region.key === region.doneKey),
};
