// The list of regions, how far each piece has come, and the figures of the chosen one.

import { button, make, rebuild } from "./forms.js";

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
  if (state.busy === region.name) return { text: region.first ? "first shape, working on…" : "being worked out…" };
  if (region.error && region.key === region.doneKey) return { text: region.area ? "livery does not fit" : "cannot be made", warn: true };
  if (region.key !== region.doneKey) return { text: region.first ? "first shape" : "waiting" };
  const parts = region.parts > 1 ? `, ${region.parts} pieces` : "";
  const cuts = parts + (region.cuts ? `, ${region.cuts} relief cut${region.cuts > 1 ? "s" : ""}` : "");
  if (region.overlap) return { text: "lies over itself", warn: true };
  if (!region.within_film) return { text: `beyond the film${cuts}`, warn: true };
  return { text: `fits${cuts}` };
}

// Stretch and compression beside what the film takes up, and the proven bound.
export function figures(region) {
  if (!region || region.area === undefined) return "";
  const parts = [`${region.first ? "First shape, before cuts: " : ""}${(region.area / 100).toFixed(1)} cm²`,
    `stretch ${region.stretch} of ${region.window[0]}`, `compression ${region.compression} of ${region.window[1]}`];
  if (region.bound > 1.0005) parts.push(`uncut, stretch must differ by ${(100 * (region.bound - 1)).toFixed(1)} % or more`);
  if (region.parts > 1) parts.unshift(`${region.parts} pieces that lap over one another`);
  if (region.cuts) parts.push(`${region.cuts} relief cut${region.cuts > 1 ? "s" : ""}, ${region.cutLength.toFixed(1)} mm`);
  if (region.bridged) parts.push(`${region.bridged} detail${region.bridged > 1 ? "s" : ""} carried over`);
  return parts.join(" · ");
}
