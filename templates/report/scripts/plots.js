"use strict";
// Time plots: uPlot draws them; bands of phases, thresholds and holds come in through its hooks.

/** @typedef {{ run: Run, column: number, colour: string, dash: number[], width: number, shape: number, value: HTMLDataElement }} Line */

const PLOT_HEIGHT = 190;
const DASHES = { setpoint: [9, 4], target: [2, 4] };

class TimePlot {
  /**
   * @param {HTMLElement} host
   * @param {number} number into Recorded.plots
   */
  constructor(host, number) {
    const shown = page.runs[0].data.plots[number];
    this.columns = shown.columns;
    this.unit = shown.unit;
    this.legend = make("ul", { class: "legend" });
    this.canvas = make("div", { class: "plot-canvas" });
    this.note = make("p", { class: "soft plot-note" });
    this.note.hidden = true;
    const caption = make("figcaption", {}, named(shown.title), ...(shown.unit ? [make("span", { class: "unit" }, ` in ${shown.unit}`)] : []));
    this.element = make("figure", { class: "plot" }, make("div", { class: "plot-head" }, caption, this.legend), this.canvas, this.note);
    host.append(this.element);
    /** @type {Line[]} */
    this.lines = [];
    page.runs.forEach((run, i) => this.addLines(run, run.data.plots[number]?.columns ?? [], i));
    this.marks = markRows(this.columns);
    this.holds = heldGuards(this.columns);
    /** @type {Plotter | null} */
    this.plot = null;
    /** @type {[number, number]} */
    this.limits = [0, 1];
    /** @type {Box[]} */
    this.boxes = [];
    this.dotted = false; // so few samples that each one is shown
    this.seen = false;
    this.stale = true;
  }

  /**
   * @param {Run} run
   * @param {number[]} columns
   * @param {number} which 0 or 1: the run that is laid over it
   */
  addLines(run, columns, which) {
    const measured = columns.filter((column) => !(run.data.columns[column].role in DASHES)).length;
    let coloured = 0;
    for (const column of columns) {
      const { name: label, role } = run.data.columns[column];
      const base = DASHES[/** @type {"setpoint" | "target"} */ (role)] ?? [];
      const dash = which ? (base.length ? [base[0], 3, 1, 3] : [6, 4]) : base;
      const shape = base.length || measured < 2 ? -1 : coloured;
      const colour = base.length ? "text" : `line-${(coloured++ % 6) + 1}`;
      const value = make("data", { class: "value" });
      const sample = lineSample(colour, dash, shape);
      const own = page.runs.length > 1 ? ` · ${run.data.name}` : "";
      this.legend.append(make("li", {}, sample, " ", named(label + own), " ", value));
      this.lines.push({ run, column, colour, dash, width: base.length ? 1.5 : 2, shape, value });
    }
  }

  /** Read the numbers again and draw; only when it is to be seen. */
  draw() {
    if (!this.seen) {
      this.stale = true;
      return;
    }
    this.stale = false;
    const width = page.widthOf(this.canvas);
    const pixels = Math.max(50, width - GUTTER);
    const samples = page.runs.map((run) => sample(run, this.lines.filter((line) => line.run === run).map((line) => line.column), page.from, page.to, pixels));
    this.boxes = samples.flatMap((one) => one.boxes);
    this.limits = this.range(samples);
    const tables = samples.map((one) => /** @type {PlotterData} */ ([one.x, ...one.ys]));
    const data = tables.length > 1 ? uPlot.join(tables) : tables[0];
    this.dotted = samples.every((one) => one.sparse && !one.rough) && samples[0].x.length < pixels / 5;
    this.plot ??= this.create(width);
    const plot = this.plot;
    if (plot.width !== width) plot.setSize({ width, height: PLOT_HEIGHT });
    plot.batch(() => {
      plot.setData(data, false);
      plot.setScale("x", { min: page.from / 1000, max: page.to / 1000 });
      plot.setScale("y", { min: this.limits[0], max: this.limits[1] });
    });
    this.note.hidden = !samples.some((one) => one.rough);
    say(this.note, "Long run: for part of this stretch only the least and greatest numbers are in the file; they are drawn as boxes or a filled line.");
  }

  /**
   * From where to where y goes: all that is seen, with the thresholds in force.
   * @param {Sampled[]} samples
   * @returns {[number, number]}
   */
  range(samples) {
    let low = Infinity;
    let high = -Infinity;
    /** @param {number | null} y */
    const take = (y) => {
      if (y === null || Number.isNaN(y)) return;
      if (y < low) low = y;
      if (y > high) high = y;
    };
    for (const { ys, boxes } of samples) {
      ys.forEach((column) => column.forEach(take));
      boxes.forEach((box) => [box.least, box.most].forEach(take));
    }
    eachMark(this.marks, (_from, _to, least, most) => [least, most].forEach(take));
    if (low > high) return [0, 1];
    const room = (high - low) * 0.08 || Math.abs(high) * 0.1 || 1;
    return [low - room, high + room];
  }

