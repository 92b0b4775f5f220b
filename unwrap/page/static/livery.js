// Fills, lining, bands and lettering on the chosen region.

import { button, choice, colour, field, make, number, rebuild, text } from "./forms.js";

const TITLES = { fill: "Fill", lining: "Lining", band: "Band", lettering: "Lettering" };
const CORNERS = ["square", "rounded", "incurved", "canted", "notched"];
const SIDES = ["top", "bottom", "front", "rear", "left", "right"];
const DARK = "#1d3b4f", LIGHT = "#e9d8a6";

// The marks that lie on a region: its own, and those of the region that it reflects.
export function marksOn(state, region) {
  const names = [region.name, region.mirror_of].filter(Boolean);
  return Object.keys(TITLES).flatMap((kind) => state[kind].map((mark, number) => ({ kind, number, mark }))
    .filter(({ mark }) => mark.region.some((name) => names.includes(name))));
}

// `act` has: change(what, how), place(prompt, then) which waits for a click on the body
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

function markForm({ kind, number: index, mark }, state, region, act) {
  const set = (values) => act.change("set mark", { kind, number: index, values });
  const key = (name) => `${kind} ${index} ${name}`;
  const parts = { fill: fillForm, lining: liningForm, band: bandForm, lettering: letteringForm }[kind](mark, set, key, act);
  return make("fieldset", {}, make("legend", { textContent: TITLES[kind] }),
    ...parts,
    onRegions(mark, state, region, set, key),
    button(`Remove this ${TITLES[kind].toLowerCase()}`, () => act.change("remove mark", { kind, number: index }), { data: { key: key("remove") } }));
}

// The regions that a mark lies on; a reflection takes it from its original.
function onRegions(mark, state, region, set, key) {
  const others = mark.region.filter((name) => name !== region.name);
  const boxes = state.regions.filter((other) => !other.mirror_of || mark.region.includes(other.name)).map(({ name }) => {
    const box = make("input", { type: "checkbox", checked: mark.region.includes(name), data: { key: key(`on ${name}`) } });
    box.addEventListener("change", () => {
      const names = state.regions.map((one) => one.name).filter((one) => (one === name ? box.checked : mark.region.includes(one)));
      if (names.length) set({ region: names.length > 1 ? names : names[0] }); else box.checked = true;
    });
    return make("label", {}, box, ` ${name}`);
  });
  return make("details", { data: { key: key("regions") } },
    make("summary", { textContent: others.length ? `Also on ${others.join(", ")}` : "Only on this region" }),
    make("div", { className: "row", role: "group", ariaLabel: "On these regions" }, ...boxes));
}

function fillForm(mark, set, key) {
  return [field("Colour", colour(key("colour"), mark.colour, (colour) => set({ colour })))];
}

function liningForm(mark, set, key) {
  const sides = new Set(mark.edges ?? []);
  const boxes = SIDES.map((side) => {
    const box = make("input", { type: "checkbox", checked: sides.has(side), data: { key: key(side) } });
    box.addEventListener("change", () => {
      if (box.checked) sides.add(side); else sides.delete(side);
      set({ edges: sides.size ? SIDES.filter((one) => sides.has(one)) : null });
    });
    return make("label", {}, box, ` ${side}`);
  });
  return [
    field("In from the edge", number(key("inset"), mark.inset, (inset) => set({ inset: inset ?? 0 }), { min: 0 }), "mm"),
    field("Corners", choice(key("corner"), mark.corner, CORNERS, (corner) => set({ corner })),
      number(key("radius"), mark.radius, (radius) => set({ radius: radius ?? 0 }), { min: 0, label: "Radius of the corners, mm" })),
    make("div", { className: "row", role: "group", ariaLabel: "Along these edges only" },
      make("span", { className: "small", textContent: "Only along:" }), ...boxes),
    lineSet(mark.lines, set, key),
  ];
}

function bandForm(mark, set, key) {
  return [
    field("Middle at x", number(key("at_x"), mark.at_x, (at) => at !== null && set({ at_x: at })), "mm"),
    lineSet(mark.lines, set, key),
  ];
}

function letteringForm(mark, set, key, act) {
  const put = (i, value) => value !== null && set({ at: mark.at.map((v, k) => (k === i ? value : v)) });
  return [
    field("Text", text(key("text"), mark.text, (words) => words && set({ text: words }))),
    field("Height", number(key("height"), mark.height, (height) => height && set({ height }), { min: 0.1 }), "mm"),
    field("At x, y, z", ...["x", "y", "z"].map((axis, i) =>
      number(key(`at ${axis}`), mark.at[i], (v) => put(i, v), { label: `Middle of the text, ${axis}, mm` }))),
    button("Put it where I click", () => act.place("Click the body where the middle of the text is to be.", (at) => set({ at })), { data: { key: key("place") } }),
    field("Turned by", number(key("turn"), mark.turn, (turn) => set({ turn: turn ?? 0 }), { min: -360, max: 360, label: "Turned by, degrees" }), "°"),
    field("Weight", choice(key("weight"), mark.weight, ["normal", "bold"], (weight) => set({ weight }))),
    field("Font", text(key("font"), mark.font, (font) => font && set({ font }))),
    field("Between letters", number(key("spacing"), mark.spacing, (spacing) => set({ spacing: spacing ?? 0 })), "mm"),
    field("Colour", colour(key("colour"), mark.colour, (colour) => set({ colour }))),
  ];
}

// Lines and gaps, the outer edge first.
function lineSet(lines, set, key) {
  const plain = lines.map((line) => (line.gap === undefined ? { width: line.width, colour: line.colour } : { gap: line.gap }));
  const put = (i, entry) => set({ lines: plain.map((old, k) => (k === i ? entry : old)) });
  const rows = plain.map((line, i) => make("li", {},
    make("span", { textContent: line.gap === undefined ? "Line" : "Gap" }),
    number(key(`line ${i}`), line.width ?? line.gap, (v) => v && put(i, line.gap === undefined ? { ...line, width: v } : { gap: v }),
      { min: 0.01, label: `${line.gap === undefined ? "Line" : "Gap"} ${i + 1}, width in mm` }), "mm",
    line.gap === undefined ? colour(key(`line colour ${i}`), line.colour, (c) => put(i, { ...line, colour: c }), `Colour of line ${i + 1}`) : null,
    plain.length > 1 ? button("Remove", () => set({ lines: plain.filter((_, k) => k !== i) }), { data: { key: key(`remove ${i}`) }, ariaLabel: `Remove entry ${i + 1}` }) : null));
  return make("div", {}, make("ol", { className: "lines" }, ...rows), make("div", { className: "row" },
    button("One more line", () => set({ lines: [...plain, { gap: 0.4 }, { width: 0.3, colour: LIGHT }] }), { data: { key: key("more") } })));
}
