// Marking on the body: begin a region, add to it, take away, trim it by a box or round a line.

import { send, sendForBytes } from "./ask.js";
import { boxLimits } from "./drawn.js";
import { button } from "./forms.js";
import { asShape, chosenRegion, freshName, regionNamed, store } from "./store.js";

const PROMPTS = {
  mark: "Click the body where the region is to be.",
  add: "Click what shall belong to the region too.",
  less: "Click what shall not belong to the region.",
  box: "Draw a box on a straight-on view.",
  lasso: "Draw round a part in one go, or click corner by corner, on a straight-on view.",
};

export class Marking {
  // `page` has: change(what, how), choose(name), paint(), say(sentence), prompt(sentence)
  constructor(view, tools, asking, page) {
    Object.assign(this, { view, tools, asking, page, placing: null, wanted: null, trying: false });
    for (const one of tools) one.addEventListener("click", () => this.take(view.tool === one.dataset.tool ? null : one.dataset.tool));
    asking.addEventListener("keydown", (event) => { if (event.key === "Escape") this.take(null); });
  }

  // Take a tool in hand, or none: then a drag turns the body and a click chooses a region.
  take(tool) {
    const own = ["add", "less", "box", "lasso"].includes(tool);
    if (own && !this.mayChange()) tool = null;
    this.placing = null;
    this.view.setTool(tool);
    for (const one of this.tools) one.setAttribute("aria-pressed", String(one.dataset.tool === tool));
    this.page.prompt(PROMPTS[tool] ?? "");
    this.view.redraw();
  }

  mayChange() {
    const region = chosenRegion();
    if (!region) this.page.say("Choose a region first, or mark one.");
    else if (region.mirror_of) this.page.say(`${region.name} is the reflection of ${region.mirror_of}; change that one.`);
    else return true;
    return false;
  }

  // Wait for a click on the body and tell where it was.
  place(prompt, then) {
    this.take(null);
    this.placing = then;
    this.view.canvas.classList.add("aiming");
    this.page.prompt(prompt);
  }

  // ---------------------------------------------------------------- clicks

  async click(px) {
    if (!store.state?.body) return;
    const hit = await send("pick", this.view.camera.ray(...px));
    if (!hit.at) return;
    const { tool } = this.view;
    if (this.placing) {
      const then = this.placing;
      this.take(null);
      await then(hit.at);
    } else if (tool === "add" || tool === "less") {
      await this.join(tool, hit.at);
    } else {
      const there = store.regionOfFace(hit.face);
      if (there) this.page.choose(there);
      else if (tool === "mark") await this.begin(hit);
    }
  }

  async begin({ at, face }) {
    const name = freshName("region 1");
    const shape = asShape(await sendForBytes("first-look", { face }));
    store.chosen = name;
    store.shapes.set(name, { ...shape, shape: "glance" });
    store.state.regions.push({ name, at, within: {}, shape: "glance", key: "glance", doneKey: null });
    this.page.paint();
    await this.page.change("add region", { name, values: { at } });
  }

  async join(tool, at) {
    const region = chosenRegion();
    if (tool === "add") this.glance({ ...region, also: [...region.also, at] }).catch(() => {});
    if (await this.page.change(tool === "add" ? "add place" : "leave out place", { name: region.name, at })) this.take(null);
  }

  // `values` tells from the region as it is then what it is to be.
  reshape(values) {
    const name = store.chosen;
    return this.page.change("trim region", () => regionNamed(name) && { name, values: values(regionNamed(name)) });
  }

  // ---------------------------------------------------------------- trying

  // Follow a slider or a dragged line: at a glance while it moves, exactly when it rests. Nothing
  // is saved before it is let go.
  async attempt(values) {
    this.wanted = values;
    if (this.trying) return;
    this.trying = true;
    while (this.wanted) {
      const now = this.wanted;
      this.wanted = null;
      try {
        await this.glance({ ...chosenRegion(), ...now });
        if (!this.wanted) this.show(await sendForBytes("try", { name: store.chosen, values: now }));
        this.page.say(null);
      } catch (error) { this.page.say(error.message); }
    }
    this.trying = false;
  }

  async glance({ at, also, crease, within }) {
    this.show(await sendForBytes("first-look", { at, also, crease, within }));
  }

  show(bytes) {
    store.shapes.set(store.chosen, { ...asShape(bytes), shape: "tried" });
    this.page.paint();
  }

  trimmed(within, done) {
    if (done) this.reshape(() => ({ within }));
    else this.attempt({ within });
  }

  // ---------------------------------------------------------------- what was drawn round

  drawn(corners) {
    const { asking } = this;
    asking.hidden = !corners;
    if (!corners || asking.childElementCount) return;
    asking.append(
      button("Keep only what is inside", () => this.trim("keep"), { className: "main" }),
      button("Take it out", () => this.trim("drop")),
      button("Leave it", () => this.take(null)));
  }

  // Show the corners of a line of the chosen region's, to be moved.
  corners(number) {
    const line = chosenRegion().trim[number];
    this.take(null);
    this.view.look(line.view);
    this.view.single.show(number, line);
    this.page.prompt("Drag a corner, or a dot between two for a new one; Delete takes one out, Escape ends.");
  }

  async moved(number, corners, view) {
    const count = chosenRegion().trim.length;
    const well = await this.reshape(({ trim }) => (trim.length !== count ? {} : { trim: trim.map((line, k) => (k === number ? { view, [line.keep ? "keep" : "drop"]: corners } : asWritten(line))) }));
    if (!well && this.view.single.number === number) this.view.single.show(number, chosenRegion()?.trim[number]); // as it was
  }

  async trim(way) {
    const { view, corners, kind } = this.view.round;
    const box = kind === "box" && way === "keep";
    const values = ({ within, trim }) => (box ? { within: { ...within, ...boxLimits(view, corners) } }
      : { trim: [...trim.map(asWritten), { view, [way]: corners }] });
    if (await this.reshape(values)) this.take(null);
  }
}

// A line drawn round, as the job has it.
export const asWritten = ({ view, keep, drop }) => (keep ? { view, keep } : { view, drop });
