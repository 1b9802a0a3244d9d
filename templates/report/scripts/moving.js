"use strict";
// The small animation of a rehearsal: straight pieces seen from the front, where they are at the moment.

class Moving {
  /** @param {HTMLElement} host */
  constructor(host) {
    this.run = page.runs[0];
    this.drawn = this.run.data.drawn;
    host.hidden = !this.drawn.length;
    this.svg = drawn("svg", { role: "img", "aria-label": "the machine at this moment, seen from the front" });
    this.ground = drawn("line", { class: "ground" });
    this.lines = this.drawn.map((piece) => this.piece(piece.name));
    this.svg.append(this.ground, ...this.lines);
    if (this.drawn.length) host.append(this.svg, make("p", { class: "soft" }, "seen from the front; its left is on the right"));
    this.framed = false;
  }

  /** @param {string} text */
  piece(text) {
    const line = drawn("line", { class: text.includes("foot") ? "foot" : "bone" });
    const title = drawn("title");
    title.textContent = text;
    line.append(title);
    return line;
  }

  /** Make room for all that is ever drawn. */
  frame() {
    const ends = (/** @type {"y1" | "z1" | "y2" | "z2"} */ key) => this.drawn.map((piece) => this.run.endsOf(piece[key]));
    const ys = [...ends("y1"), ...ends("y2")].flat();
    const zs = [...ends("z1"), ...ends("z2")].flat();
    const [left, right, low, high] = [Math.min(...ys), Math.max(...ys), Math.min(0, ...zs), Math.max(...zs)];
    if (![left, right, low, high].every(Number.isFinite)) return;
    const room = (right - left + high - low) * 0.05;
    this.svg.setAttribute("viewBox", `${left - room} ${-high - room} ${right - left + 2 * room} ${high - low + 2 * room}`);
    put(this.ground, { x1: left - room, x2: right + room, y1: 0, y2: 0 });
    this.framed = true;
  }

  move() {
    if (!this.drawn.length) return;
    if (!this.framed) this.frame();
    this.drawn.forEach((piece, i) => {
      const at = (/** @type {number} */ column) => this.run.value(column, page.at);
      const numbers = { x1: at(piece.y1), y1: -at(piece.z1), x2: at(piece.y2), y2: -at(piece.z2) };
      const known = !Object.values(numbers).some(Number.isNaN);
      this.lines[i].style.display = known ? "" : "none";
      if (known) put(this.lines[i], numbers);
    });
  }
}
