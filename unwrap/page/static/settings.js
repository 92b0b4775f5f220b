// The settings of the chosen region.

import { setting, settings, valuesOf } from "./fields.js";
import { button, choice, colour, details, field, make, rebuild, text } from "./forms.js";
import { placeOf, regionNamed } from "./store.js";

const FILMS = ["as the job", "floated", "set", "softened", "measured"];

// `act` has: table, change(what, how), attempt(values), rename(name, renamed), reflect(name), place(prompt, then)
export function showSettings(part, state, region, act) {
  if (!region) { rebuild(part); return; }
  const set = (values) => act.change("set region", () => regionNamed(region.name) && { name: region.name, values: valuesOf(values, regionNamed(region.name).own) });
  const reflected = state.regions.some((other) => other.mirror_of === region.name);
  rebuild(part,
    make("h2", { textContent: region.name }),
    field("Name", text("region name", region.name, (name) => name && name !== region.name && act.rename(region.name, name))),
    fill(state, region, act),
    ...(region.mirror_of ? [make("p", { className: "small", textContent: `The reflection of ${region.mirror_of}, which has its settings.` })] : own(state, region, set, act)),
    setting({ key: "spares", label: "Spare copies", kind: "number", usual: "by risk" }, region.own, set, { key: "region" }),
    make("div", { className: "row" },
      region.mirror_of || reflected ? null : button("Reflect to the other side", () => act.reflect(region.name), { data: { key: "reflect" } }),
      button("Remove this region", () => act.change("remove region", { name: region.name }), { data: { key: "remove" } })));
}

function own(state, region, set, act) {
  const usual = { bridge: region.bridgeUsed.toFixed(2), edge: region.edgeUsed.toFixed(2) };
  return [
    crease(region, set, act),
    joined(region, set, act),
    details("trims", "Trimmed to", [trims(region, state, set)], Object.keys(region.within).length > 0),
    ...settings(act.table.region, region.own, set, { key: "region", place: act.place, usual }, { "Edges and details": [film("region film", region.film, set, true)] }),
  ];
}

// The colour of the fill that covers the region alone; one that covers others too is changed below.
function fill(state, region, act) {
  const number = state.fill.findLastIndex((mark) => mark.region.length === 1 && mark.region[0] === region.name);
  const put = (colour) => (number < 0 ? act.change("add mark", { kind: "fill", values: { region: region.name, colour } })
    : act.change("set mark", { kind: "fill", number, values: { colour } }));
  const names = [region.name, region.mirror_of];
  const shared = state.fill.some((mark) => mark.region.some((name) => names.includes(name)));
  if (number < 0 && shared) return null;
  return field("Colour", colour("own colour", number < 0 ? "#ffffff" : state.fill[number].colour, put, "Colour of the region"),
    number < 0 ? make("span", { className: "small", textContent: "none yet" }) : "");
}

// How limp the film is: a region's own, or the job's.
export function film(key, film, set, isOwn) {
  const measured = film && film.stretch !== null;
  const put = (values) => set(isOwn ? { film: values.state && Object.keys(values).length === 1 ? values.state : values } : { state: null, stretch: null, compression: null, ...values });
  const pick = choice(key, measured ? "measured" : film?.state ?? FILMS[isOwn ? 0 : 2], FILMS.slice(isOwn ? 0 : 1), (state) =>
    (state === FILMS[0] ? set({ film: null }) : put(state === "measured" ? { stretch: 0.04, compression: 0.01 } : { state })));
  const limit = (end, label) => setting({ key: end, label, kind: "number", unit: "%" }, { [end]: Number((100 * film[end]).toFixed(3)) },
    (values) => put({ stretch: film.stretch, compression: film.compression, [end]: typeof values[end] === "number" ? values[end] / 100 : values[end] ?? 0 }), { key });
  return make("div", {}, field("Film", pick), measured ? limit("stretch", "It stretches by") : null, measured ? limit("compression", "It shrinks by") : null);
}

function crease(region, set, act) {
  const slider = make("input", { type: "range", min: 2, max: 90, step: 1, value: region.crease, data: { key: "crease" } });
  slider.setAttribute("aria-label", "Crease, degrees");
  const value = make("output", { textContent: `${region.crease}°` });
  slider.addEventListener("input", () => { value.textContent = `${slider.value}°`; act.attempt({ crease: Number(slider.value) }); });
  slider.addEventListener("change", () => set({ crease: Number(slider.value) }));
  return field("Ends at edges over", slider, value);
}

function trims(region, state, set) {
  const one = { key: "within", label: "Limits, mm", kind: "limits", help: "x to the front, y to the left, z up" };
  const all = button("No limits", () => set({ within: null }), { disabled: !Object.keys(region.within).length, data: { key: "no trims" } });
  return make("div", {}, setting(one, region.own, set, { key: "region", bounds: state.body }), all);
}

// What was added, taken away and drawn round, each to be taken back.
function joined(region, set, act) {
  const without = (list, i, former) => {
    const gone = placeOf(list ?? [], i, former[i], former.length), left = (list ?? []).filter((_, k) => k !== gone);
    return left.length ? left : null;
  };
  const place = (at) => at.map((v) => v.toFixed(1)).join(", ");
  const line = (said, key, i, more) => make("li", {}, make("span", { textContent: said }), more,
    button("Remove", () => set((now) => ({ [key]: without(now[key], i, region[key]) })),
      { data: { key: `${key} ${i}` }, ariaLabel: `Remove: ${said}` }));
  const lines = [
    ...region.also.map((at, i) => line(`Also from ${place(at)}`, "also", i)),
    ...region.less.map((at, i) => line(`Without what is at ${place(at)}`, "less", i)),
    ...region.trim.map(({ view, keep, drop }, i) => line(`${keep ? "Only inside" : "Without"} ${(keep ?? drop).length} corners, ${view}`, "trim", i,
      button("Its corners", () => act.corners(i), { data: { key: `trim corners ${i}` } }))),
  ];
  if (!lines.length) return null;
  return make("fieldset", {}, make("legend", { textContent: "Added and taken away" }), make("ul", { className: "lines" }, ...lines));
}
