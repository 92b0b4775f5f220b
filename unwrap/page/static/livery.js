// Fills, lining, bands and lettering on the chosen region.

import { setting, settings, valuesOf } from "./fields.js";
import { button, check, colour, details, make, rebuild } from "./forms.js";
import { placeOf, store } from "./store.js";

const TITLES = { fill: "Fill", lining: "Lining", band: "Band", lettering: "Lettering" };
const DARK = "#1d3b4f", LIGHT = "#e9d8a6";

// The marks that lie on a region: its own, and those of the region that it reflects.
export function marksOn(state, region) {
  const names = [region.name, region.mirror_of].filter(Boolean);
  return Object.keys(TITLES).flatMap((kind) => state[kind].map((mark, number) => ({ kind, number, mark }))
    .filter(({ mark }) => mark.region.some((name) => names.includes(name))));
}

// `act` has: table, change(what, how), place(prompt, then) which waits for a click on the body
export function showLivery(part, state, region, act) {
  if (!region) { rebuild(part); return; }
  const on = marksOn(state, region);
  const adders = make("div", { className: "row" }, ...Object.keys(TITLES).map((kind) =>
    button(`Add ${TITLES[kind].toLowerCase()}`, () => act.change("add mark", { kind, values: fresh(kind, state, region) }), { data: { key: `add ${kind}` } })));
  rebuild(part, make("h2", { textContent: "Livery" }), ...on.map((one) => markForm(one, state, region, act)), adders);
}

function fresh(kind, state, region) {
  const at = region.at ?? state.regions.find((other) => other.name === region.mirror_of)?.at ?? [0, 0, 0];
  const lines = [{ width: 0.4, colour: LIGHT }];
  return {
    fill: { region: region.name, colour: DARK },
    lining: { region: region.name, inset: 0.8, lines },
    band: { region: region.name, at_x: Math.round(at[0] * 100) / 100, lines },
    lettering: { region: region.name, text: "TEXT", height: 3, at, colour: LIGHT },
  }[kind];
}

function markForm({ kind, number, mark }, state, region, act) {
  const now = () => placeOf(store.state[kind], number, mark, state[kind].length);
  const set = (values) => act.change("set mark", () => now() >= 0 && { kind, number: now(), values: valuesOf(values, store.state[kind][now()]) });
  const key = `${kind} ${number}`, title = TITLES[kind];
  const [open, closed] = [true, false].map((plain) => settings(act.table[kind].filter(({ heading }) => plain === !heading), mark, set, { key, place: act.place, bounds: state.body }));
  return make("fieldset", {}, make("legend", { textContent: mark.text ? `${title}: ${mark.text}` : title }),
    ...open, mark.lines ? lineSet(mark.lines, set, key) : null, ...closed,
    onRegions(mark, state, region, set, key),
    make("div", { className: "row" }, ...moves(kind, number, state, region, act, key), button(`Remove this ${title.toLowerCase()}`, () => act.change("remove mark", () => now() >= 0 && { kind, number: now() }), { data: { key: `${key} remove` } })));
}

// Of marks of one kind on the same region, the later one lies over the earlier one.
function moves(kind, number, state, region, act, key) {
  const same = marksOn(state, region).filter((one) => one.kind === kind).map((one) => one.number), place = same.indexOf(number);
  const move = (said, other) => other !== undefined && button(said, () => act.change("change places", () => {
    const now = [number, other].map((n) => placeOf(store.state[kind], n, state[kind][n], state[kind].length));
    return now.every((n) => n >= 0) && { kind, numbers: now };
  }), { data: { key: `${key} ${said}` } });
  return [move("Lay it higher", same[place + 1]), move("Lay it lower", same[place - 1])].filter(Boolean);
}

// The regions that a mark lies on; a reflection takes it from its original.
function onRegions(mark, state, region, set, key) {
  if (state.regions.length < 2) return null;
  const others = mark.region.filter((name) => name !== region.name);
  const boxes = state.regions.filter((other) => !other.mirror_of || mark.region.includes(other.name)).map(({ name }) => {
    const box = check(`${key} on ${name}`, mark.region.includes(name), (on) => {
      const names = (there) => state.regions.map((one) => one.name).filter((one) => (one === name ? on : there.includes(one)));
      if (!names(mark.region).length) { box.checked = true; return; }
      set(({ region: there }) => ({ region: names(there).length > 1 ? names(there) : names(there)[0] ?? name }));
    });
    return make("label", {}, box, name);
  });
  return details(`${key} regions`, others.length ? `Also on ${others.join(", ")}` : "Only on this region",
    [make("div", { className: "ticks", role: "group", ariaLabel: "On these regions" }, ...boxes)]);
}

// Lines and gaps, the outer edge first.
function lineSet(lines, set, key) {
  const plain = plainly(lines);
  const change = (i, how) => set((now) => {
    const there = plainly(now.lines), place = placeOf(there, i, plain[i], plain.length);
    return { lines: place < 0 ? there : how(there, place) };
  });
  const put = (i, entry) => change(i, (there, place) => there.map((old, k) => (k === place ? { ...old, ...entry } : old)));
  const rows = plain.map((line, i) => {
    const what = line.gap === undefined ? "width" : "gap", name = `${what === "gap" ? "Gap" : "Line"} ${i + 1}`;
    const wide = setting({ key: what, label: "", kind: "number" }, line, (values) => put(i, values), { key: `${key} line ${i}` }).querySelector("input");
    wide.setAttribute("aria-label", `${name}, width in mm`);
    return make("li", {}, make("span", { className: "axis", textContent: name.split(" ")[0] }), wide, "mm",
      what === "width" ? colour(`${key} line colour ${i}`, line.colour, (c) => put(i, { colour: c }), `Colour of line ${i + 1}`) : null,
      plain.length > 1 ? button("Remove", () => change(i, (there, place) => there.filter((_, k) => k !== place)), { data: { key: `${key} remove ${i}` }, ariaLabel: `Remove ${name.toLowerCase()}` }) : null);
  });
  return make("div", {}, make("ol", { className: "lines" }, ...rows), make("div", { className: "row" },
    button("One more line", () => set((now) => ({ lines: [...plainly(now.lines), { gap: 0.4 }, { width: 0.3, colour: LIGHT }] })), { data: { key: `${key} more` } })));
}

const plainly = (lines) => lines.map((line) => (line.gap === undefined ? { width: line.width, colour: line.colour } : { gap: line.gap }));
