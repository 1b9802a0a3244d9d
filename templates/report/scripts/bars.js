"use strict";
// Why not yet: each part of each guard of the active phase as a bar from far to where it fires.

const FIRES = 75; // per cent of a bar's width

class Bars {
  /** @param {HTMLElement} host */
  constructor(host) {
    this.host = host;
    this.key = "";
    /** @type {GuardBars[]} */
    this.guards = [];
    /** @type {Map<string, GuardBars[]>} */
    this.made = new Map();
  }

  move() {
    const phases = page.runs.map(activePhases);
    const key = phases.join(";");
    if (key !== this.key) {
      this.key = key;
      this.guards = phases.flatMap((active, run) => active.flatMap((phase, sequence) => this.of(run, sequence, phase)));
      if (this.guards.length) this.host.replaceChildren(...this.guards.map(({ element }) => element));
      else this.host.replaceChildren(make("p", { class: "soft" }, "No guard leads out of here."));
    }
    this.guards.forEach((guard) => guard.move());
  }

  /**
   * The bars of a phase's guards; made once.
   * @param {number} run
   * @param {number} sequence
   * @param {number} phase
   */
  of(run, sequence, phase) {
    const key = [run, sequence, phase].join();
    const made = this.made.get(key) ?? guardsOf(sequence, phase).map((guard) => new GuardBars(guard, sequence, page.runs[run]));
    this.made.set(key, made);
    return made;
  }
}

class GuardBars {
  /**
   * @param {Guard} guard
   * @param {number | null} sequence
   * @param {Run} run
   */
  constructor(guard, sequence, run) {
    this.guard = guard;
    this.run = run;
    this.sequence = sequence;
    this.stay = -2;
    this.hold = make("p", { class: "hold" });
    const whose = whoseName(run, sequence);
    const head = make("p", { class: "guard-head" }, named(whose), whose && ": ", "to ", make("strong", {}, named(guard.to)), ...(guard.hold ? [`, once this holds ${guard.hold.words}`] : []));
    const scale = make("p", { class: "scale", "aria-hidden": "true" }, make("span", {}, "far"), make("span", { class: "at-fires" }, "fires"));
    scale.hidden = !guard.leaves.some(({ margin }) => margin !== null);
    this.rows = guard.leaves.map((leaf) => new LeafBar(leaf));
    this.element = make("div", { class: "guard" }, head, scale, ...this.rows.map((row) => row.element), this.hold);
  }

  move() {
    const { run } = this;
    const now = standing(run, this.guard, page.at);
    const stay = this.sequence === null ? -1 : run.stayAt(this.sequence, page.at);
    this.rows.forEach((row, i) => row.move(run, now.parts[i]));
    say(this.hold, now.truth === 2 || now.left > 0 ? holdWords(this.guard, now.left) : "");
    this.element.classList.toggle("true", now.truth === 2);
    if (stay !== this.stay && this.guard.leaves.every(({ margin }) => margin === null || run.column(margin))) {
      this.stay = stay;
      this.rows.forEach((row, i) => row.nearest(run, now.parts[i], this.span(run, stay)));
    }
  }

  /**
   * @param {Run} run
   * @param {number} stay
   */
  span(run, stay) {
    if (stay < 0 || this.sequence === null) return null;
    const stays = run.stays[this.sequence];
    return { from: stays.from[stay] + run.shift, to: stays.to[stay] + run.shift };
  }
}

class LeafBar {
  /** @param {Leaf} leaf */
  constructor(leaf) {
    this.leaf = leaf;
    this.words = make("bdi", { class: "bar-words" }, leaf.words);
    this.fill = make("div", { class: "fill" });
    this.best = make("div", { class: "best" });
    this.number = make("span", { class: "bar-number" });
    this.bestText = make("span", { class: "bar-best" });
    this.bar = make("div", { class: "bar", "aria-hidden": "true" }, this.fill, make("div", { class: "fires" }), this.best);
    this.element = make("div", { class: "bar-row" }, this.words, this.number, this.bar, this.bestText);
    this.best.hidden = true;
    this.bar.hidden = this.bestText.hidden = leaf.margin === null;
  }

  /**
   * @param {Run} run
   * @param {Part} part
   */
  move(run, part) {
    say(this.words, part.words);
    const symbol = part.truth === 2 ? "✓ " : part.truth === 0 ? "✗ " : "? ";
    say(this.number, symbol + distance(part));
    this.number.dataset.margin = String(part.margin);
    this.element.dataset.truth = String(part.truth);
    this.fill.style.width = `${this.place(run, part)}%`;
  }

  /**
   * Where on the bar a part stands, in per cent.
   * @param {Run} run
   * @param {Part} part
   */
  place(run, part) {
    if (part.truth === 3 || Number.isNaN(part.truth)) return 0;
    if (this.leaf.margin === null || Number.isNaN(part.margin)) return part.truth === 2 ? 100 : 0;
    const share = clamp(part.margin / this.far(run, part.negated), -1, 1);
    return share < 0 ? FIRES * (1 + share) : FIRES + (100 - FIRES) * share;
  }

  /**
   * How far "far" is: the worst that the run has, at least a little of the signal's span.
   * @param {Run} run
   * @param {boolean} negated
   */
  far(run, negated) {
    const [least, most] = run.endsOf(this.leaf.margin ?? 0);
    const worst = negated ? most : -least;
    return clamp(Number.isFinite(worst) ? worst : 0, this.leaf.span / 50, this.leaf.span) || 1;
  }

  /**
   * The nearest that this part came in a stay.
   * @param {Run} run
   * @param {Part} part
   * @param {{ from: number, to: number } | null} span
   */
  nearest(run, part, span) {
    let best = -Infinity;
    let tick = -1;
    if (span && this.leaf.margin !== null) {
      run.each(this.leaf.margin, span.from, span.to - 1e-3, (value, at) => {
        const margin = part.negated ? -value : value;
        if (margin > best) [best, tick] = [margin, at];
      });
    }
    this.best.hidden = tick < 0;
    this.bestText.replaceChildren();
    if (tick < 0) return;
    const at = run.timeOf(tick);
    const there = { ...part, truth: best >= 0 ? 2 : 0, margin: best };
    this.best.style.left = `${this.place(run, there)}%`;
    this.bestText.append("nearest in this stay: ", button(`${distance(there)} at ${clock(at)}`, () => page.goTo(at), { class: "link" }));
  }
}

/** What is watched all the time, as a short list. */
class Watched {
  /** @param {HTMLElement} host a <details> */
  constructor(host) {
    this.host = /** @type {HTMLDetailsElement} */ (host);
    this.guards = guardsOf(null, null).map((guard) => new GuardBars(guard, null, page.runs[0]));
    this.state = make("span");
    host.append(make("summary", {}, `watched all the time: ${counted(this.guards.length, "entry", "entries")} `, this.state), ...this.guards.map((guard) => guard.element));
    host.hidden = !this.guards.length;
    host.addEventListener("toggle", () => page.soon());
  }

  move() {
    if (this.host.open) this.guards.forEach((guard) => guard.move());
    const firing = this.guards.filter(({ guard }) => page.runs[0].value(guard.truth, page.at) === 2);
    say(this.state, firing.length ? `(${firing.map(({ guard }) => guard.name).join(", ")} is true now)` : "(none is true now)");
  }
}
