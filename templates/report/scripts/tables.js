"use strict";
// The table of transitions: a page of it at a time, as there may be very many.

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
