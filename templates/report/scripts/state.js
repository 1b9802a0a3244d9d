"use strict";
// Where the page is: the moment that is looked at, the stretch that the plots show, and who is told of changes.

const page = {
  /** @type {ReportDocument} */
  document: /** @type {any} */ (null),
  /** @type {Run[]} */
  runs: [],
  at: 0, // ms of the first run's clock
  from: 0, // what the plots show
  to: 1,
  sequence: 0, // whose phases are the bands behind the plots
  playing: false,
  paper: false, // being printed
  /** @type {(() => void)[]} */
  movers: [], // called when the moment is another
  /** @type {(() => void)[]} */
  drawers: [], // called when the stretch, the width, the colours or the numbers are others
  moved: false,
  changed: false,
  waiting: false,

  /** Called whenever something that is drawn has changed. */
  drawSoon() {
    page.changed = true;
    page.soon();
  },

  soon() {
    if (page.waiting) return;
    page.waiting = true;
    requestAnimationFrame(page.draw);
  },

  draw() {
    page.waiting = false;
    const changed = page.changed;
    page.changed = page.moved = false;
    if (changed) page.drawers.forEach((draw) => draw());
    page.movers.forEach((move) => move());
  },

  /** The first and last moment of all runs. */
  get begins() {
    return Math.min(...page.runs.map((run) => run.data.start + run.shift));
  },
  get last() {
    return Math.max(...page.runs.map((run) => run.data.end + run.shift));
  },
  /** Where what is drawn ends: of a single tick, too, there must be something to see. */
  get ends() {
    return Math.max(page.last, page.begins + page.runs[0].stepMs);
  },

  /**
   * Look at a moment. If the plots do not show it they move there.
   * @param {number} at
   */
  goTo(at) {
    const run = page.runs[0];
    const within = clamp(at, page.begins, page.last);
    page.at = run.covers(within) ? run.timeOf(run.tickAt(within)) : within;
    const width = page.to - page.from;
    if (page.at < page.from || page.at > page.to) page.show(page.at - width * (page.playing ? 0.1 : 0.5), width);
    page.soon();
  },

  /**
   * @param {number} ticks
   */
  step(ticks) {
    const run = page.runs[0];
    if (run.covers(page.at)) page.goTo(run.timeOf(clamp(run.tickAt(page.at) + ticks, 0, Math.max(0, run.data.ticks - 1))));
    else page.goTo(page.at + ticks * run.stepMs);
  },

  /** @param {1 | -1} way */
  change(way) {
    const found = page.runs.map((run) => run.changeFrom(page.at, way));
    page.goTo(way > 0 ? Math.min(...found.filter((at) => at > page.at), page.ends) : Math.max(...found.filter((at) => at < page.at), page.begins));
  },

  /**
   * Let the plots show a stretch of the runs.
   * @param {number} from
   * @param {number} width
   */
  show(from, width) {
    const all = page.ends - page.begins;
    const shown = clamp(width, Math.min(all, 4 * page.runs[0].stepMs), all);
    page.from = clamp(from, page.begins, page.ends - shown);
    page.to = page.from + shown;
    page.drawSoon();
  },

  /**
   * Show more or less around the moment.
   * @param {number} factor
   */
  zoom(factor) {
    const share = clamp((page.at - page.from) / (page.to - page.from), 0, 1);
    const width = (page.to - page.from) * factor;
    page.show(page.at - width * share, width);
  },

  /**
   * How wide something is drawn, in px.
   * @param {Element | null} element
   */
  widthOf(element) {
    return page.paper ? 670 : Math.max(200, element?.clientWidth ?? 0); // on A4 or letter, between usual margins
  },

  /** The sequences of the walk. */
  get sequences() {
    return page.document.walk.sequences;
  },
};

/** Colours as the style sheet gives them for the scheme in force; read once for each drawing. */
const ink = {
  /** @type {Map<string, string>} */
  known: new Map(),
  /** @param {string} name */
  of(name) {
    let colour = ink.known.get(name);
    if (colour === undefined) {
      colour = getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
      ink.known.set(name, colour);
    }
    return colour;
  },
};

/**
 * Steps of a time axis that people can read: 1, 2 or 5 of something, at most `most` of them.
 * @param {number} from
 * @param {number} to
 * @param {number} most
 */
function timeSteps(from, to, most) {
  const rough = (to - from) / Math.max(1, most);
  const power = 10 ** Math.floor(Math.log10(rough));
  let step = [1, 2, 5, 10].map((n) => n * power).find((n) => n >= rough) ?? rough;
  if (step > 20000) step = [30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 18000].map((s) => s * 1000).find((n) => n >= rough) ?? Math.ceil(rough / 3600000) * 3600000;
  const found = [];
  for (let at = Math.ceil(from / step) * step; at <= to; at += step) found.push(at);
  return { step, times: found };
}

/**
 * @param {number} at
 * @param {number} step
 */
function timeLabel(at, step) {
  const digits = step >= 1000 ? 0 : step >= 100 ? 1 : step >= 10 ? 2 : 3;
  if (Math.abs(at) < 600000) return (at / 1000).toFixed(digits);
  return clock(at).replace(" s", "").replace(/\.\d+$/, (rest) => (digits ? rest : ""));
}
