// Making the sheets, and looking at what was made.

import { get, send } from "./ask.js";
import { button, make, rebuild } from "./forms.js";

const PICTURES = [/^sheet-\d+\.svg$/, /^trial-\d+\.svg$/, /^proof\.png$/, /^strain\.png$/];

export async function makeSheets(part, say) {
  part.hidden = false;
  part.scrollIntoView({ block: "nearest" });
  await send("make", {});
  for (;;) {
    const state = await get("making");
    if (!state.running) {
      if (state.error) { rebuild(part, heading(), make("p", { className: "warn", textContent: state.error })); say(state.error); return; }
      showMade(part, state, 0);
      part.scrollIntoView({ block: "start" });
      return;
    }
    const bar = make("progress", { max: 1, value: state.share });
    bar.setAttribute("aria-label", "How far the sheets are");
    rebuild(part, heading(), bar, make("p", { className: "small", role: "status", textContent: state.doing }));
    await new Promise((later) => setTimeout(later, 350));
  }
}

const heading = () => make("h2", { textContent: "Sheets" });

function showMade(part, state, page) {
  const stamp = Math.round(1000 * Object.values(state.seconds).reduce((sum, s) => sum + s, 0));
  const pictures = PICTURES.flatMap((kind) => state.files.filter((name) => kind.test(name)));
  const name = pictures[page];
  const turn = (by) => showMade(part, state, (page + by + pictures.length) % pictures.length);
  rebuild(part, heading(),
    make("p", { className: "small", textContent: `Saved in the folder ${state.folder}, beside the job.` }),
    ...state.warnings.map((said) => make("p", { className: "warn", textContent: said })),
    make("div", { className: "row" },
      button("Previous", () => turn(-1), { data: { key: "previous" } }),
      button("Next", () => turn(1), { data: { key: "next" } }),
      make("span", { role: "status", textContent: `${name}, ${page + 1} of ${pictures.length}` })),
    make("a", { href: `made/${name}?${stamp}`, target: "_blank", rel: "noopener", title: "Open it large" },
      make("img", { src: `made/${name}?${stamp}`, alt: `The file ${name}` })),
    make("h3", { textContent: "Files" }),
    make("ul", {}, ...state.files.map((file) => make("li", {}, make("a", { href: `made/${file}`, download: file, textContent: file })))));
}
