// The page: keeps what is shown in step with the job, and joins its parts.

import { get, getBytes, send, sendFile } from "./ask.js";
import { BodyView } from "./body.js";
import { Camera } from "./camera.js";
import { Drawing } from "./draw.js";
import { dropped } from "./dropped.js";
import { Flat } from "./flat.js";
import { lastChanged, make, refuse } from "./forms.js";
import { showLivery } from "./livery.js";
import { makeSheets } from "./made.js";
import { Marking } from "./marking.js";
import { Painting } from "./painting.js";
import { Pointing } from "./pointing.js";
import { figures, showRegions } from "./regions.js";
import { showSettings } from "./settings.js";
import { chosenRegion, fetchBody, fetchPieces, fetchShapes, freshName, store, take } from "./store.js";
import { showBroken, showWhole } from "./whole.js";

const $ = (id) => document.getElementById(id);
const camera = new Camera();
const drawing = new Drawing($("body"));
const painting = new Painting(drawing, () => $("show").value);
let table = {}; // the settings that have fields, as the program tells them
let shownForms = ""; // what the forms were built for: they stand as long as that holds

const view = new BodyView(drawing, camera, { canvas: $("body"), trims: $("trims"), corners: $("corners"), drawn: $("drawn"), here: $("here"), ruler: $("body-ruler") }, {
  chosen: (px) => guarded(() => marking.click(px)),
  pointed: (px) => pointing.onBody(px),
  trimmed: (within, done) => marking.trimmed(within, done),
  drawn: (corners) => marking.drawn(corners),
  moved: (number, corners, line) => marking.moved(number, corners, line),
  turned: (now) => document.querySelectorAll("[data-view][aria-pressed]").forEach((one) => one.setAttribute("aria-pressed", String(one.dataset.view === now))),
});
const flat = new Flat($("flat"), $("flat-ruler"), $("scale"), (place) => pointing.onFlat(place));
const pointing = new Pointing(view, flat, (text) => { $("under").textContent = text; });
const marking = new Marking(view, document.querySelectorAll("[data-tool]"), $("asking"), {
  change, choose, say, paint, prompt: (text) => { $("prompt").textContent = text; },
});

// ------------------------------------------------------------------ saying

function say(sentence) {
  $("sentence").textContent = sentence ?? "";
  $("sentence").hidden = !sentence;
}

// True where it went well; else the sentence is shown, at the field that was changed if there is
// one, and what is on the page is made true again.
async function guarded(doing, field = lastChanged()) {
  try {
    say(null);
    await doing();
    return true;
  } catch (error) {
    if (error.stale) {
      say(error.message);
      await refresh(await get("state"), true);
      return false;
    }
    await restore();
    const sentence = error.message.replace(`${store.state?.file}: `, "");
    if (!field || !refuse(field, sentence)) say(sentence);
    return false;
  }
}

// Forget what was only tried.
async function restore() {
  if (!store.state) return;
  store.state.regions = store.state.regions.filter((region) => region.shape !== "glance");
  for (const [name, { shape }] of store.shapes) if (shape === "tried" || shape === "glance") store.shapes.delete(name);
  await fetchShapes().catch(() => {});
  shownForms = "";
  showLists();
  paint();
}

// ------------------------------------------------------------------ the job

async function refresh(next, keepSentence = false, coming = null) {
  const former = store.state;
  if (!take(next)) return;
  const { state } = store;
  if (state.error) say(state.error);
  else if (!keepSentence || former?.error) say(null);
  if (state.body && state.body.key !== store.bodyKey) {
    const mesh = await fetchBody(coming);
    for (const name of [...drawing.patches.keys()]) drawing.dropPatch(name);
    drawing.setBody(...mesh);
    camera.fit(state.body.low, state.body.high);
    view.redraw();
  }
  showHeader();
  showLists();
  if (await fetchShapes() || former?.revision !== state.revision) paint();
  if (await fetchPieces()) paint();
  showFlat();
}

// One change after another, each of the job as the one before has left it.
let turn = Promise.resolve();
let waiting = 0;

function inTurn(doing) {
  const field = lastChanged();
  waiting += 1;
  turn = turn.then(() => guarded(doing, field)).finally(() => { waiting -= 1; });
  return turn;
}

// `how` tells what is asked for once it is its turn, from the job as it is then; null for nothing.
function change(what, how) {
  return inTurn(async () => {
    const asked = typeof how === "function" ? how() : how;
    if (asked) await refresh(await send("change", { revision: store.state.revision, what, ...asked }));
  });
}

function step(steps) {
  return inTurn(async () => refresh(await send("step", { revision: store.state.revision, steps })));
}

function choose(name) {
  store.chosen = name;
  view.single.show(null);
  if (name) send("look-at", { name }).catch(() => {});
  showLists();
  painting.outline();
  showFlat();
  view.redraw();
}

function rename(name, renamed) {
  return change("set region", () => {
    store.chosen = renamed;
    return { name, values: { name: renamed } };
  });
}

function reflect(name) {
  const other = /left/i.test(name) ? name.replace(/left/i, "right") : /right/i.test(name) ? name.replace(/right/i, "left") : `${name} other side`;
  return change("add region", { name: freshName(other), values: { mirror_of: name } });
}

const dropFile = (address, file, query = {}) => inTurn(async () => {
  const asked = new URLSearchParams({ ...query, revision: store.state.revision, name: file.name });
  await refresh(await sendFile(`${address}?${asked}`, file));
});

