"use strict";
// Puts the page in motion. All other scripts only define things.

/** @type {Bars} */
let bars;
/** @type {Source} */
let source;

/** Where the page opens: just before the first thing that went wrong, so that what was waited for is seen. */
function firstMoment() {
  const all = page.runs.flatMap((run) => run.data.troubles.map(({ kind, at }) => ({ run, kind, at })));
  const first = all.find(({ kind }) => kind !== "stop") ?? all[0];
  return first ? beforeTrouble(first.run, first.at) : page.begins + page.runs[0].stepMs;
}

/**
 * @param {Run} run
 * @param {number} at the run's own time
 */
function beforeTrouble(run, at) {
  const moves = run.moves?.at ?? [];
  const row = countUpTo(moves, at + 1e-6) - 1;
  const moved = row >= 0 && moves[row] > at - 1e-3;
  const tick = run.tickAt(at + run.shift);
  return run.timeOf(Math.max(0, moved ? tick - 1 : tick));
}

/** The plots show everything, or of a long run a minute around where the page opens. */
function firstStretch() {
  const all = page.ends - page.begins;
  const wide = all <= 120000 || !page.runs.some((run) => run.data.troubles.length);
  page.from = page.begins;
  page.to = page.ends;
  page.goTo(firstMoment());
  if (!wide) page.show(page.at - 40000, 60000);
}

/** The ribbons: of each whole run, of the stretch in the plots, and the narrow one in the bar below. */
function ribbons() {
  const slider = byId("ribbon");
  const cursor = make("div", { class: "cursor" });
  const whole = page.runs.map((run, i) => {
    if (page.runs.length > 1) slider.append(make("p", { class: "run-name" }, named(run.data.name)));
    const canvas = make("canvas", { "aria-hidden": "true" });
    slider.append(make("div", { class: "ribbon-row" }, canvas));
    return new Ribbon(canvas, run, { troubles: true, feet: true, axis: i === page.runs.length - 1 });
  });
  slider.append(cursor);
  byId("ribbon-feet").hidden = !page.runs.some((run) => run.feet.length);
  const strips = [
    { host: slider, cursor, all: whole, stretch: false },
    strip(byId("stretch"), {}, true),
    strip(byId("bar-strip"), { thin: true }, false),
  ];
  page.drawers.push(() => strips.forEach(({ all, stretch }) => all.forEach((ribbon) => ribbon.draw(stretch ? page.from : page.begins, stretch ? page.to : page.ends))));
  page.movers.push(() => strips.forEach((one) => placeCursor(one.cursor, one.all[0])));
  page.movers.push(() => describeSlider(slider));
  strips.forEach(({ host, all }) => dragged(host, all[0]));
}

/**
 * @param {HTMLElement} host
 * @param {{ thin?: boolean, axis?: boolean, feet?: boolean }} parts
 * @param {boolean} stretch
 */
function strip(host, parts, stretch) {
  const canvas = make("canvas", { "aria-hidden": "true" });
  const cursor = make("div", { class: "cursor" });
  host.append(canvas, cursor);
  return { host, cursor, all: [new Ribbon(canvas, page.runs[0], parts)], stretch };
}

/**
 * @param {HTMLElement} cursor
 * @param {Ribbon} ribbon
 */
function placeCursor(cursor, ribbon) {
  cursor.hidden = page.at < ribbon.from || page.at > ribbon.to;
  cursor.style.transform = `translateX(${ribbon.x(page.at).toFixed(1)}px)`;
}

/** @param {HTMLElement} slider */
function describeSlider(slider) {
  const phases = activePhases(page.runs[0]).map((phase, s) => page.sequences[s].phases[phase]?.name ?? "not running");
  slider.setAttribute("aria-valuemin", String(page.begins));
  slider.setAttribute("aria-valuemax", String(page.ends));
  slider.setAttribute("aria-valuenow", String(page.at));
  slider.setAttribute("aria-valuetext", `${clock(page.at)}, ${phases.join(", ")}`);
  say(byId("bar-time"), clock(page.at));
  say(byId("bar-phase"), phases.join(" · "));
}

/**
 * Move through time by pressing and dragging.
 * @param {HTMLElement} host
 * @param {Ribbon} ribbon
 */
function dragged(host, ribbon) {
  const go = (/** @type {PointerEvent} */ event) => page.goTo(ribbon.time(event.clientX - host.getBoundingClientRect().left));
  host.addEventListener("pointerdown", (event) => {
    host.setPointerCapture(event.pointerId);
    go(event);
  });
  host.addEventListener("pointermove", (event) => {
    if (host.hasPointerCapture(event.pointerId)) go(event);
  });
}

