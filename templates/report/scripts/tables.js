"use strict";
// Tables that need the packed numbers: transitions, times in phases, rules.

const PAGE_ROWS = 25;

class MoveTable {
  constructor() {
    this.run = page.runs[0];
    this.body = byId("moves-body");
    this.info = byId("moves-info");
    this.choice = /** @type {HTMLSelectElement} */ (byId("moves-phase"));
    this.start = 0;
    this.here = -2;
    /** @type {number[]} */
    this.rows = [];
    /** @type {number[]} when each of the rows was */
    this.times = [];
    const many = page.sequences.length > 1;
    page.sequences.forEach((sequence, s) => sequence.phases.forEach((phase, p) =>
      this.choice.append(make("option", { value: `${s} ${p}` }, many ? `${sequence.name}: ${phase.name}` : phase.name))));
    this.choice.addEventListener("change", () => this.choose());
    byId("moves-earlier").addEventListener("click", () => this.turn(-PAGE_ROWS));
    byId("moves-later").addEventListener("click", () => this.turn(PAGE_ROWS));
    this.choose();
  }

  /** Collect the rows of the chosen phase, or all. */
  choose() {
    const { moves } = this.run;
    this.rows = [];
    this.here = -2;
    if (!moves) return;
    const [sequence, phase] = this.choice.value.split(" ").map(Number);
    for (let i = 0; i < moves.at.length; i++) {
      if (!this.choice.value || (moves.sequence[i] === sequence && (moves.entered[i] === phase || moves.left[i] === phase))) this.rows.push(i);
    }
    this.times = this.rows.map((row) => moves.at[row]);
    this.move();
  }

  /** @param {number} rows */
  turn(rows) {
    this.start = clamp(this.start + rows, 0, Math.max(0, Math.ceil(this.rows.length / PAGE_ROWS) - 1) * PAGE_ROWS);
    this.fill();
  }

  /** Show the page with the last transition before the moment. */
  move() {
    const here = countUpTo(this.times, page.at - this.run.shift + 1e-6) - 1;
    if (here === this.here) return;
    this.here = here;
    this.start = Math.floor(Math.max(0, here) / PAGE_ROWS) * PAGE_ROWS;
    this.fill();
  }

  fill() {
    const shown = this.rows.slice(this.start, this.start + PAGE_ROWS);
    this.body.replaceChildren(...shown.map((row, i) => this.row(row, this.start + i === this.here)));
    const last = this.start + shown.length;
    say(this.info, this.rows.length ? `${this.start + 1} to ${last} of ${this.rows.length}` : "none");
    /** @type {HTMLButtonElement} */ (byId("moves-earlier")).disabled = this.start === 0;
    /** @type {HTMLButtonElement} */ (byId("moves-later")).disabled = last >= this.rows.length;
  }

  /**
   * @param {number} row
   * @param {boolean} here
   */
  row(row, here) {
    const moves = /** @type {MoveColumns} */ (this.run.moves);
    const sequence = page.sequences[moves.sequence[row]];
    const left = moves.left[row] === 255 ? null : sequence.phases[moves.left[row]];
    const entered = sequence.phases[moves.entered[row]];
    const at = moves.at[row] + this.run.shift;
    const go = button(clock(at), () => this.visit(row), { class: "link" });
    const cells = [
      make("td", { class: "number" }, go),
      ...(page.sequences.length > 1 ? [make("td", {}, named(sequence.name))] : []),
      make("td", {}, left ? named(left.name) : "–", " → ", make("strong", {}, named(entered?.name ?? "?"))),
      make("td", { class: "number" }, left ? lasting(moves.stayed[row]) : "–"),
      make("td", { class: "cause" }, named(this.run.data.moves.causes[moves.cause[row]] ?? "")),
      make("td", { class: "number" }, this.spare(row)),
    ];
    return make("tr", here ? { class: "here", "aria-current": "true" } : {}, ...cells);
  }

  /** @param {number} row */
  spare(row) {
    const moves = /** @type {MoveColumns} */ (this.run.moves);
    const spare = moves.spare[row];
    if (Number.isNaN(spare)) return "–";
    const unit = this.run.data.moves.spare_units[moves.guard[row]] ?? "";
    return `${moves.settled[row] ? "" : "at least "}${amount(spare, unit)}`;
  }

  /** @param {number} row */
  visit(row) {
    const moves = /** @type {MoveColumns} */ (this.run.moves);
    page.goTo(moves.at[row] + this.run.shift);
    const guard = page.document.walk.gait?.guards[moves.guard[row]];
    if (guard) source.show(guard.place);
  }
}

/** How long each phase took, both runs side by side. */
function phaseTimes() {
  const body = byId("times-body");
  const head = byId("times-head");
  const many = page.runs.length > 1;
  for (const run of page.runs) head.append(make("th", { scope: "col" }, many ? named(`${run.data.name}: visits`) : "visits"), make("th", { scope: "col" }, "middle time"), make("th", { scope: "col" }, "shortest to longest"));
  head.append(make("th", { scope: "col" }, "timeout"));
  page.sequences.forEach((sequence, s) => sequence.phases.forEach((phase, p) => {
    const stays = page.runs.map((run) => staysIn(run, s, p));
    if (stays.every((times) => !times.length)) return;
    const label = page.sequences.length > 1 ? `${sequence.name}: ${phase.name}` : phase.name;
    const cells = stays.flatMap((times) => [
      String(times.length),
      times.length ? lasting(times[Math.floor(times.length / 2)]) : "–",
      times.length > 1 ? `${lasting(times[0])} to ${lasting(times[times.length - 1])}` : "–",
    ]);
    const visit = button("", () => visitPhase(s, [p]), { class: "link" });
    visit.append(named(label));
    body.append(make("tr", {}, make("th", { scope: "row" }, visit), ...[...cells, phase.timeout ? lasting(phase.timeout) : "–"].map((text) => make("td", { class: "number" }, text))));
  }));
}

/**
 * Sorted times of the stays in a phase; the one that the run's end cut off does not count.
 * @param {Run} run
 * @param {number} sequence
 * @param {number} phase
 */
function staysIn(run, sequence, phase) {
  const { moves } = run;
  /** @type {number[]} */
  const times = [];
  if (moves) for (let i = 0; i < moves.left.length; i++) if (moves.sequence[i] === sequence && moves.left[i] === phase) times.push(moves.stayed[i]);
  return times.sort((a, b) => a - b);
}

/** Say in each rule's row how often it was broken, and when. */
function ruleMoments() {
  page.runs.forEach((run, which) => {
    for (const cell of document.querySelectorAll(`[data-run="${which}"][data-rule]`)) {
      const number = Number(/** @type {HTMLElement} */ (cell).dataset.rule);
      const broken = [];
      let unjudged = 0;
      for (let i = 0; run.rules && i < run.rules.from.length; i++) {
        if (run.rules.rule[i] !== number) continue;
        if (run.rules.state[i] === 2) broken.push(i);
        else unjudged += run.rules.to[i] - run.rules.from[i];
      }
      const rules = run.rules;
      const moments = rules ? broken.slice(0, 10).flatMap((i) => [" ", button(`${clock(rules.from[i] + run.shift)} for ${lasting(rules.to[i] - rules.from[i])}`, () => page.goTo(rules.from[i] + run.shift), { class: "link" })]) : [];
      cell.replaceChildren(broken.length ? `✗ broken ${counted(broken.length, "time")}:` : "✓ kept", ...moments, broken.length > 10 ? " and more" : "", unjudged ? `; could not be judged for ${lasting(unjudged)}` : "");
    }
  });
}
