// Small parts of forms. Each control has a key, so that it keeps the focus when its form is built anew.

let count = 0;

export function make(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  const { data, role, ...rest } = properties;
  Object.assign(element, rest);
  if (role) element.setAttribute("role", role);
  if (data) Object.assign(element.dataset, data);
  element.append(...children.filter((child) => child !== null && child !== undefined && child !== ""));
  return element;
}

export function button(text, onClick, properties = {}) {
  const made = make("button", { type: "button", textContent: text, ...properties });
  made.addEventListener("click", onClick);
  return made;
}

// A label before one or more controls; a sentence of help goes below.
export function field(label, ...parts) {
  const shown = parts.filter(Boolean);
  const help = shown.filter((part) => part.tagName === "SMALL"), controls = shown.filter((part) => part.tagName !== "SMALL");
  const first = controls.find((control) => control.matches?.("input, select, textarea"));
  const name = make(first ? "label" : "span", { textContent: label });
  if (first) name.htmlFor = first.id ||= `control-${++count}`;
  if (first && help.length) first.setAttribute("aria-describedby", help[0].id = `help-${++count}`);
  return make("div", { className: "field" }, name,
    controls.length === 1 ? controls[0] : make("div", { className: "row" }, ...controls), ...help);
}

export function details(key, title, children, open = false) {
  return make("details", { data: { key }, open }, make("summary", { textContent: title }), ...children);
}

export function text(key, value, onChange, label = "", properties = {}) {
  const input = make("input", { type: "text", value: value ?? "", data: { key }, ...properties });
  if (label) input.setAttribute("aria-label", label);
  input.addEventListener("change", () => onChange(input.value));
  return input;
}

export function choice(key, value, options, onChange, label = "") {
  const made = make("select", { data: { key } }, ...options.map((option) => make("option", { textContent: option, selected: option === value })));
  if (label) made.setAttribute("aria-label", label);
  made.addEventListener("change", () => onChange(options[made.selectedIndex]));
  return made;
}

export function check(key, checked, onChange) {
  const made = make("input", { type: "checkbox", checked: Boolean(checked), data: { key } });
  made.addEventListener("change", () => onChange(made.checked));
  return made;
}

export function colour(key, value, onChange, label = "Colour") {
  const input = make("input", { type: "color", value: value ?? "#000000", data: { key } });
  input.setAttribute("aria-label", label);
  input.addEventListener("change", () => onChange(input.value));
  return input;
}

const withKey = (part, key) => part.querySelector(`[data-key="${CSS.escape(key)}"]`);

// Replace a part's children; the control that had the focus gets it back.
export function rebuild(part, ...children) {
  const key = part.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  const open = new Map([...part.querySelectorAll("details")].map((d) => [d.dataset.key, d.open]));
  const unsaved = [...part.querySelectorAll("textarea")].filter((area) => area.value !== area.defaultValue);
  part.replaceChildren(...children.filter((child) => child !== null && child !== undefined));
  part.querySelectorAll("details").forEach((d) => { d.open = open.get(d.dataset.key) ?? d.open; });
  for (const area of unsaved) keepWriting(withKey(part, area.dataset.key), area);
  if (key) withKey(part, key)?.focus();
}

// What is being written stays, though what it was begun on may have changed.
function keepWriting(area, former) {
  if (!area || area.value === former.value) return;
  const changed = area.value !== former.defaultValue;
  area.value = former.value;
  area.setSelectionRange(former.selectionStart, former.selectionEnd);
  area.dispatchEvent(new Event("input"));
  if (changed) area.after(make("p", { className: "small warn", role: "status", textContent: "The job has changed meanwhile; saving puts this text in its place." }));
}

// What was put in last, for the sentence that says why it cannot be.
let changed = null;
document.addEventListener("change", ({ target }) => { changed = target.dataset?.key ? { key: target.dataset.key, value: target.value } : null; }, true);
document.addEventListener("click", ({ target }) => { if (target.closest("button")) changed = null; }, true);
export const lastChanged = () => changed;

// Show a sentence at the control that it is about, with what was put in; false where that is gone.
export function refuse({ key, value }, sentence) {
  const control = withKey(document, key), field = control?.closest(".field, li");
  if (!field) return false;
  if (control.matches("input[type=text]")) control.value = value;
  control.setAttribute("aria-invalid", "true");
  const said = make("p", { className: "warn refused", role: "alert", textContent: sentence, id: `refused-${++count}` });
  control.setAttribute("aria-errormessage", said.id);
  field.append(said);
  return true;
}