/** Plots are made when they come near the window, the others when there is nothing else to do. */
function timePlots() {
  const host = byId("plots");
  const plots = page.runs[0].data.plots.map((_, i) => new TimePlot(host, i));
  const show = (/** @type {TimePlot} */ plot, /** @type {boolean} */ seen) => {
    plot.seen = seen;
    if (seen && plot.stale) plot.draw();
    if (seen) page.soon();
  };
  const watcher = new IntersectionObserver((entries) => entries.forEach((entry) => {
    const plot = plots.find((one) => one.element === entry.target);
    if (plot) show(plot, entry.isIntersecting);
  }), { rootMargin: "200px" });
  plots.forEach((plot) => watcher.observe(plot.element));
  page.drawers.push(() => plots.forEach((plot) => plot.draw()));
  page.movers.push(() => plots.forEach((plot) => plot.move()));
  page.drawers.push(() => say(byId("stretch-words"), `${clock(page.from)} to ${clock(page.to)}`));
  printing(plots);
}

/**
 * On paper all plots stand, in light colours and as wide as the sheet.
 * @param {TimePlot[]} plots
 */
function printing(plots) {
  /** @type {boolean[]} */
  const seen = [];
  const turn = (/** @type {boolean} */ on) => {
    page.paper = on;
    document.documentElement.classList.toggle("paper", on);
    ink.known.clear();
    plots.forEach((plot, i) => {
      if (on) seen[i] = plot.seen;
      plot.seen = on || seen[i];
    });
    page.changed = true;
    page.draw();
  };
  window.addEventListener("beforeprint", () => turn(true));
  window.addEventListener("afterprint", () => turn(false));
}

/** Two runs: which moments of the two are put at the same place. */
function alignment() {
  const [first, second] = page.runs;
  byId("align").hidden = !second;
  if (!second) return;
  const choice = /** @type {HTMLSelectElement} */ (byId("align-phase"));
  const number = /** @type {HTMLInputElement} */ (byId("align-number"));
  page.sequences.forEach((sequence, s) => sequence.phases.forEach((phase, p) => {
    if (entries(first, s, p).length && entries(second, s, p).length) choice.append(make("option", { value: `${s} ${p}` }, phase.name));
  }));
  const align = () => {
    const [s, p] = choice.value.split(" ").map(Number);
    const both = choice.value ? [entries(first, s, p), entries(second, s, p)] : [[first.data.start], [second.data.start]];
    const last = Math.min(both[0].length, both[1].length);
    number.max = String(last);
    number.disabled = !choice.value;
    const n = clamp(Math.round(Number(number.value)) || 1, 1, last) - 1;
    second.shift = both[0][n] - both[1][n];
    say(byId("align-told"), `${second.data.name} is moved by ${lasting(Math.abs(second.shift))}${second.shift < 0 ? " to the left" : second.shift > 0 ? " to the right" : ""}`);
    page.show(page.begins, Infinity);
  };
  choice.addEventListener("change", align);
  number.addEventListener("input", align);
  align();
}

/**
 * When a phase was entered, in the run's own time.
 * @param {Run} run
 * @param {number} sequence
 * @param {number} phase
 */
function entries(run, sequence, phase) {
  const stays = run.stays[sequence];
  return [...(stays?.from ?? [])].filter((_, row) => stays.phase[row] === phase);
}

/** Running through time. */
function playing() {
  const play = byId("play");
  const speed = /** @type {HTMLSelectElement} */ (byId("speed"));
  let last = 0;
  let exact = 0; // between ticks
  let put = 0; // where the page was put last; if it is elsewhere somebody moved it
  const run = (/** @type {number} */ now) => {
    if (!page.playing) return;
    if (page.at !== put) exact = page.at;
    exact += (now - last) * Number(speed.value);
    last = now;
    if (exact >= page.ends) toggle();
    page.goTo(exact);
    put = page.at;
    requestAnimationFrame(run);
  };
  const toggle = () => {
    page.playing = !page.playing;
    play.setAttribute("aria-label", page.playing ? "stop" : "play");
    play.classList.toggle("running", page.playing);
    exact = page.playing && page.at >= page.ends - page.runs[0].stepMs ? page.begins : page.at;
    put = page.at;
    last = performance.now();
    if (page.playing) requestAnimationFrame(run);
  };
  play.addEventListener("click", toggle);
  return toggle;
}

/** @param {() => void} toggle */
function keys(toggle) {
  /** @type {Record<string, (shift: boolean) => void>} */
  const acts = {
    " ": toggle,
    ArrowLeft: (shift) => (shift ? page.change(-1) : page.step(-1)),
    ArrowRight: (shift) => (shift ? page.change(1) : page.step(1)),
    Home: () => page.goTo(page.begins),
    End: () => page.goTo(page.ends),
    "+": () => page.zoom(0.5),
    "-": () => page.zoom(2),
    0: () => page.show(page.begins, Infinity),
    ribbonArrowUp: () => page.step(1),
    ribbonArrowDown: () => page.step(-1),
    ribbonPageUp: () => page.change(1),
    ribbonPageDown: () => page.change(-1),
  };
  document.addEventListener("keydown", (event) => {
    const target = /** @type {Element} */ (event.target);
    if (event.ctrlKey || event.metaKey || event.altKey || target.closest("select, input, .scrolls")) return;
    if (event.key === " " && target.closest("button, summary, [role=button]")) return;
    const act = acts[event.key] ?? acts[target.id + event.key];
    if (!act) return;
    event.preventDefault();
    act(event.shiftKey);
  });
}

