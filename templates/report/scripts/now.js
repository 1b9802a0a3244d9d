"use strict";
// What is now: the phase, since when, what it waits for, by how much that is missed.

class NowPanel {
  /** @param {HTMLElement} host */
  constructor(host) {
    this.blocks = page.sequences.map((sequence, number) => new NowBlock(host, sequence, number));
  }

  move() {
    this.blocks.forEach((block) => block.move());
  }
}

class NowBlock {
  /**
   * @param {HTMLElement} host
   * @param {Sequence} sequence
   * @param {number} number
   */
  constructor(host, sequence, number) {
    this.sequence = sequence;
    this.number = number;
    this.phase = make("bdi", { class: "phase-name" });
    this.since = make("span", { class: "since" });
    this.because = make("p", { class: "because" });
    this.wait = make("p", { class: "wait" });
    this.short = make("p", { class: "short" });
    this.limit = make("progress", { max: 1, value: 0, "aria-label": "time in the phase, up to its timeout" });
    this.limitText = make("span");
    this.limitRow = make("p", { class: "limit" }, this.limit, this.limitText);
    this.other = make("p", { class: "other-run" });
    const title = page.sequences.length > 1 ? [make("h3", {}, named(sequence.name))] : [];
    const where = make("p", { class: "where" }, this.phase, " ", this.since);
    host.append(make("div", { class: "now-block" }, ...title, where, this.short, this.wait, this.limitRow, this.because, this.other));
  }

  move() {
    const run = page.runs[0];
    const row = run.stayAt(this.number, page.at);
    const stays = run.stays[this.number];
    const index = row < 0 ? -1 : stays.phase[row];
    const phase = this.sequence.phases[index];
    say(this.phase, phase ? phase.name : "not running");
    const from = row < 0 ? 0 : stays.from[row] + run.shift;
    say(this.since, phase ? `since ${clock(from)}, for ${lasting(page.at - from)}` : "");
    this.waiting(run, phase, index);
    this.timeout(phase, page.at - from);
    say(this.because, phase ? this.reason(run, from) : "");
    say(this.other, page.runs[1] ? this.second(page.runs[1]) : "");
  }

  /**
   * @param {Run} run
   * @param {Phase | undefined} phase
   * @param {number} index
   */
  waiting(run, phase, index) {
    const guards = phase ? guardsOf(this.number, index) : [];
    if (!phase || !page.document.walk.gait) return this.set("", phase && !page.document.walk.gait ? "" : "", NaN);
    if (!guards.length) return this.set("", "nothing leads out of this phase", NaN);
    if (run.windowOf(run.tickAt(page.at)) < 0) return this.set("", "of this stretch only the least and greatest numbers are in the file", NaN);
    const all = guards.map((guard) => ({ guard, now: standing(run, guard, page.at) }));
    const walking = all.filter(({ guard }) => guard.leaves.some((leaf) => leaf.kind !== "event" && leaf.kind !== "switch"));
    const { guard, now } = walking[0] ?? all[0];
    if (now.truth === 3) return this.set("", row0(run, this.number) ? "just entered: its guards are looked at from the next tick on" : "its guards are not looked at: an entry that is watched all the time holds it", NaN);
    if (now.truth === 2) return this.set(holdWords(guard, now.left) || "fires", `true: ${guard.words}`, 0);
    const worst = now.missing.reduce((most, part) => (part.truth === 0 && part.margin < (most?.margin ?? 0) ? part : most), /** @type {Part | null} */ (null));
    const texts = now.missing.map((part) => part.words + (now.missing.length > 1 && part.truth === 0 && !Number.isNaN(part.margin) ? ` (${distance(part)})` : part.truth === 1 ? " (unknown)" : ""));
    return this.set(worst ? amount(-worst.margin, worst.leaf.unit) : "", texts.join(now.choice ? "; or: " : "; and: "), worst ? worst.margin : NaN);
  }

  /**
   * @param {string} short
   * @param {string} wait
   * @param {number} margin
   */
  set(short, wait, margin) {
    const label = margin < 0 ? "short by" : "";
    if (this.short.dataset.text !== label + short) {
      this.short.dataset.text = label + short;
      this.short.replaceChildren(...(short ? [make("span", { class: "lead" }, label ? `${label} ` : "still: "), make("strong", {}, short)] : []));
    }
    this.short.dataset.margin = String(margin);
    this.short.hidden = !short;
    if (this.wait.dataset.text !== wait) {
      this.wait.dataset.text = wait;
      this.wait.replaceChildren(...(wait ? [make("span", { class: "lead" }, "waits until "), named(wait)] : []));
    }
  }

  /**
   * @param {Phase | undefined} phase
   * @param {number} gone
   */
  timeout(phase, gone) {
    this.limitRow.hidden = !phase?.timeout;
    if (!phase?.timeout) return;
    this.limit.value = clamp(gone / phase.timeout, 0, 1);
    say(this.limitText, gone >= phase.timeout ? `timeout of ${lasting(phase.timeout)} has passed` : `${lasting(phase.timeout - gone)} to its timeout${phase.timeout_to ? ` (to ${phase.timeout_to})` : ""}`);
  }

  /**
   * Why the phase was entered.
   * @param {Run} run
   * @param {number} from
   */
  reason(run, from) {
    const { moves } = run;
    if (!moves) return "";
    for (let row = countUpTo(moves.at, from - run.shift + 1e-6) - 1; row >= 0 && moves.at[row] >= from - run.shift - 1e-3; row--) {
      if (moves.sequence[row] === this.number) return `entered because: ${run.data.moves.causes[moves.cause[row]]}`;
    }
    return "";
  }

  /** @param {Run} run */
  second(run) {
    const row = run.stayAt(this.number, page.at);
    if (row < 0) return `${run.data.name}: not running`;
    const stays = run.stays[this.number];
    const phase = this.sequence.phases[stays.phase[row]];
    return `${run.data.name}: ${phase.name}, for ${lasting(page.at - stays.from[row] - run.shift)}`;
  }
}

/**
 * Whether a moment is the first tick of a stay.
 * @param {Run} run
 * @param {number} sequence
 */
function row0(run, sequence) {
  const row = run.stayAt(sequence, page.at);
  return row >= 0 && page.at - run.shift - run.stays[sequence].from[row] < run.stepMs;
}