  /** @param {number} width */
  create(width) {
    const grid = { stroke: () => ink.of("grid"), width: 1 };
    const steps = () => timeSteps(page.from, page.to, (page.widthOf(this.canvas) - GUTTER) / 80);
    const axis = { stroke: () => ink.of("soft"), font: `13${FONT}`, grid, ticks: grid };
    /** @type {PlotterOptions} */
    const options = {
      width,
      height: PLOT_HEIGHT,
      padding: [8, 0, 0, 0],
      legend: { show: false },
      scales: { x: { time: false, auto: false }, y: { auto: false } },
      axes: [
        { ...axis, size: 26, gap: 4, splits: () => steps().times.map((at) => at / 1000), values: (plot, splits) => splits.map((s) => (plot.valToPos(s, "x") < plot.bbox.width / uPlot.pxRatio - 14 ? timeLabel(s * 1000, steps().step) : "")) },
        { ...axis, size: GUTTER, gap: 6, space: 34, values: (_plot, splits) => splits.map((y) => String(Number(y.toPrecision(6)))) },
      ],
      series: [{}, ...this.lines.map((line) => ({ stroke: () => ink.of(line.colour), width: line.width, dash: line.dash, points: { show: () => this.dotted && line.width === 2, size: 6 } }))],
      cursor: this.cursor(),
      hooks: {
        drawClear: [(plot) => drawBands(plot)],
        draw: [(plot) => drawBoxes(plot, this.boxes, this.lines), (plot) => drawMarks(plot, this.marks), (plot) => drawHolds(plot, this.holds), (plot) => drawShapes(plot, this.lines)],
        setSelect: [(plot) => this.selected(plot)],
      },
    };
    const plot = new uPlot(options, [[], ...this.lines.map(() => [])], this.canvas);
    plot.over.addEventListener("click", (event) => {
      if (plot.select.width < 6) page.goTo(plot.posToVal(event.offsetX, "x") * 1000);
    });
    return plot;
  }

  /**
   * The library's cursor is the page's moment, so the mouse moves it only while a stretch is chosen.
   * @returns {PlotterOptions["cursor"]}
   */
  cursor() {
    return {
      y: false,
      points: { show: false },
      drag: { x: true, y: false, setScale: false, dist: 6 },
      bind: {
        mousemove: (_plot, _target, handler) => (event) => (event.buttons & 1 ? handler(event) : null),
        mouseleave: () => () => null,
        dblclick: () => () => null,
      },
    };
  }

  /** @param {Plotter} plot */
  selected(plot) {
    const { left, width } = plot.select;
    if (width < 6) return;
    const from = plot.posToVal(left, "x") * 1000;
    const to = plot.posToVal(left + width, "x") * 1000;
    setTimeout(() => {
      plot.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
      page.show(from, to - from);
    });
  }

  /** Follow the moment. */
  move() {
    if (!this.seen || !this.plot) return;
    const left = this.plot.valToPos(page.at / 1000, "x");
    const within = page.at >= page.from && page.at <= page.to;
    this.plot.setCursor({ left: within ? left : -10, top: within ? 10 : -10 }, false);
    for (const line of this.lines) {
      const value = line.run.value(line.column, page.at);
      const ends = Number.isNaN(value) ? line.run.around(line.column, page.at) : null;
      say(line.value, ends ? `${amount(ends[0], "")} to ${amount(ends[1], "")}` : Number.isNaN(value) ? "–" : amount(value, ""));
      line.value.value = String(value);
    }
  }
}

/**
 * A short piece of a line, for the legend.
 * @param {string} colour
 * @param {number[]} dash
 * @param {number} shape -1: none
 */
function lineSample(colour, dash, shape) {
  const svg = drawn("svg", { class: "line-sample", "aria-hidden": "true" });
  const line = drawn("line", { x1: 0, y1: 7, x2: 34, y2: 7, "stroke-width": 2.5, "stroke-dasharray": dash.join(" ") });
  line.style.stroke = svg.style.fill = `var(--${colour})`;
  svg.append(line);
  if (shape >= 0) svg.append(drawn("polygon", { points: corners(shape, 17, 7, 6).join(" ") }));
  return svg;
}

/**
 * Shapes on the measured lines of a plot that has several, as in its legend: they tell them apart without colour.
 * @param {Plotter} plot
 * @param {Line[]} lines
 */
function drawShapes(plot, lines) {
  inside(plot, (pen, dots) => {
    const apart = 150 * dots;
    lines.forEach((line, i) => {
      if (line.shape < 0) return;
      pen.fillStyle = ink.of(line.colour);
      for (let x = plot.bbox.left + ((i + 0.5) / lines.length) * apart; x < plot.bbox.left + plot.bbox.width; x += apart) {
        const at = plot.posToVal(x, "x", true) * 1000;
        const y = line.run.value(line.column, at);
        if (!Number.isNaN(y)) shape(pen, line.shape, x, plot.valToPos(y, "y", true), 5 * dots);
      }
    });
  });
}
