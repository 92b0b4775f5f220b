// The settings of the chosen region.

import { button, choice, colour, field, make, number, rebuild, text } from "./forms.js";

const SIDES = ["bottom", "top", "front", "rear", "left", "right"];
const FILMS = ["as the job", "floated", "set", "softened", "measured"];

// `act` has: change(what, how), attempt(values), rename(name, renamed), reflect(name)
export function showSettings(part, state, region, act) {
  if (!region) { rebuild(part); return; }
  const set = (values) => act.change("set region", { name: region.name, values });
  const reflected = state.regions.some((other) => other.mirror_of === region.name);
  rebuild(part,
    make("h2", { textContent: region.name }),
    region.error && region.key === region.doneKey ? make("p", { className: "warn", textContent: region.error }) : null,
    field("Name", text("name", region.name, (name) => name && name !== region.name && act.rename(region.name, name))),
    fill(state, region, act),
    ...(region.mirror_of ? [make("p", { className: "small", textContent: `The reflection of ${region.mirror_of}.` })] : own(state, region, set, act)),
    field("Spare copies", number("spares", region.spares, (spares) => set({ spares }), { min: 0, max: 20, step: 1, placeholder: "by risk" })),
    make("div", { className: "row" },
      region.mirror_of || reflected ? null : button("Reflect to the other side", () => act.reflect(region.name), { data: { key: "reflect" } }),
      button("Remove this region", () => act.change("remove region", { name: region.name }), { data: { key: "remove" } })));
}

function own(state, region, set, act) {
  return [
    crease(region, set, act),
    joined(region, set),
    details("trims", "Trimmed to", Object.keys(region.within).length > 0, trims(region, state, set)),
    details("edges", "Edges, details and film", false,
      field("Carry over details to", number("bridge", region.bridge, (bridge) => set({ bridge }),
        { min: 0, label: "Carry over details up to this size, mm", placeholder: region.bridgeUsed.toFixed(2) }), "mm"),
      field("Openings", choice("openings", region.openings, ["cut", "cover"], (openings) => set({ openings }))),
      field("Print past the edge", number("edge", region.edge, (edge) => set({ edge }),
        { min: 0, max: 5, label: "How far the print runs past the edge, mm", placeholder: region.edgeUsed.toFixed(2) }), "mm"),
      field("Joint at", choice("joint", region.joint, SIDES, (joint) => set({ joint }))),
      ...film(region, set)),
  ];
}

function details(key, title, open, ...children) {
  return make("details", { data: { key }, open }, make("summary", { textContent: title }), ...children);
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

function film(region, set) {
  const measured = region.film && region.film.stretch !== null;
  const limits = (key) => number(`film ${key}`, measured ? 100 * region.film[key] : null,
    (v) => v !== null && set({ film: { stretch: region.film.stretch, compression: region.film.compression, [key]: v / 100 } }),
    { min: 0, max: 99, label: `Measured ${key} of this region's film, per cent` });
  const pick = choice("film", measured ? "measured" : region.film?.state ?? FILMS[0], FILMS, (state) =>
    set({ film: state === FILMS[0] ? null : state === "measured" ? { stretch: 0.04, compression: 0.01 } : state }));
  return [field("Film", pick), measured ? field("Stretch, shrinking %", limits("stretch"), limits("compression")) : null];
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
  const rows = ["x", "y", "z"].map((axis, i) => {
    const pair = region.within[axis];
    const put = (end, value) => {
      const whole = pair ? [...pair] : [state.body.low[i], state.body.high[i]].map((v) => Math.round(v * 100) / 100);
      if (value !== null) whole[end] = value;
      const within = { ...region.within, [axis]: value === null ? undefined : whole };
      if (value === null) delete within[axis];
      set({ within: Object.keys(within).length ? within : null });
    };
    return make("div", { className: "field" },
      make("span", { textContent: { x: "x, to the front, mm", y: "y, to the left, mm", z: "z, up, mm" }[axis] }),
      make("div", { className: "row" },
        number(`${axis} low`, pair?.[0], (v) => put(0, v), { label: `From ${axis}, mm`, placeholder: state.body.low[i].toFixed(1) }), "to",
        number(`${axis} high`, pair?.[1], (v) => put(1, v), { label: `To ${axis}, mm`, placeholder: state.body.high[i].toFixed(1) })));
  });
  const all = button("No limits", () => set({ within: null }), { disabled: !Object.keys(region.within).length, data: { key: "no trims" } });
  return make("div", {}, ...rows, all);
}

// What was added, taken away and drawn round, each to be taken back.
function joined(region, set) {
  const place = (at) => at.map((v) => v.toFixed(1)).join(", ");
  const line = (said, key, i) => make("li", {}, make("span", { textContent: said }),
    button("Remove", () => set({ [key]: region[key].length > 1 ? region[key].filter((_, k) => k !== i) : null }),
      { data: { key: `${key} ${i}` }, ariaLabel: `Remove: ${said}` }));
  const lines = [
    ...region.also.map((at, i) => line(`Also from ${place(at)}`, "also", i)),
    ...region.less.map((at, i) => line(`Without what is at ${place(at)}`, "less", i)),
    ...region.trim.map(({ view, keep, drop }, i) => line(`${keep ? "Only inside" : "Without"} a line of ${(keep ?? drop).length} corners, ${view}`, "trim", i)),
  ];
  if (!lines.length) return null;
  return make("fieldset", {}, make("legend", { textContent: "Added and taken away" }), make("ul", { className: "lines" }, ...lines));
}
