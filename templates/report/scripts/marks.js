"use strict";
// What is drawn into the plots beside their lines: bands of phases, thresholds in force, holds that run.

/**
 * Rows of Recorded.marks that belong to some columns.
 * @param {number[]} columns
 */
function markRows(columns) {
  const marks = page.runs[0].marks;
  /** @type {number[]} */
  const rows = [];
  if (marks) for (let i = 0; i < marks.from.length; i++) if (columns.includes(marks.column[i])) rows.push(i);
  return rows;
}

/**
 * Visit the thresholds in force in the stretch that is shown.
 * @param {number[]} rows
 * @param {(from: number, to: number, low: number, high: number) => void} visit
 */
function eachMark(rows, visit) {
  const run = page.runs[0];
  const { marks } = run;
  if (!marks) return;
  for (const row of rows) {
    const from = marks.from[row] + run.shift;
    const to = marks.to[row] + run.shift;
    if (to >= page.from && from <= page.to) visit(from, to, marks.low[row], marks.high[row]);
  }
}

/**
 * Draw within the plotting area only.
 * @param {Plotter} plot
 * @param {(pen: CanvasRenderingContext2D, dots: number) => void} draw
 */
function inside(plot, draw) {
  const { ctx, bbox } = plot;
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
  ctx.setLineDash([]);
  draw(ctx, uPlot.pxRatio);
  ctx.restore();
}

/**
 * The same bands as in the ribbon, behind the lines.
 * @param {Plotter} plot
 */
function drawBands(plot) {
  const run = page.runs[0];
  const stays = run.stays[page.sequence];
  const phases = page.sequences[page.sequence]?.phases ?? [];
  if (!stays) return;
  inside(plot, (pen) => {
    const { top, height } = plot.bbox;
    const first = Math.max(0, countUpTo(stays.from, page.from - run.shift) - 1);
    for (let row = first; row < stays.from.length && stays.from[row] + run.shift <= page.to; row++) {
      const left = plot.valToPos((stays.from[row] + run.shift) / 1000, "x", true);
      const right = plot.valToPos((stays.to[row] + run.shift) / 1000, "x", true);
      if (right - left < 2) continue;
      const kind = phases[stays.phase[row]]?.kind;
      pen.fillStyle = ink.of(kind === "stop" ? "plot-stop" : stays.phase[row] % 2 ? "plot-b" : "plot-a");
      pen.fillRect(left, top, right - left, height);
      pen.fillStyle = ink.of("grid");
      pen.fillRect(left, top, 1, height);
    }
  });
}

/**
 * Thresholds: a line, hatched on the side on which the guard does not fire.
 * @param {Plotter} plot
 * @param {number[]} rows
 */
function drawMarks(plot, rows) {
  inside(plot, (pen, dots) => {
    pen.strokeStyle = ink.of("mark");
    eachMark(rows, (from, to, low, high) => {
      const left = plot.valToPos(Math.max(from, page.from) / 1000, "x", true);
      const right = Math.max(left + dots, plot.valToPos(Math.min(to, page.to) / 1000, "x", true));
      threshold(pen, left, right, plot.valToPos(low, "y", true), 5 * dots, dots);
      threshold(pen, left, right, plot.valToPos(high, "y", true), -5 * dots, dots);
    });
  });
}

/**
 * @param {CanvasRenderingContext2D} pen
 * @param {number} left
 * @param {number} right
 * @param {number} y NaN: no such side
 * @param {number} tooth length of the hatching; below 0: upwards
 * @param {number} dots
 */
function threshold(pen, left, right, y, tooth, dots) {
  if (Number.isNaN(y)) return;
  pen.beginPath();
  pen.lineWidth = 1.8 * dots;
  pen.moveTo(left, y);
  pen.lineTo(right, y);
  pen.stroke();
  if (right - left < 12 * dots) return;
  pen.beginPath();
  pen.lineWidth = dots;
  for (let x = left + 3 * dots; x < right; x += 7 * dots) {
    pen.moveTo(x, y);
    pen.lineTo(x - 4 * dots, y + tooth);
  }
  pen.stroke();
}

/**
 * Guards with a hold that compare one of some signals.
 * @param {number[]} columns
 */
function heldGuards(columns) {
  const names = columns.map((column) => page.runs[0].data.columns[column]).filter((column) => column.role === "signal").map((column) => column.name);
  return (page.document.walk.gait?.guards ?? []).filter((guard) => guard.hold_left !== null && guard.leaves.some((leaf) => leaf.signals.some((signal) => names.includes(signal))));
}

/** @type {Map<Guard, { from: number, to: number }[]>} */
const heldSpans = new Map();

/**
 * When a guard was true but its hold still ran, in the run's own time.
 * @param {Guard} guard
 */
function spansHeld(guard) {
  const run = page.runs[0];
  const known = heldSpans.get(guard);
  if (known || guard.hold_left === null) return known ?? [];
  const truths = run.column(guard.truth);
  if (!run.column(guard.hold_left) || !truths) return [];
  /** @type {{ from: number, to: number }[]} */
  const spans = [];
  let last = -2;
  run.each(guard.hold_left, page.begins, page.ends, (left, tick) => {
    if (!(left > 0)) return;
    const window = run.windowOf(tick);
    if (truths.pieces[window][tick - run.data.kept.windows[window][0]] !== 2) return;
    const at = run.timeOf(tick) - run.shift;
    if (tick === last + 1) spans[spans.length - 1].to = at + run.stepMs;
    else spans.push({ from: at, to: at + run.stepMs });
    last = tick;
  });
  heldSpans.set(guard, spans);
  return spans;
}

/**
 * Holds that run: a thick line along the bottom, named where there is room.
 * @param {Plotter} plot
 * @param {Guard[]} guards
 */
function drawHolds(plot, guards) {
  inside(plot, (pen, dots) => {
    const shift = page.runs[0].shift;
    const bottom = plot.bbox.top + plot.bbox.height;
    pen.fillStyle = ink.of("hold");
    pen.font = `${12 * dots}${FONT}`;
    pen.textAlign = "left";
    for (const span of guards.flatMap(spansHeld)) {
      if (span.to + shift < page.from || span.from + shift > page.to) continue;
      const left = plot.valToPos((span.from + shift) / 1000, "x", true);
      const right = Math.max(left + 2 * dots, plot.valToPos((span.to + shift) / 1000, "x", true));
      pen.fillRect(left, bottom - 6 * dots, right - left, 6 * dots);
      if (right - left > 40 * dots) pen.fillText("hold", left + 4 * dots, bottom - 10 * dots);
    }
  });
}

/**
 * Where only the least and greatest are kept and there is room for more: a box between them.
 * @param {Plotter} plot
 * @param {Box[]} boxes
 * @param {Line[]} lines
 */
function drawBoxes(plot, boxes, lines) {
  inside(plot, (pen, dots) => {
    for (const box of boxes) {
      const left = plot.valToPos(box.from / 1000, "x", true);
      const right = plot.valToPos(box.to / 1000, "x", true);
      const top = plot.valToPos(box.most, "y", true);
      const height = Math.max(dots, plot.valToPos(box.least, "y", true) - top);
      pen.fillStyle = pen.strokeStyle = ink.of(lines[box.line].colour);
      pen.lineWidth = dots;
      pen.globalAlpha = 0.35;
      pen.fillRect(left, top, right - left, height);
      pen.globalAlpha = 1;
      pen.strokeRect(left, top, right - left, height);
    }
  });
}
