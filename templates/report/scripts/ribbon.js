"use strict";
// The ribbon: which phase, which foot on the ground, and what went wrong, over a stretch of time.

const FONT = "px system-ui, sans-serif";
const GUTTER = 74; // px on the left for names; the plots' axes are as wide
const PHASE_HEIGHT = 26;
const FOOT_HEIGHT = 15;
const TROUBLE_HEIGHT = 22;
const AXIS_HEIGHT = 22;

class Ribbon {
  /**
   * @param {HTMLCanvasElement} canvas
   * @param {Run} run
   * @param {{ axis?: boolean, thin?: boolean, troubles?: boolean, feet?: boolean }} parts what is drawn besides phases
   */
  constructor(canvas, run, parts = {}) {
    this.canvas = canvas;
    this.run = run;
    this.parts = parts;
    this.from = 0;
    this.to = 1;
    this.gutter = parts.thin ? 0 : GUTTER;
    this.width = 0;
    this.pen = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
    this.short = page.sequences.map((sequence) => shortened(sequence.phases.map((phase) => phase.name)));
  }

  /** Height of the whole in px. */
  get height() {
    const { thin, axis, troubles, feet } = this.parts;
    if (thin) return 12;
    const rows = this.run.stays.length * (PHASE_HEIGHT + 3) + (feet ? this.run.feet.length * (FOOT_HEIGHT + 3) : 0);
    return (troubles ? TROUBLE_HEIGHT : 0) + rows + (axis ? AXIS_HEIGHT : 2);
  }

  /** @param {number} at */
  x(at) {
    return this.gutter + ((at - this.from) / (this.to - this.from)) * (this.width - this.gutter);
  }

  /** @param {number} x */
  time(x) {
    return this.from + ((x - this.gutter) / (this.width - this.gutter)) * (this.to - this.from);
  }

  /**
   * @param {number} from
   * @param {number} to
   */
  draw(from, to) {
    this.from = from;
    this.to = to;
    this.width = page.widthOf(this.canvas.parentElement);
    const scale = window.devicePixelRatio || 1;
    this.canvas.width = Math.round(this.width * scale);
    this.canvas.height = Math.round(this.height * scale);
    this.canvas.style.height = `${this.height}px`;
    this.canvas.style.width = page.paper ? `${this.width}px` : "";
    this.pen.setTransform(scale, 0, 0, scale, 0, 0);
    this.pen.clearRect(0, 0, this.width, this.height);
    let top = 0;
    if (this.parts.troubles) top += this.troubles();
    this.run.stays.forEach((stays, sequence) => {
      this.phases(stays, sequence, top, this.parts.thin ? 12 : PHASE_HEIGHT);
      top += PHASE_HEIGHT + 3;
    });
    if (this.parts.thin) return;
    if (this.parts.feet) {
      for (const foot of this.run.feet) {
        this.foot(foot, top);
        top += FOOT_HEIGHT + 3;
      }
    }
    if (this.parts.axis) this.axis(top);
  }

  /**
   * A row's name, in the gutter.
   * @param {string} text
   * @param {number} middle
   */
  label(text, middle) {
    this.pen.fillStyle = ink.of("soft");
    this.pen.font = `12.5${FONT}`;
    this.pen.textAlign = "right";
    this.pen.textBaseline = "middle";
    this.pen.fillText(text, this.gutter - 6, middle, this.gutter - 8);
  }

  /**
   * @param {PhaseSpans} stays
   * @param {number} sequence
   * @param {number} top
   * @param {number} height
   */
  phases(stays, sequence, top, height) {
    if (!this.parts.thin && this.run.stays.length > 1) this.label(page.sequences[sequence].name, top + height / 2);
    const first = Math.max(0, countUpTo(stays.from, this.from - this.run.shift) - 1);
    let crowded = -1; // where a row of stretches too narrow to tell apart begins
    for (let row = first; row < stays.from.length; row++) {
      const left = Math.max(this.gutter, this.x(stays.from[row] + this.run.shift));
      const right = Math.min(this.width, this.x(stays.to[row] + this.run.shift));
      if (left >= this.width) break;
      if (right - left < 2) {
        if (crowded < 0) crowded = left;
        continue;
      }
      if (crowded >= 0) this.crowd(crowded, left, top, height);
      crowded = -1;
      this.phase(page.sequences[sequence].phases[stays.phase[row]], this.short[sequence][stays.phase[row]], stays.phase[row], left, right - left, top, height);
    }
    if (crowded >= 0) this.crowd(crowded, Math.min(this.width, Math.max(crowded + 1, this.x(this.run.data.end + this.run.shift))), top, height);
  }

  /**
   * @param {number} left
   * @param {number} right
   * @param {number} top
   * @param {number} height
   */
  crowd(left, right, top, height) {
    this.pen.fillStyle = ink.of("crowd");
    this.pen.fillRect(left, top, right - left, height);
    this.hatch(left, top, right - left, height, ink.of("paper"), 4);
  }

  /**
   * @param {Phase | undefined} phase
   * @param {string} short
   * @param {number} index
   * @param {number} left
   * @param {number} width
   * @param {number} top
   * @param {number} height
   */
  phase(phase, short, index, left, width, top, height) {
    const { pen } = this;
    const kind = phase?.kind ?? "step";
    pen.fillStyle = ink.of(kind === "stop" ? "stop" : kind === "rest" ? "rest" : index % 2 ? "band-b" : "band-a");
    pen.fillRect(left, top, width, height);
    pen.fillStyle = ink.of("edge");
    pen.fillRect(left, top, 1, height);
    if (this.parts.thin || !phase) return;
    pen.font = `14${FONT}`;
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    pen.fillStyle = ink.of(kind === "stop" ? "stop-text" : "text");
    const label = [phase.name, short].find((text) => pen.measureText(text).width < width - 8);
    if (label) pen.fillText(label, left + width / 2, top + height / 2 + 1);
  }

