// What belongs to the whole job: film, scale, body, drawings, and the job file itself.

import { button, choice, field, make, number, rebuild, text } from "./forms.js";

const AXES = ["+x", "-x", "+y", "-y", "+z", "-z"];
const SHEETS = ["A6", "A5", "A4", "A3", "Letter"];
const VIEWS = ["left", "right", "front", "rear", "top"];

// `act` has: change(what, how), place(prompt, then), sendFile(address, file, query), seen() -> the view that is shown
export function showWhole(part, state, act) {
  const set = (section) => (values) => act.change("set section", { section, values });
  rebuild(part, make("h2", { textContent: "The whole job" }),
    film(state.film, set("film")),
    details("body", "Body", bodyFields(state, set, act)),
    sheet(state.print, set("print")),
    details("fittings", "Parts already on the model", fittings(state, act)),
    details("drawings", "Drawings laid on the body", drawings(state, act)),
    details("file", `The job file, ${state.file}`, [
      make("p", { className: "small", textContent: "It is saved after every change, and can be changed by hand at the same time." }),
      make("pre", { textContent: state.text, tabIndex: 0 }),
    ]));
}

function details(key, title, children) {
  return make("details", { data: { key } }, make("summary", { textContent: title }), ...children);
}

function film(film, set) {
  const measured = film.stretch !== null;
  const per = (key) => number(`film ${key}`, measured ? 100 * film[key] : null, (v) => v !== null && set({
    state: null,
    stretch: key === "stretch" ? v / 100 : film.stretch ?? 0.04,
    compression: key === "compression" ? v / 100 : film.compression ?? 0.01,
  }), { min: 0, max: 99, label: `Measured ${key} of the film, per cent`, placeholder: "%" });
  return make("div", {},
    field("Film", choice("film state", measured ? "measured" : film.state ?? "set", ["floated", "set", "softened", "measured"],
      (state) => set(state === "measured" ? { state: null, stretch: 0.04, compression: 0.01 } : { state, stretch: null, compression: null }))),
    measured ? field("Stretch, shrinking %", per("stretch"), per("compression")) : null);
}

function sheet({ sheet }, set) {
  const own = typeof sheet !== "string";
  const side = (i) => number(`sheet ${i}`, own ? sheet[i] : null, (v) => v && set({ sheet: sheet.map((old, k) => (k === i ? v : old)) }),
    { min: 10, label: `${i ? "Height" : "Width"} of the sheet, mm` });
  return make("div", {},
    field("Sheet", choice("sheet", own ? "own size" : sheet, [...SHEETS, "own size"], (size) => set({ sheet: size === "own size" ? [210, 297] : size }))),
    own ? field("Wide, high", side(0), side(1), "mm") : null);
}

// Handrail knobs, pipes and the like that the film must go round.
function fittings(state, act) {
  const rows = state.fitting.map((one, i) => make("li", {},
    make("span", { textContent: one.at.map((v) => v.toFixed(1)).join(", ") }),
    number(`fitting ${i}`, one.diameter, (diameter) => diameter && act.change("set mark", { kind: "fitting", number: i, values: { diameter } }),
      { min: 0.1, label: `Diameter of part ${i + 1}, mm` }), "mm",
    button("Remove", () => act.change("remove mark", { kind: "fitting", number: i }), { data: { key: `fitting remove ${i}` }, ariaLabel: `Remove part ${i + 1}` })));
  const add = () => act.place("Click the part that the film must go round.", (at) => act.change("add mark", { kind: "fitting", values: { at, diameter: 1 } }));
  return [make("ul", { className: "lines" }, ...rows), button("Add one where I click", add, { data: { key: "fitting add" } })];
}

function bodyFields(state, set, act) {
  const { source } = state;
  const put = set("body");
  const file = make("input", { type: "file", accept: ".stl,.obj,.3mf,.ply,.off,.glb", data: { key: "body file" }, id: "body-file" });
  file.addEventListener("change", () => file.files[0] && act.sendFile("body", file.files[0]));
  const size = state.body ? state.body.high.map((v, i) => (v - state.body.low[i]).toFixed(1)).join(" × ") : "";
  return [
    make("p", { className: "small", textContent: `${source.file}: ${size} mm, ${state.body?.faces ?? 0} faces` }),
    field("Another body", file),
    field("Unit of the file", choice("units", source.units, ["mm", "cm", "m", "in"], (units) => put({ units }))),
    field("Its front, its top", choice("front", source.front, AXES, (front) => put({ front }), "Axis of the file that points to the front"),
      choice("up", source.up, AXES, (up) => put({ up }), "Axis of the file that points up")),
    field("Scale", text("scale", `1:${Number(state.scale.toFixed(4))}`, (scale) => set("job")({ scale }))),
    field("Name of the job", text("job name", state.name, (name) => name && set("job")({ name }))),
  ];
}

// Livery drawn elsewhere on a view of the body, thrown on it and so on the pieces.
function drawings(state, act) {
  const view = choice("view", act.seen() ?? "left", VIEWS, () => {});
  const file = make("input", { type: "file", accept: ".svg", data: { key: "drawing" } });
  file.addEventListener("change", () => file.files[0] && act.sendFile("artwork", file.files[0], { view: view.value }));
  const list = state.artwork.map((one, number) => {
    const set = (values) => act.change("set mark", { kind: "artwork", number, values });
    return make("fieldset", {}, make("legend", { textContent: one.file }),
      field("Drawn on the view", choice(`artwork view ${number}`, one.view, VIEWS, (view) => set({ view }))),
      field("Lengths hold on the", choice(`artwork measure ${number}`, one.measure, ["view", "surface"], (measure) => set({ measure }))),
      button("Remove this drawing", () => act.change("remove mark", { kind: "artwork", number }), { data: { key: `artwork ${number}` } }));
  });
  return [
    make("p", { className: "small", textContent: "What lies in the group “livery” of an SVG made on a view drawing; it may be dropped anywhere on the page." }),
    ...list, field("Drawn on the view", view), field("Add a drawing", file)];
}
