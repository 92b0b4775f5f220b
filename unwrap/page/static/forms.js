// Small parts of forms. Each control has a key, so that it keeps the focus when its form is built anew.

let count = 0;

export function make(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  const { data, ...rest } = properties;
  Object.assign(element, rest);
  if (data) Object.assign(element.dataset, data);
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

export function button(text, onClick, properties = {}) {
  const made = make("button", { type: "button", textContent: text, ...properties });
  made.addEventListener("click", onClick);
  return made;
}

export function field(label, ...controls) {
  const first = controls.find((control) => control.matches?.("input, select, textarea"));
  first.id ||= `control-${++count}`;
  return make("div", { className: "field" }, make("label", { htmlFor: first.id, textContent: label }),
    controls.length === 1 ? controls[0] : make("div", { className: "row" }, ...controls));
}

// onChange gets the new value; null for an emptied number that may be empty.
export function number(key, value, onChange, { min = null, max = null, step = "any", label = "", placeholder = "" } = {}) {
  const input = make("input", { type: "number", step, value: value ?? "", placeholder, data: { key } });
  if (min !== null) input.min = min;
  if (max !== null) input.max = max;
  if (label) input.setAttribute("aria-label", label);
  input.addEventListener("change", () => {
    if (input.validity.badInput || !input.checkValidity()) { input.reportValidity(); return; }
    onChange(input.value === "" ? null : Number(input.value));
  });
  return input;
}

export function text(key, value, onChange, label = "") {
  const input = make("input", { type: "text", value: value ?? "", data: { key } });
  if (label) input.setAttribute("aria-label", label);
  input.addEventListener("change", () => onChange(input.value));
  return input;
}

export function choice(key, value, options, onChange, label = "") {
  const select = make("select", { data: { key } },
    ...options.map((o) => make("option", { value: o, textContent: o === "" ? "none" : o, selected: o === (value ?? "") })));
  if (label) select.setAttribute("aria-label", label);
  select.addEventListener("change", () => onChange(select.value));
  return select;
}

export function colour(key, value, onChange, label = "Colour") {
  const input = make("input", { type: "color", value: value ?? "#000000", data: { key } });
  input.setAttribute("aria-label", label);
  input.addEventListener("change", () => onChange(input.value));
  return input;
}

// Replace a part's children; the control that had the focus gets it back.
export function rebuild(part, ...children) {
  const key = part.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  const open = new Set([...part.querySelectorAll("details[open]")].map((d) => d.dataset.key));
  part.replaceChildren(...children.filter((child) => child !== null && child !== undefined));
  part.querySelectorAll("details").forEach((d) => { d.open ||= open.has(d.dataset.key); });
  if (key) part.querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus();
}
