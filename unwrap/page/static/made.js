// Making the sheets, and looking at what was made, in place of the body and its piece.

import { get, send } from "./ask.js";
import { button, make, rebuild } from "./forms.js";

const PICTURES = [[/^sheet-\d+\.svg$/, "to print"], [/^sheet-\d+-white\.svg$/, "the white"], [/^trial-\d+\.svg$/, "to try the fit"],
  [/^proof\.png$/, "laid back on the body"], [/^strain\.png$/, "what the film must do"]];

export async function makeSheets(part, say) {
  part.hidden = false;
  await send("make", {});
  for (;;) {
    const state = await get("making");
    if (!state.running) {
      if (state.error) { part.hidden = true; say(state.error); } else { show(part, state, 0); }
      return;
    }
    const bar = make("progress", { max: 1, value: state.share });
    bar.setAttribute("aria-label", "How far the sheets are");
    rebuild(part, head(part), bar, make("p", { role: "status", textContent: `${state.doing}…` }));
    await new Promise((later) => setTimeout(later, 350));
  }
}

const head = (part) => make("div", { className: "row" }, make("h2", { textContent: "Sheets" }),
  button("Back to the body", () => { part.hidden = true; }, { data: { key: "back" }, className: "last" }));

function show(part, state, page) {
  const stamp = Math.round(1000 * Object.values(state.seconds).reduce((sum, s) => sum + s, 0));
  const pictures = PICTURES.flatMap(([kind, what]) => state.files.filter((name) => kind.test(name)).map((name) => [name, what]));
  const [name, what] = pictures[page];
  const turn = (by) => show(part, state, (page + by + pictures.length) % pictures.length);
  const picture = make("div", { className: "picture" },
    make("div", { className: "row" },
      button("Previous", () => turn(-1), { data: { key: "previous" } }),
      button("Next", () => turn(1), { data: { key: "next" } }),
      make("span", { role: "status", textContent: `${name}, ${page + 1} of ${pictures.length}: ${what}` })),
    make("a", { href: `made/${name}?${stamp}`, target: "_blank", rel: "noopener", title: "Open it large" },
      make("img", { src: `made/${name}?${stamp}`, alt: `The file ${name}` })));
  const beside = make("div", { className: "beside" },
    ...state.warnings.map((said) => make("p", { className: "warn", textContent: said })),
    make("h3", { textContent: "Files" }),
    make("p", { className: "small", textContent: `They are in the folder ${state.folder}, beside the job; here they can be saved elsewhere.` }),
    make("ul", {}, ...state.files.map((file) => make("li", {}, make("a", { href: `made/${file}`, download: file, textContent: file })))));
  rebuild(part, head(part), make("div", { className: "made" }, picture, beside));
}
