// The list of regions, and the settings of the chosen one.

import { button, choice, field, make, number, rebuild, text } from "./forms.js";

export function showRegions(part, state, chosen, dots, choose) {
  rebuild(part, ...state.regions.map((region, i) => {
    const dot = make("span", { className: "dot" });
    dot.style.background = dots[i];
    const said = describe(region, state);
    const line = button("", () => choose(region.name), { data: { key: `region ${region.name}` } });
    line.append(dot, make("span", { textContent: region.name }),
      make("span", { className: said.warn ? "state warn" : "state", textContent: said.text }));
    if (region.name === chosen) line.setAttribute("aria-current", "true");
    return make("li", {}, line);
  }));
}

export function describe(region, state) {
  if (state.busy === region.name) return { text: "being worked out…" };
  if (region.error && region.key === region.doneKey) return { text: region.area ? "livery does not fit" : "cannot be made", warn: true };
  if (region.key !== region.doneKey) return { text: "waiting" };
  const cuts = region.cuts ? `, ${region.cuts} relief cut${region.cuts > 1 ? "s" : ""}` : "";
  if (!region.within_film) return { text: `beyond the film${cuts}`, warn: true };
  return { text: `fits${cuts}` };
}

export function figures(region) {
  if (!region || region.area === undefined) return "";
  const parts = [`${(region.area / 100).toFixed(1)} cm²`, `stretch ${region.stretch}`, `compression ${region.compression}`,
    `no uncut piece has less than ${(100 * (region.bound - 1)).toFixed(1)} % between its extremes`];
  if (region.cuts) parts.push(`${region.cuts} relief cut${region.cuts > 1 ? "s" : ""}, ${region.cutLength.toFixed(1)} mm`);
  if (region.bridged) parts.push(`${region.bridged} details carried over`);
  return parts.join(" · ");
}

// `act` has: change(what, how), attempt(values), box()
export function showSettings(part, state, region, act) {
  if (!region) { rebuild(part); return; }
  const set = (values) => act.change("set region", { name: region.name, values });
  const same = [
    field("Name", text("name", region.name, (name) => name && name !== region.name && act.rename(region.name, name))),
    field("Spare copies", number("spares", region.spares, (spares) => set({ spares }), { min: 0, max: 20, step: 1, placeholder: "as needed" })),
  ];
  const own = region.mirror_of ? [make("p", { className: "small", textContent: `The reflection of ${region.mirror_of}.` })] : [
    crease(region, set, act),
    field("Carry over details to", number("bridge", region.bridge, (bridge) => set({ bridge }),
      { min: 0, label: "Carry over details up to this size, mm", placeholder: region.bridgeUsed.toFixed(2) }), "mm"),
    field("Openings", choice("openings", region.openings, ["cut", "cover"], (openings) => set({ openings }))),
    field("Past the edge", number("edge", region.edge, (edge) => set({ edge: edge || null }), { label: "How far past its edge, mm" }), "mm"),
    field("Joint at", choice("joint", region.joint, ["bottom", "top", "front", "rear", "left", "right"], (joint) => set({ joint }))),
    trims(region, state, set),
  ];
  const reflected = state.regions.some((other) => other.mirror_of === region.name);
  rebuild(part,
    make("h2", { textContent: region.name }),
    region.error && region.key === region.doneKey ? make("p", { className: "warn", textContent: region.error }) : null,
    ...same, ...own,
    make("div", { className: "row" },
      region.mirror_of || reflected ? null : button("Reflect to the other side", () => act.reflect(region.name), { data: { key: "reflect" } }),
      button("Remove this region", () => act.change("remove region", { name: region.name }), { data: { key: "remove" } })));
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
      make("span", { textContent: { x: "x, to the front", y: "y, to the left", z: "z, up" }[axis] }),
      make("div", { className: "row" },
        number(`${axis} low`, pair?.[0], (v) => put(0, v), { label: `From ${axis}, mm`, placeholder: state.body.low[i].toFixed(1) }), "to",
        number(`${axis} high`, pair?.[1], (v) => put(1, v), { label: `To ${axis}, mm`, placeholder: state.body.high[i].toFixed(1) })));
  });
  const all = button("No trims", () => set({ within: null }), { disabled: !Object.keys(region.within).length, data: { key: "no trims" } });
  return make("fieldset", {}, make("legend", { textContent: "Trimmed to, mm" }), ...rows, all);
}
