"use strict";
// What is now: the phase, since when, what it waits for, by how much that is missed.

/** @typedef {{ short: string, wait: string, margin: number, until: boolean }} Waiting */

class NowBlock {
  /**
   * @param {HTMLElement} host
   * @param {Run} run
   * @param {number} number of the sequence
   */
  constructor(host, run, number) {
    this.run = run;
    this.sequence = page.sequences[number];
    this.number = number;
    this.phase = make("bdi", { class: "phase-name" });
    this.since = make("span", { class: "since" });
    this.because = make("p", { class: "because" });
    this.wait = make("p", { class: "wait" });
    this.short = make("p", { class: "short" });
    this.limit = make("progress", { max: 1, value: 0, "aria-label": "time in the phase, up to its timeout" });
    this.limitText = make("span");
    this.limitRow = make("p", { class: "limit" }, this.limit, this.limitText);
    const title = whoseName(run, number);
    const where = make("p", { class: "where" }, this.phase, " ", this.since);
    host.append(make("div", { class: "now-block" }, ...(title ? [make("h3", {}, named(title))] : []), where, this.short, this.wait, this.limitRow, this.because));
  }

  move() {
    const { run } = this;
    const row = run.stayAt(this.number, page.at);
    const stays = run.stays[this.number];
    const index = row < 0 ? -1 : stays.phase[row];
    const phase = this.sequence.phases[index];
    const from = row < 0 ? 0 : stays.from[row] + run.shift;
    say(this.phase, phase ? phase.name : "not running");
    say(this.since, phase ? `since ${clock(from - run.shift)}, for ${lasting(page.at - from)}` : "");
    this.show(this.waiting(index, page.at - from < run.stepMs));
    this.timeout(phase, page.at - from);
    say(this.because, phase ? this.reason(from - run.shift) : "");
  }

  /**
   * What the phase waits for: of its first guard that does not only wait for the operator.
   * @param {number} index of the phase
   * @param {boolean} entered in this tick
   * @returns {Waiting}
   */
  waiting(index, entered) {
    const plain = (/** @type {string} */ wait) => ({ short: "", wait, margin: NaN, until: false });
    if (index < 0 || !page.document.walk.gait) return plain("");
    const all = guardsOf(this.number, index);
    if (!all.length) return plain("nothing leads out of this phase");
    if (this.run.windowOf(this.run.tickAt(page.at)) < 0) return plain("of this stretch only the least and greatest numbers are in the file");
    const guard = all.find(({ leaves }) => leaves.some(({ kind }) => kind !== "event" && kind !== "switch")) ?? all[0];
    const now = standing(this.run, guard, page.at);
    if (now.truth === 3) return plain(entered ? "just entered: what leads out is looked at from the next tick on" : "what leads out is not looked at: something that is watched all the time holds it here");
    if (now.truth === 2) return { short: holdWords(guard, now.left), wait: guard.words, margin: 0, until: false };
    const short = now.missing.filter(({ truth, margin }) => truth === 0 && margin < 0).sort((a, b) => a.margin - b.margin)[0];
    const texts = now.missing.map((part) => part.words + (now.missing.length > 1 || part.truth === 1 ? ` (${distance(part)})` : ""));
    return { short: short ? amount(-short.margin, short.leaf.unit) : "", wait: texts.join(now.choice ? "; or " : "; and "), margin: short ? short.margin : NaN, until: true };
  }

  /** @param {Waiting} what */
  show({ short, wait, margin, until }) {
    const key = `${short} ${wait} ${margin < 0}`;
    this.short.dataset.margin = String(margin);
    if (this.wait.dataset.key === key) return;
    this.wait.dataset.key = key;
    this.short.hidden = !short;
    this.short.replaceChildren(make("span", { class: "lead" }, margin < 0 ? "short by " : ""), make("strong", {}, short));
    this.short.classList.toggle("met", !(margin < 0));
    this.wait.replaceChildren(make("span", { class: "lead" }, until ? "waits until " : ""), named(wait));
    this.wait.hidden = !wait;
  }

  /**
   * @param {Phase | undefined} phase
   * @param {number} gone
   */
  timeout(phase, gone) {
    this.limitRow.hidden = !phase?.timeout;
    if (!phase?.timeout) return;
    this.limit.value = clamp(gone / phase.timeout, 0, 1);
    const to = phase.timeout_to && ` (to ${phase.timeout_to})`;
    say(this.limitText, gone >= phase.timeout ? `its timeout of ${lasting(phase.timeout)} has passed` : `${lasting(phase.timeout - gone)} to its timeout${to}`);
  }

  /**
   * Why the phase was entered.
   * @param {number} from the run's own time
   */
  reason(from) {
    const { moves } = this.run;
    for (let row = moves ? countUpTo(moves.at, from + 1e-6) - 1 : -1; moves && row >= 0 && moves.at[row] >= from - 1e-3; row--) {
      if (moves.sequence[row] === this.number) return `entered because: ${this.run.data.moves.causes[moves.cause[row]]}`;
    }
    return "";
  }
}