/**
 * What is out of the window need not follow the moment until it is in it.
 * @param {Element} element
 * @param {() => void} move
 */
function whenSeen(element, move) {
  let seen = false;
  new IntersectionObserver(([entry]) => {
    seen = entry.isIntersecting;
    if (seen) move();
  }).observe(element);
  page.movers.push(() => (seen || page.paper) && move());
}

/**
 * Buttons in the page's fixed texts.
 * @param {string} kind
 * @param {(data: DOMStringMap) => void} act
 */
function links(kind, act) {
  for (const link of document.querySelectorAll(`button.${kind}`)) link.addEventListener("click", () => act(/** @type {HTMLElement} */ (link).dataset));
}

/**
 * The buttons of the bar below, and others that the template has.
 * @param {MoveTable} moves
 */
function buttons(moves) {
  /** @type {Record<string, () => void>} */
  const acts = {
    "change-back": () => page.change(-1),
    "tick-back": () => page.step(-1),
    "tick-on": () => page.step(1),
    "change-on": () => page.change(1),
    "zoom-in": () => page.zoom(0.5),
    "zoom-out": () => page.zoom(2),
    "zoom-all": () => page.show(page.begins, Infinity),
    "moves-earlier": () => moves.turn(-PAGE_ROWS),
    "moves-later": () => moves.turn(PAGE_ROWS),
  };
  for (const [id, act] of Object.entries(acts)) byId(id).addEventListener("click", act);
  links("moment", ({ at, run = "0" }) => page.goTo(beforeTrouble(page.runs[Number(run)], Number(at))));
  links("visit", ({ sequence, phase }) => visitPhase(Number(sequence), [Number(phase)]));
  links("place", (place) => source.pressed(place));
  const bands = /** @type {HTMLSelectElement} */ (byId("bands"));
  page.sequences.forEach((sequence, i) => bands.append(make("option", { value: i }, sequence.name)));
  byId("bands-choice").hidden = page.sequences.length < 2;
  bands.addEventListener("change", () => {
    page.sequence = Number(bands.value);
    page.drawSoon();
  });
}

/** Unpack what the plots will need, one column after the other, so that scrolling and printing need not wait. */
async function unpackRest() {
  for (const run of page.runs) {
    for (const column of run.data.plots.flatMap((plot) => plot.columns)) {
      await new Promise((done) => setTimeout(done, 20));
      await run.load(column);
    }
  }
}

/**
 * What stands below stays where it is when there is less to say; until the width is another.
 * @param {HTMLElement} host
 */
function keepRoom(host) {
  let [width, highest] = [0, 0];
  new ResizeObserver(() => {
    const box = host.getBoundingClientRect();
    highest = box.width === width ? Math.min(700, Math.max(highest, Math.ceil(box.height))) : 0;
    width = box.width;
    host.style.minHeight = highest ? `${highest}px` : "";
  }).observe(host);
}

async function start() {
  page.document = JSON.parse(byId("document").textContent ?? "");
  page.runs = await Promise.all(page.document.runs.map((data) => new Run(data).open()));
  bars = new Bars(byId("why-bars"));
  source = new Source();
  const now = page.sequences.flatMap((_, number) => page.runs.map((run) => new NowBlock(byId("now-blocks"), run, number)));
  const diagram = new Diagram();
  page.movers.push(() => bars.move(), () => now.forEach((block) => block.move()));
  byId("why").hidden = !page.document.walk.gait;
  const watched = new Watched(byId("watched"));
  page.movers.push(() => watched.move());
  ribbons();
  timePlots();
  const moving = new Moving(byId("moving"));
  const moves = new MoveTable();
  page.movers.push(() => moving.move(), () => diagram.move(), () => source.move());
  whenSeen(byId("diagram-and-files"), () => {
    diagram.follow();
    source.follow();
  });
  whenSeen(byId("moves-body"), () => moves.move());
  buttons(moves);
  alignment();
  keys(playing());
  firstStretch();
  ["now-blocks", "why-bars"].forEach((id) => keepRoom(byId(id)));
  new ResizeObserver(() => page.drawSoon()).observe(byId("ribbon"));
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    ink.known.clear();
    page.drawSoon();
  });
  page.drawSoon();
  document.documentElement.classList.add("ready");
  window.report = page;
  unpackRest();
}

start();
