// Controls for the program's table of settings. What is put in goes to the job as it is written,
// and the job's own reader judges it.

import { button, check, choice, colour, details, field, make, text } from "./forms.js";
import { placeOf } from "./store.js";

// A number, or words for the reader: "1 in proto" is a length too.
const asNumber = (words) => (words.trim() === "" ? null : Number.isFinite(Number(words)) ? Number(words) : words.trim());
const listed = (words) => words.split(/[,;]/).map((word) => word.trim()).filter(Boolean);
const orNone = (list) => (list.length ? list : null);
const round = (value) => Number(value.toFixed(4));

// Each gets the setting, its value (undefined where the job says nothing) and a way to put in another:
// the value itself, or a function that makes it from the one that is there when its turn comes.
// `tools` has: key (of the control), place(prompt, then), usual (shown where nothing is said), bounds (of the body)
const KINDS = {
  number: (one, value, put, { key, usual }) => {
    const input = text(key, value === undefined ? "" : String(value), (words) => put(asNumber(words)), "", {
      inputMode: "decimal", className: "short", placeholder: usual === null || usual === undefined ? "" : String(usual) });
    input.addEventListener("keydown", (event) => step(event, input));
    return [input];
  },
  text: (one, value, put, { key, usual }) => [text(key, value ?? "", (words) => put(words || null), "", { placeholder: usual ?? "" })],
  colour: (one, value, put, { key }) => [colour(key, value, put, one.label)],
  flag: (one, value, put, { key, usual }) => [check(key, value ?? usual, put)],
  answer: (one, value, put, { key }) => [choice(key, { true: "yes", false: "no" }[value] ?? "if needed", ["if needed", "yes", "no"],
    (said) => put({ yes: true, no: false }[said] ?? null))],
  choice: (one, value, put, { key, usual }) => [choice(key, value ?? usual, one.options, put)],
  several: (one, value, put, { key, usual }) => {
    const chosen = value ?? usual ?? [];
    return [make("div", { className: "ticks", role: "group", ariaLabel: one.label }, ...one.options.map((option) => make("label", {},
      check(`${key} ${option}`, chosen.includes(option), (on) => put((now) => orNone(one.options.filter((o) => (o === option ? on : (now ?? usual ?? []).includes(o)))))), option)))];
  },
  numbers: (one, value, put, { key }) => [text(key, (value ?? []).join(", "), (words) => put(orNone(listed(words).map(asNumber))))],
  words: (one, value, put, { key }) => [text(key, (value ?? []).join(", "), (words) => put(orNone(listed(words))))],
  sizes: (one, value, put, { key }) => [text(key, (value ?? []).map((size) => size.join(" x ")).join(", "),
    (words) => put(orNone(listed(words).map((size) => size.split(/[x×]/).map(asNumber)))))],
  station: (one, value, put, tools) => [...KINDS.number(one, value, put, tools), clicked(one, tools, "Click the body at the middle of the band.", (at) => put(round(at[0])))],
  place: (one, value, put, tools) => {
    const at = value ?? [0, 0, 0];
    return [...["x", "y", "z"].map((axis, i) => coordinate(`${tools.key} ${axis}`, `${one.label}: ${axis}, mm`, at[i],
      (v) => put((now = at) => now.map((old, k) => (k === i ? v : old))))), clicked(one, tools, `Click the body: ${one.label.toLowerCase()}.`, (at) => put(at.map(round)))];
  },
  places: (one, value = [], put, tools) => [rows(value.map((at, i) => [spoken(at), gone(one, i, value, put, tools)])),
    clicked(one, tools, `Click the body: ${one.label.toLowerCase()}.`, (at) => put((now = []) => [...now, at.map(round)]))],
  rounds: (one, value = [], put, tools) => [rows(value.map(({ at, diameter }, i) => [spoken(at),
    coordinate(`${tools.key} across ${i}`, `Diameter of place ${i + 1}, mm`, diameter, (v) => put((now = []) => now.map((old, k) => (k === placeOf(now, i, value[i], value.length) ? { at: old.at, diameter: v } : old)))), "mm",
    gone(one, i, value, put, tools)])),
    clicked(one, tools, "Click the place that the lines keep clear of.", (at) => put((now = []) => [...now, { at: at.map(round), diameter: 1 }]))],
  limits: (one, value = {}, put, { key, bounds }) => [make("div", {}, ...["x", "y", "z"].map((axis, i) => {
    const usual = [bounds?.low[i], bounds?.high[i]].map((v) => v !== undefined ? Number(v.toFixed(2)) : undefined), ends = value[axis] ?? [];
    const set = (k, v) => put((now = {}) => {
      const { [axis]: there = [], ...others } = now;
      const next = v === null ? others : { ...others, [axis]: usual.map((end, e) => (e === k ? v : there[e] ?? end)) };
      return Object.keys(next).length ? next : null;
    });
    const [low, high] = [0, 1].map((k) => coordinate(`${key} ${axis} ${k}`, `${k ? "To" : "From"} ${axis}, mm`, ends[k], (v) => set(k, v), usual[k]));
    return make("div", { className: "row" }, make("span", { className: "axis", textContent: axis }), low, "to", high);
  }))],
  corners: (one, value = {}, put, { key }) => {
    const change = (how) => put((now = {}) => {
      const next = how(now);
      return Object.keys(next).length ? next : null;
    });
    const without = (now, name) => Object.fromEntries(Object.entries(now).filter(([other]) => other !== name));
    const set = (name, values) => change((now) => (now[name] ? { ...now, [name]: { ...now[name], ...values } } : now));
    return [rows(Object.entries(value).map(([name, corner], i) => [
      text(`${key} name ${i}`, name, (said) => change((now) => ({ ...without(now, name), ...(said && { [said]: now[name] ?? corner }) })), `Corner ${i + 1}, its edges`, { className: "short" }),
      choice(`${key} style ${i}`, corner.style, one.options, (style) => set(name, { style }), `Corner ${i + 1}, its shape`),
      coordinate(`${key} size ${i}`, `Corner ${i + 1}, its size, mm`, corner.size ?? 0, (size) => set(name, { size })),
      button("Remove", () => change((now) => without(now, name)), { data: { key: `${key} gone ${i}` }, ariaLabel: `Remove corner ${name}` })])),
      button("One more corner", () => change((now) => ({ ...now, [freshCorner(now)]: { style: "square" } })), { data: { key: `${key} more` } })];
  },
};