  /**
   * A foot's row: filled while it is on the ground, hatched if that is only what was commanded.
   * @param {FootSpans} foot
   * @param {number} top
   */
  foot(foot, top) {
    const { pen } = this;
    this.label(foot.name, top + FOOT_HEIGHT / 2);
    pen.fillStyle = ink.of("hollow");
    pen.fillRect(this.gutter, top + FOOT_HEIGHT - 2, this.width - this.gutter, 1);
    const ground = ink.of(foot.side === "right" ? "right-foot" : foot.side === "left" ? "left-foot" : "text");
    const first = Math.max(0, countUpTo(foot.from, this.from - this.run.shift) - 1);
    for (let i = first; i < foot.from.length; i++) {
      const left = Math.max(this.gutter, this.x(foot.from[i] + this.run.shift));
      const right = Math.min(this.width, this.x(foot.to[i] + this.run.shift));
      if (left >= this.width) break;
      if (right <= left) continue;
      pen.fillStyle = ground;
      pen.fillRect(left, top, right - left, FOOT_HEIGHT - 1);
      if (foot.source === "commanded") this.hatch(left, top + 2, right - left, FOOT_HEIGHT - 5, ink.of("paper"), 6);
    }
  }

  /**
   * @param {number} left
   * @param {number} top
   * @param {number} width
   * @param {number} height
   * @param {string} colour
   * @param {number} apart
   */
  hatch(left, top, width, height, colour, apart) {
    const { pen } = this;
    pen.save();
    pen.beginPath();
    pen.rect(left, top, width, height);
    pen.clip();
    pen.strokeStyle = colour;
    pen.lineWidth = 1.5;
    pen.beginPath();
    for (let x = left - height - ((left - height) % apart); x < left + width; x += apart) {
      pen.moveTo(x, top + height);
      pen.lineTo(x + height, top);
    }
    pen.stroke();
    pen.restore();
  }

  /** Letters above the moments at which something went wrong, as far as there is room. */
  troubles() {
    let free = -Infinity;
    this.run.data.troubles.forEach((trouble, i) => {
      const x = this.x(trouble.at + this.run.shift);
      if (x < this.gutter || x > this.width) return;
      const { pen } = this;
      const crowded = x - free < 20;
      pen.fillStyle = ink.of(trouble.kind === "end" || trouble.kind === "stop" ? "text" : "alarm");
      pen.fillRect(x - 1, TROUBLE_HEIGHT - 5, 2, 5);
      if (crowded) return;
      free = x;
      const middle = clamp(x, this.gutter + 10, this.width - 10);
      shape(pen, TROUBLE_SHAPES[trouble.kind], middle, TROUBLE_HEIGHT / 2 - (trouble.kind === "timeout" ? 0 : 2), 10);
      pen.fillStyle = ink.of("paper");
      pen.font = `bold 11${FONT}`;
      pen.textAlign = "center";
      pen.textBaseline = "middle";
      pen.fillText(letter(i), middle, TROUBLE_HEIGHT / 2 - (trouble.kind === "timeout" ? 0 : 1.5));
    });
    return TROUBLE_HEIGHT;
  }

  /** @param {number} top */
  axis(top) {
    const { pen } = this;
    const { step, times } = timeSteps(this.from, this.to, (this.width - this.gutter) / 90);
    pen.fillStyle = ink.of("soft");
    pen.font = `13${FONT}`;
    pen.textBaseline = "top";
    for (const at of times) {
      const x = this.x(at);
      pen.fillRect(x, top, 1, 4);
      pen.textAlign = x > this.width - 30 ? "right" : x < this.gutter + 16 ? "left" : "center";
      pen.fillText(timeLabel(at, step), x, top + 6);
    }
    pen.textAlign = "right";
    pen.fillText(this.to > 600000 ? "min:s" : "s", this.gutter - 8, top + 6);
  }
}

/** Shapes as corners and a turn: circle, square, triangle, diamond, triangle upside down, octagon. */
const SHAPES = [[24, 0], [4, Math.PI / 4], [3, 0], [4, 0], [3, Math.PI], [8, Math.PI / 8]];
const TROUBLE_SHAPES = { timeout: 2, rule: 3, output: 1, stop: 5, end: 0 };

/**
 * Corners of a shape.
 * @param {number} number into SHAPES
 * @param {number} x
 * @param {number} y
 * @param {number} r
 */
function corners(number, x, y, r) {
  const [count, turn] = SHAPES[number % SHAPES.length];
  return Array.from({ length: count }, (_, i) => {
    const angle = turn - Math.PI / 2 + (i * 2 * Math.PI) / count;
    return [x + r * Math.cos(angle), y + r * Math.sin(angle)];
  });
}

/**
 * @param {CanvasRenderingContext2D} pen
 * @param {number} number into SHAPES
 * @param {number} x
 * @param {number} y
 * @param {number} r
 */
function shape(pen, number, x, y, r) {
  pen.beginPath();
  corners(number, x, y, r).forEach(([cx, cy]) => pen.lineTo(cx, cy));
  pen.closePath();
  pen.fill();
}

/** @param {number} i */
function letter(i) {
  return i < 26 ? String.fromCharCode(65 + i) : String(i + 1);
}
