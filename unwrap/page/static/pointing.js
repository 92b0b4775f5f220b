// A place pointed at on the body is shown on the flat piece, and the other way round.

import { send } from "./ask.js";
import { store } from "./store.js";

export class Pointing {
  constructor(view, flat, tell) {
    Object.assign(this, { view, flat, tell, asking: false, following: null });
  }

  onBody(px) {
    if (!px || !store.state?.body) { this.show({}); return; }
    this.ask(() => send("pick", { ...this.view.camera.ray(...px), pieces: true }));
  }

  onFlat(place) {
    if (!place || !store.chosen) { this.show({}); return; }
    this.flat.point(place);
    const name = store.chosen;
    this.ask(() => send("point", { name, flat: place }));
  }

  // One question at a time; of those that come meanwhile only the last is asked.
  async ask(question) {
    this.following = question;
    if (this.asking) return;
    this.asking = true;
    while (this.following) {
      const now = this.following;
      this.following = null;
      try {
        const found = await now();
        if (!this.following) this.show(found);
      } catch { /* the next move asks again */ }
    }
    this.asking = false;
  }

  show(found) {
    this.following = null;
    this.flat.point(found.name === store.chosen ? found.flat ?? null : null);
    this.view.point(found.at);
    const place = found.at?.map((v) => v.toFixed(1)).join(", ");
    this.tell(place ? `x, y, z ${place} mm${found.name ? `, on ${found.name}` : ""}` : "");
  }
}