// ------------------------------------------------------------------ showing

function paint() {
  painting.paint();
  view.redraw();
}

function showHeader() {
  const { state } = store;
  $("job-name").textContent = state.name ?? state.file;
  document.title = `${state.name ?? state.file}: marking page`;
  $("undo").disabled = !state.canUndo;
  $("redo").disabled = !state.canRedo;
  $("make").disabled = !state.regions.length;
  $("busy").textContent = state.busy ? `working out ${state.busy}…` : "";
  $("drop-here").hidden = Boolean(state.body) || !state.source;
}

const item = (said) => make("li", { textContent: said });

function showLists() {
  const { state, chosen } = store, region = chosenRegion();
  const dots = state.regions.map((one, i) => `rgb(${painting.hueOf(one, i)})`);
  $("no-region").hidden = state.regions.length > 0 || !state.body;
  $("hints").replaceChildren(...(state.body?.hints ?? []).map(item));
  showRegions($("regions"), state, chosen, dots, choose);
  $("figures").textContent = figures(region);
  const wrong = region?.error && region.key === region.doneKey ? [make("li", { className: "warn", textContent: region.error })] : [];
  $("remarks").replaceChildren(...wrong, ...(region?.remarks ?? []).map(item));
  // Forms that are being filled in stay as they are while only figures are new.
  const now = JSON.stringify([state.revision, state.body?.key, chosen, region?.error]);
  if (now === shownForms) return;
  shownForms = now;
  const act = { table, change, place: (prompt, then) => marking.place(prompt, then) };
  showSettings($("settings"), state, region, { ...act, attempt: (values) => marking.attempt(values), corners: (number) => marking.corners(number), rename, reflect });
  showLivery($("livery"), state, region, act);
  if (!state.source) showBroken($("whole"), state, { change });
  else showWhole($("whole"), state, { ...act, sendFile: dropFile, seen: () => camera.view });
  if (view.single.shown) view.single.show(view.single.number, region?.trim?.[view.single.number]);
  view.limits.setWithin(region && !region.mirror_of ? region.within : null, state.body);
}

function showFlat() {
  const found = store.pieces.get(store.chosen), region = chosenRegion();
  $("no-piece").textContent = found || !store.state.body ? "" : !region ? "Here comes the flat piece of the region that you mark."
    : region.error ? "" : `The flat piece of ${region.name} is being worked out.`;
  flat.show(found?.piece ?? null, found ? painting.pictureOf(found) : null, $("show").value === "strain");
}

// ------------------------------------------------------------------ wiring

$("undo").addEventListener("click", () => step(-1));
$("redo").addEventListener("click", () => step(1));
$("make").addEventListener("click", () => guarded(() => makeSheets($("made"), say)));
$("real-size").addEventListener("click", () => { camera.realSize(); view.redraw(); });
$("show").addEventListener("change", () => { showLists(); paint(); showFlat(); });
document.querySelectorAll("[data-view]").forEach((one) => one.addEventListener("click", () => view.look(one.dataset.view)));
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && (view.tool || marking.placing || view.single.shown)) { marking.take(null); return; }
  if (!(event.ctrlKey || event.metaKey) || event.target.matches("input[type=text], input[type=number]")) return;
  const key = event.key.toLowerCase();
  if (key === "z" || key === "y") { event.preventDefault(); step(key === "y" || event.shiftKey ? 1 : -1); }
});
dropped((hovering) => { $("drop-here").hidden = hovering ? false : Boolean(store.state?.body) || !store.state?.source; }, (file) =>
  (/\.svg$/i.test(file.name) ? dropFile("artwork", file, { view: camera.view ?? "left" }) : dropFile("body", file)));

async function follow() {
  let lost = false;
  for (;;) {
    try {
      const { state } = store;
      const news = await get(`news?after=${state.events}`);
      if (lost) say(null);
      lost = false;
      if (news.events !== state.events || news.revision !== state.revision) await refresh(await get("state"), true);
    } catch (error) {
      say(error.message);
      lost = true;
      await new Promise((later) => setTimeout(later, 2000));
    }
  }
}

const ready = (async () => {
  await guarded(async () => {
    const asked = [get("fields"), get("state"), getBytes("body")]; // all at once, for the first picture
    asked[2].catch(() => {}); // the state says what is wrong with the body
    table = await asked[0];
    await refresh(await asked[1], false, asked[2]);
  });
  if (store.state) requestAnimationFrame(() => { drawing.finish(); follow(); }); // the picture before all that follows it
})();

// For tests and measurements: where a known place of the body is on the page, and what the page has done.
window.markingPage = {
  ready,
  project: (place) => {
    const [x, y] = camera.project(place);
    const frame = $("body").getBoundingClientRect();
    return [frame.left + x, frame.top + y];
  },
  onPiece: (point) => {
    const [x, y] = flat.toPage(point);
    const frame = $("flat").getBoundingClientRect();
    return [frame.left + x, frame.top + y];
  },
  pointed: () => ({ body: view.pointed ?? null, flat: flat.mark ?? null }),
  state: () => store.state,
  piece: () => store.pieces.get(store.chosen),
  coloured: () => painting.coloured,
  drawn: () => drawing.finish(),
  settled: () => Boolean(store.state) && !waiting && !store.state.busy && store.state.regions.every((region) => region.key === region.doneKey),
};