const CORNERS = ["top front", "top rear", "bottom front", "bottom rear", "top left", "top right"];
const freshCorner = (taken) => CORNERS.find((name) => !(name in taken)) ?? "bottom left";
const spoken = (at) => make("span", { textContent: at.map((v) => v.toFixed?.(1) ?? v).join(", ") });
const rows = (lists) => make("ul", { className: "lines", hidden: !lists.length }, ...lists.map((parts) => make("li", {}, ...parts)));
const coordinate = (key, label, value, put, usual = null) => KINDS.number({}, value, put, { key, usual }).map((input) => { input.ariaLabel = label; return input; })[0];
const clicked = (one, { key, place }, prompt, then) => button("Where I click", () => place(prompt, then), { data: { key: `${key} click` }, ariaLabel: `${one.label}: where I click` });
const gone = (one, i, list, put, { key }) => button("Remove", () => put((now = []) => orNone(now.filter((_, k) => k !== placeOf(now, i, list[i], list.length)))),
  { data: { key: `${key} gone ${i}` }, ariaLabel: `${one.label}: remove place ${i + 1}` });

// The arrow keys move a number by a tenth, with Shift by one.
function step(event, input) {
  const way = { ArrowUp: 1, ArrowDown: -1 }[event.key], now = asNumber(input.value || input.placeholder);
  if (!way || typeof now !== "number") return;
  event.preventDefault();
  input.value = String(round(now + way * (event.shiftKey ? 1 : 0.1)));
  clearTimeout(input.later);
  input.later = setTimeout(() => input.dispatchEvent(new Event("change", { bubbles: true })), 400);
}

const within = (values, key) => key.split(".").reduce((inner, part) => inner?.[part], values);

// What is put in, where it may depend on what is there when its turn comes.
export const valuesOf = (values, now) => (typeof values === "function" ? values(now) : values);

// One setting as a labelled control, with its sentence of help; several for a table that is switched on.
export function setting(one, values, set, tools) {
  const value = within(values, one.key), key = `${tools.key} ${one.key}`;
  if (one.kind === "part") {
    const flag = field(one.label, check(key, Boolean(value), (on) => set({ [one.key]: on ? one.start : null })));
    const below = (next) => Object.fromEntries(Object.entries(next).map(([part, v]) => [`${one.key}.${part}`, v]));
    const inner = (next) => set(typeof next === "function" ? (now) => below(next(within(now, one.key))) : below(next));
    return make("div", {}, flag, ...(value ? one.parts.map((part) => setting(part, value, inner, { ...tools, key })) : []));
  }
  const put = (v) => set(typeof v === "function" ? (now) => ({ [one.key]: v(within(now, one.key)) })
    : { [one.key]: v === one.usual && value === undefined ? null : v });
  const controls = KINDS[one.kind](one, value, put, { ...tools, key, usual: tools.usual?.[one.key] ?? one.usual });
  return field(one.label, ...controls, one.unit || null, one.help && make("small", { textContent: one.help }));
}

// All of a section's settings: the open ones plainly, the others under their headings. `more` puts
// further controls under a heading.
export function settings(headed, values, set, tools, more = {}) {
  return headed.flatMap(({ heading, settings }) => {
    const made = [...settings.map((one) => setting(one, values, set, tools)), ...(more[heading] ?? [])];
    return heading ? [details(`${tools.key} ${heading}`, heading, made)] : made;
  });
}
