"use strict";
// From kept numbers to the points of a plot: true samples where a pixel has few, else the least and the greatest
// of each pixel, so that no spike is lost however narrow.

/** @typedef {{ from: number, to: number, least: number, most: number, line: number }} Box */
/** @typedef {{ x: number[], ys: (number | null)[][], boxes: Box[], sparse: boolean, rough: boolean }} Sampled */

/**
 * The points of some columns between two moments (page time). x in seconds; null: no number there.
 * @param {Run} run
 * @param {number[]} columns
 * @param {number} from
 * @param {number} to
 * @param {number} pixels
 * @returns {Sampled}
 */
function sample(run, columns, from, to, pixels) {
  /** @type {Sampled} */
  const out = { x: [], ys: columns.map(() => []), boxes: [], sparse: true, rough: false };
  const filled = columns.map((column) => run.column(column));
  if (!run.data.ticks || filled.some((one) => !one)) return out;
  const first = Math.max(0, run.tickAt(from) - 1);
  const last = Math.min(run.data.ticks - 1, run.tickAt(to) + 1);
  const each = Math.max(1, Math.floor((last - first) / pixels));
  const numbers = /** @type {Filled[]} */ (filled);
  let done = first;
  run.data.kept.windows.forEach(([begin, end], window) => {
    const start = Math.max(begin, first);
    const stop = Math.min(end, last + 1);
    if (start >= stop) return;
    coarsely(run, numbers, out, done, start, each);
    const pieces = numbers.map((one) => one.pieces[window]);
    if (each > 2) squeezed(run, pieces, begin, out, start, stop, each);
    else singly(run, pieces, begin, out, start, stop);
    out.sparse &&= each <= 2;
    done = stop;
  });
  coarsely(run, numbers, out, done, last + 1, each);
  return out;
}

/**
 * Every tick as it is.
 * @param {Run} run
 * @param {Numbers[]} pieces
 * @param {number} begin tick of the pieces' first number
 * @param {Sampled} out
 * @param {number} start
 * @param {number} stop
 */
function singly(run, pieces, begin, out, start, stop) {
  const time = timesFrom(run, start);
  for (let tick = start; tick < stop; tick++) {
    out.x.push(time(tick) / 1000);
    for (let i = 0; i < pieces.length; i++) out.ys[i].push(orNull(pieces[i][tick - begin]));
  }
}

/**
 * Times of ticks in one window, without looking for the window each time.
 * @param {Run} run
 * @param {number} start
 * @returns {(tick: number) => number}
 */
function timesFrom(run, start) {
  const window = run.windowOf(start);
  if (!run.times || window < 0) return (tick) => run.timeOf(tick);
  const times = run.times[window];
  const begin = run.data.kept.windows[window][0];
  return (tick) => times[tick - begin] + run.shift;
}

/**
 * Least and greatest of each `each` ticks, in the order in which they came.
 * @param {Run} run
 * @param {Numbers[]} pieces
 * @param {number} begin
 * @param {Sampled} out
 * @param {number} start
 * @param {number} stop
 * @param {number} each
 */
function squeezed(run, pieces, begin, out, start, stop, each) {
  const time = timesFrom(run, start);
  for (let tick = start; tick < stop;) {
    const end = Math.min(stop, (Math.floor(tick / each) + 1) * each);
    pushTimes(out, time(tick), time(end - 1), time(Math.max(tick, (tick + end - 1) >> 1)));
    for (let i = 0; i < pieces.length; i++) pushEnds(out.ys[i], pieces[i], tick - begin, end - begin);
    tick = end;
  }
}

/**
 * Two moments for a pixel's two numbers.
 * @param {Sampled} out
 * @param {number} from
 * @param {number} to
 * @param {number} middle
 */
function pushTimes(out, from, to, middle) {
  out.x.push(from / 1000, (middle > from ? middle : Math.max(to, from + 1e-3)) / 1000);
}

/**
 * @param {(number | null)[]} ys
 * @param {Numbers} numbers
 * @param {number} from
 * @param {number} to
 */
function pushEnds(ys, numbers, from, to) {
  let least = from;
  let most = from;
  for (let i = from + 1; i < to; i++) {
    const x = numbers[i];
    if (x < numbers[least] || Number.isNaN(numbers[least])) least = i;
    if (x > numbers[most] || Number.isNaN(numbers[most])) most = i;
  }
  ys.push(orNull(numbers[Math.min(least, most)]), orNull(numbers[Math.max(least, most)]));
}

/**
 * What stands in the file only as least and greatest of buckets: points where a bucket is narrower than a
 * pixel, boxes where it is wider.
 * @param {Run} run
 * @param {Filled[]} numbers
 * @param {Sampled} out
 * @param {number} start
 * @param {number} stop
 * @param {number} each
 */
function coarsely(run, numbers, out, start, stop, each) {
  const size = run.data.kept.bucket;
  if (!size || start >= stop) return;
  out.rough = true;
  const group = Math.max(1, Math.floor(each / size));
  for (let bucket = Math.floor(start / size); bucket * size < stop;) {
    const end = Math.min(Math.ceil(stop / size), (Math.floor(bucket / group) + 1) * group);
    const from = Math.max(start, bucket * size);
    const to = Math.min(stop, end * size);
    pushTimes(out, run.timeOf(from), run.timeOf(to - 1), (run.timeOf(from) + run.timeOf(to - 1)) / 2);
    numbers.forEach((one, line) => {
      const [least, most] = bucketEnds(one, bucket, end);
      const wide = size > 2 * each;
      out.ys[line].push(wide ? null : orNull(least), wide ? null : orNull(most));
      if (wide && least <= most) out.boxes.push({ from: run.timeOf(from), to: run.timeOf(to), least, most, line });
    });
    bucket = end;
  }
}

/**
 * @param {Filled} numbers
 * @param {number} from
 * @param {number} to
 */
function bucketEnds(numbers, from, to) {
  let least = NaN;
  let most = NaN;
  for (let i = from; i < to; i++) {
    const low = numbers.least?.[i] ?? NaN;
    const high = numbers.most?.[i] ?? NaN;
    if (!(least <= low)) least = Number.isNaN(low) ? least : low;
    if (!(most >= high)) most = Number.isNaN(high) ? most : high;
  }
  return [least, most];
}

/** @param {number} x */
function orNull(x) {
  return Number.isNaN(x) ? null : x;
}
