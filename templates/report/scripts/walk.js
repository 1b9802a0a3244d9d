"use strict";
// The diagram and the gait file's lines: what is active is marked, and clicks lead to moments and to lines.

class Diagram {
  constructor() {
    this.svg = document.querySelector("#diagram svg");
    /** @type {Map<string, Element>} */
    this.groups = new Map();
    this.key = "";
    this.followed = "";
    /** @type {Map<Element, DOMRect>} */
    this.boxes = new Map();
    /** @type {Element[]} */
    this.frames = [];
    if (!this.svg) return;
    this.svg.setAttribute("role", "group");
    page.sequences.forEach((sequence, s) => sequence.phases.forEach((_, p) => this.prepare(`phase_${s}_${p}`, s, p)));
  }

  /**
   * @param {string} id
   * @param {number} sequence
   * @param {number} index
   */
  prepare(id, sequence, index) {
    const group = this.svg?.querySelector(`[id="${id}"]`);
    if (!group) return;
    this.groups.set(id, group);
    put(group, { tabindex: 0, role: "button", "aria-description": "go to its next visit" });
    const visit = () => visitPhase(sequence, [index]);
    group.addEventListener("click", visit);
    group.addEventListener("keydown", (event) => {
      const { key } = /** @type {KeyboardEvent} */ (event);
      if (key !== "Enter" && key !== " ") return;
      event.preventDefault();
      visit();
    });
  }

  move() {
    if (bars.key === this.key || !this.svg) return;
    this.key = bars.key;
    this.frames.forEach((frame) => frame.remove());
    this.frames = [];
    if (page.runs[1]) activePhases(page.runs[1]).forEach((phase, sequence) => this.frame(this.groups.get(`phase_${sequence}_${phase}`), "other-frame", 11));
    activePhases(page.runs[0]).forEach((phase, sequence) => {
      this.frame(this.groups.get(`phase_${sequence}_${phase}`), "now-frame", 5);
      guardsOf(sequence, phase).forEach((_, number) => this.frame(this.svg?.querySelector(`[id="guard_${sequence}_${phase}_${number}"]`), "wait-frame", 3));
    });
  }

  /** Scroll the diagram, not the page, if the active card is out of its window. */
  follow() {
    const box = this.svg?.parentElement;
    const card = this.groups.get(`phase_${page.sequence}_${activePhases(page.runs[0])[page.sequence]}`);
    if (!card || !box || this.followed === this.key) return;
    this.followed = this.key;
    const [inner, outer] = [card.getBoundingClientRect(), box.getBoundingClientRect()];
    if (inner.top < outer.top || inner.bottom > outer.bottom) box.scrollTop += inner.top - outer.top - (outer.height - inner.height) / 2;
    if (inner.left < outer.left || inner.right > outer.right) box.scrollLeft += inner.left - outer.left - (outer.width - inner.width) / 2;
  }

  /**
   * Put a frame around a card, and a pointer at its side.
   * @param {Element | null | undefined} group
   * @param {string} kind
   * @param {number} room
   */
  frame(group, kind, room) {
    if (!(group instanceof SVGGraphicsElement)) return;
    const card = this.boxes.get(group) ?? group.getBBox();
    this.boxes.set(group, card);
    const { x, y, width, height } = card;
    const frame = drawn("g", { class: kind });
    frame.append(drawn("rect", { x: x - room, y: y - room, width: width + 2 * room, height: height + 2 * room, rx: 8 }));
    const [left, middle] = [x - room, y + height / 2];
    if (kind === "now-frame") frame.append(drawn("polygon", { points: `${left - 2},${middle} ${left - 16},${middle - 10} ${left - 16},${middle + 10}` }));
    group.append(frame);
    this.frames.push(frame);
  }
}

class Source {
  constructor() {
    this.key = "";
    this.followed = "";
    /** @type {Element[]} */
    this.marked = [];
    /** @type {Element[]} */
    this.asked = [];
  }

  move() {
    const key = bars.key;
    if (key === this.key) return;
    this.key = key;
    this.marked.forEach((line) => line.classList.remove("active"));
    this.marked = [];
    activePhases(page.runs[0]).forEach((phase, sequence) => {
      const place = page.sequences[sequence].phases[phase]?.place;
      if (place) this.marked.push(...this.lines(place));
    });
    this.marked.forEach((line) => line.classList.add("active"));
  }

  /** Scroll to the active phase's lines, unless others were asked for. */
  follow() {
    if (this.followed !== this.key && !this.asked.length) this.bring(this.marked[0]);
    this.followed = this.key;
  }

  /** @param {FilePlace} place */
  lines(place) {
    const found = [];
    for (let n = place.line; n <= place.last; n++) {
      const line = document.getElementById(`line_${place.file}_${n}`);
      if (line) found.push(line);
    }
    return found;
  }

  /**
   * Scroll the file, not the page.
   * @param {Element | undefined} line
   */
  bring(line) {
    const box = line?.closest(".source");
    if (!(line instanceof HTMLElement) || !(box instanceof HTMLElement)) return;
    box.scrollTop = line.offsetTop - box.clientHeight / 4;
  }

  /**
   * Show lines that were asked for.
   * @param {FilePlace} place
   */
  show(place) {
    this.asked.forEach((line) => line.classList.remove("asked"));
    this.asked = this.lines(place);
    this.asked.forEach((line) => line.classList.add("asked"));
    this.bring(this.asked[0]);
  }

  /**
   * A link to lines was pressed: show them, and if they belong to a phase, a moment of it.
   * @param {DOMStringMap} link
   */
  pressed({ file, line, last }) {
    const place = { file: Number(file), line: Number(line), last: Number(last) };
    this.show(place);
    byId("walk").scrollIntoView({ block: "start" });
    page.sequences.forEach((sequence, s) => {
      const inside = sequence.phases.flatMap(({ place: its }, p) => (its && its.file === place.file && its.line <= place.line && place.line <= its.last ? [p] : []));
      // the moment stays where it is if it is one of these phases already
      const run = page.runs[0];
      if (inside.length && !inside.includes(run.stays[s].phase[run.stayAt(s, page.at)])) visitPhase(s, inside);
    });
  }
}

/**
 * Go to the next stay in one of some phases, after the last one to the first; and to the phase's lines.
 * @param {number} sequence
 * @param {number[]} phases
 */
function visitPhase(sequence, phases) {
  const run = page.runs[0];
  const stays = run.stays[sequence];
  /** @type {number[]} */
  const visits = [];
  for (let row = 0; row < stays.phase.length; row++) if (phases.includes(stays.phase[row])) visits.push(row);
  const names = phases.map((phase) => page.sequences[sequence].phases[phase].name).join(", ");
  const place = page.sequences[sequence].phases[phases[0]].place;
  if (place && !source.asked.length) source.bring(source.lines(place)[0]);
  if (!visits.length) return tell(`${names}: the run never came there`);
  const current = run.stayAt(sequence, page.at);
  const next = Math.max(0, visits.findIndex((row) => row > current));
  page.sequence = sequence;
  page.goTo(stays.from[visits[next]] + run.shift);
  page.drawSoon();
  return tell(`${names}: ${ordinal(next + 1)} of ${counted(visits.length, "visit")}, from ${clock(page.at)}`);
}

/**
 * Say something to those who listen instead of looking; it is shown, too.
 * @param {string} text
 */
function tell(text) {
  say(byId("told"), text);
}
