// What belongs to the whole job: film, scale, body, sheet and printer, drawings, and the job file itself.

import { setting, settings, valuesOf } from "./fields.js";
import { button, choice, details, field, make, rebuild, text } from "./forms.js";
import { film } from "./settings.js";
import { placeOf, store } from "./store.js";

const SHEETS = ["A6", "A5", "A4", "A3", "Letter"];
const VIEWS = ["left", "right", "front", "rear", "top"];

// `act` has: table, change(what, how), place(prompt, then), sendFile(address, file, query), seen() -> the view that is shown
export function showWhole(part, state, act) {
  const set = (section) => (values) => act.change("set section", () => ({ section, values: valuesOf(values, store.state[section] ?? {}) }));
  rebuild(part, make("h2", { textContent: "The whole job" }),
    film("film", state.film, set("film"), false),
    sheet(state.print, set("print")),
    ...settings(act.table.print, state.print, set("print"), { key: "print" }),
    details("body", "Body and scale", bodyFields(state, set, act)),
    details("fittings", "Parts already on the model", fittings(state, act)),
    details("drawings", "Drawings laid on the body", drawings(state, act)),
    details("file", `The job file, ${state.file}`, written(state, act)));
}

// The job as it is written, to be changed here too: comments, order, all that the job file may hold.
function written(state, act) {
  const area = make("textarea", { defaultValue: state.text, rows: 16, spellcheck: false, data: { key: "job text" }, ariaLabel: "The job file" });
  const save = button("Save what I wrote", () => act.change("set text", { whole: area.value }), { disabled: true, data: { key: "save text" } });
  area.addEventListener("input", () => { save.disabled = area.value === state.text; });
  return [
    make("p", { className: "small", textContent: "It is saved after every change, and can be changed by hand at the same time." }),
    area, make("div", { className: "row" }, save)];
}

// All that there is to show of a job that cannot be read: its text, to be mended.
export function showBroken(part, state, act) {
  rebuild(part, details("file", `The job file, ${state.file}`, written(state, act), true));
}

function sheet({ sheet = "A4" }, set) {
  const own = typeof sheet !== "string";
  const side = (i) => setting({ key: String(i), label: i ? "It is high" : "It is wide", kind: "number", unit: "mm" }, sheet,
    (values) => set({ sheet: sheet.map((old, k) => (k === i ? values[i] ?? old : old)) }), { key: "sheet" });
  return make("div", {},
    field("Sheet", choice("sheet", own ? "own size" : sheet, [...SHEETS, "own size"], (size) => set({ sheet: size === "own size" ? [210, 297] : size }))),
    ...(own ? [side(0), side(1)] : []));
}

// A list of one kind of mark that lies on no region of its own, each with its fields.
function listed(kind, state, act, title, removing) {
  return state[kind].map((mark, number) => {
    const now = () => placeOf(store.state[kind], number, mark, state[kind].length);
    const set = (values) => act.change("set mark", () => now() >= 0 && { kind, number: now(), values: valuesOf(values, store.state[kind][now()]) });
    return make("fieldset", {}, make("legend", { textContent: title(mark, number) }),
      ...settings(act.table[kind], mark, set, { key: `${kind} ${number}`, place: act.place }),
      button(removing, () => act.change("remove mark", () => now() >= 0 && { kind, number: now() }), { data: { key: `${kind} remove ${number}` } }));
  });
}

// Handrail knobs, pipes and the like that the film must go round.
function fittings(state, act) {
  const add = () => act.place("Click the part that the film must go round.", (at) => act.change("add mark", { kind: "fitting", values: { at, diameter: 1 } }));
  return [make("p", { className: "small", textContent: "Handrail knobs, pipes and the like: the film gets a hole and a slit to it." }),
    ...listed("fitting", state, act, (_, number) => `Part ${number + 1}`, "Remove this part"),
    button("Add one where I click", add, { data: { key: "fitting add" } })];
}

function bodyFields(state, set, act) {
  const { source } = state;
  const file = make("input", { type: "file", accept: ".stl,.obj,.3mf,.ply,.off,.glb", data: { key: "body file" }, id: "body-file" });
  file.addEventListener("change", () => file.files[0] && act.sendFile("body", file.files[0]));
  // An axis that the other one lies along already: the two change places.
  const turned = (values) => {
    const [[key, axis]] = Object.entries(values), other = { front: "up", up: "front" }[key];
    set("body")(other && axis?.[1] === source[other][1] ? { ...values, [other]: source[key] } : values);
  };
  const size = state.body?.high.map((v, i) => (v - state.body.low[i]).toFixed(1)).join(" × ");
  return [
    make("p", { className: "small", textContent: size ? `${source.file}: ${size} mm, ${state.body.faces.toLocaleString("en")} faces` : source.file }),
    ...(state.body?.repairs ?? []).map((said) => make("p", { className: "small", textContent: `When it was read: ${said}` })),
    field("Another body", file),
    ...settings(act.table.body, source, turned, { key: "body" }),
    field("Scale", text("scale", state.scale, (scale) => set("job")({ scale })), make("small", { textContent: "1:76.2 or 4 mm/ft" })),
    field("Name of the job", text("job name", state.name, (name) => name && set("job")({ name }))),
  ];
}

// Livery drawn elsewhere on a view of the body, thrown on it and so on the pieces.
function drawings(state, act) {
  const view = choice("view", act.seen() ?? "left", VIEWS, () => {});
  const file = make("input", { type: "file", accept: ".svg", data: { key: "drawing" } });
  file.addEventListener("change", () => file.files[0] && act.sendFile("artwork", file.files[0], { view: view.value }));
  return [
    make("p", { className: "small", textContent: "What lies in the group “livery” of an SVG made on a view drawing; it may be dropped anywhere on the page." }),
    ...listed("artwork", state, act, ({ file }) => file, "Remove this drawing"),
    field("Drawn on the view", view), field("Add a drawing", file)];
}
