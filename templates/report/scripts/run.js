"use strict";
// One run: its columns (unpacked when they are asked for), and where in them a moment is.

/** @typedef {{ from: Numbers, to: Numbers, phase: Numbers }} PhaseSpans */
/** @typedef {{ name: string, side: string, source: string, from: Numbers, to: Numbers }} FootSpans */
/** @typedef {{ pieces: Numbers[], least: Numbers | null, most: Numbers | null }} Filled */
/** @typedef {Record<"at" | "tick" | "sequence" | "left" | "entered" | "stayed" | "cause" | "guard" | "spare" | "settled", Numbers>} MoveColumns */

/**
 * Unpack the named fields of a record.
 * @template {string} K
 * @param {Record<K, any>} record
 * @param {K[]} fields
 * @returns {Promise<Record<K, Numbers>>}
 */
async function unpackFields(record, fields) {
  const columns = await Promise.all(fields.map((field) => unpack(record[field])));
  return /** @type {Record<K, Numbers>} */ (Object.fromEntries(fields.map((field, i) => [field, columns[i]])));
}

class Run {
  /** @param {Recorded} data */
  constructor(data) {
    this.data = data;
    this.shift = 0; // page time = run time + shift
    /** @type {PhaseSpans[]} */
    this.stays = [];
    /** @type {FootSpans[]} */
    this.feet = [];
    /** @type {MoveColumns | null} */
    this.moves = null;
    /** @type {Record<"from" | "to" | "column" | "guard" | "low" | "high", Numbers> | null} */
    this.marks = null;
    /** @type {Record<"from" | "to" | "rule" | "state", Numbers> | null} */
    this.rules = null;
    /** @type {Numbers[] | null} */
    this.times = null;
    /** @type {Numbers | null} */
    this.bucketTimes = null;
    /** @type {(Filled | null)[]} */
    this.filled = data.columns.map(() => null);
    /** @type {(Promise<Filled> | null)[]} */
    this.asked = data.columns.map(() => null);
    /** @type {Map<number, [number, number]>} */
    this.ends = new Map();
  }

  /** Unpack all that is needed from the start. */
  async open() {
    const data = this.data;
    this.stays = await Promise.all(data.stays.map((stays) => unpackFields(stays, ["from", "to", "phase"])));
    this.feet = await Promise.all(data.contacts.map(async (foot) => {
      const spans = await unpackFields(foot, ["from", "to"]);
      return { name: foot.name, side: foot.side, source: foot.source, ...spans };
    }));
    this.moves = await unpackFields(data.moves,
      ["at", "tick", "sequence", "left", "entered", "stayed", "cause", "guard", "spare", "settled"]);
    if (data.marks) this.marks = await unpackFields(data.marks, ["from", "to", "column", "guard", "low", "high"]);
    if (data.rules) this.rules = await unpackFields(data.rules, ["from", "to", "rule", "state"]);
    if (data.clock.pieces) this.times = await Promise.all(data.clock.pieces.map(unpack));
    if (data.clock.buckets) this.bucketTimes = await unpack(data.clock.buckets);
    return this;
  }

  /**
   * A column's numbers, or null while they are unpacked; then the page is drawn again, or only what follows the
   * moment.
   * @param {number} index
   * @param {boolean} [drawn] its numbers are drawn in plots
   * @returns {Filled | null}
   */
  column(index, drawn = true) {
    if (!this.filled[index]) this.load(index).then(drawn ? page.drawSoon : page.soon);
    return this.filled[index];
  }

  /** @param {number} index */
  load(index) {
    this.asked[index] ??= this.fill(index);
    return this.asked[index];
  }

  /** @param {number} index */
  async fill(index) {
    const { pieces, coarse } = this.data.columns[index];
    const unpacked = await Promise.all(pieces.map(unpack));
    const least = coarse ? await unpack(coarse.least) : null;
    const most = coarse ? await unpack(coarse.most) : null;
    this.filled[index] = { pieces: unpacked, least, most };
    return this.filled[index];
  }

  get stepMs() {
    return this.data.clock.step || 1;
  }

  /**
   * The run's last tick at or before a moment (page time).
   * @param {number} at
   */
  tickAt(at) {
    const { clock: { start, step }, kept, ticks } = this.data;
    const time = at - this.shift + 1e-6;
    const evenly = () => clamp(Math.floor((time - start) / (step || 1)), 0, ticks - 1);
    if (!this.times) return evenly();
    for (let i = this.times.length - 1; i >= 0; i--) {
      const times = this.times[i];
      if (!times.length || time < times[0]) continue;
      const count = countUpTo(times, time);
      if (count < times.length || kept.windows[i][1] >= ticks) return kept.windows[i][0] + count - 1;
      break;
    }
    if (!this.bucketTimes || !kept.bucket) return time < start ? 0 : evenly();
    return clamp((countUpTo(this.bucketTimes, time) - 1) * kept.bucket, 0, ticks - 1);
  }

  /**
   * When a tick was, page time.
   * @param {number} tick
   */
  timeOf(tick) {
    const { clock: { start, step }, kept } = this.data;
    const window = this.windowOf(tick);
    if (this.times && window >= 0) return this.times[window][tick - kept.windows[window][0]] + this.shift;
    if (this.bucketTimes) return this.bucketTimes[Math.floor(tick / kept.bucket)] + this.shift;
    return start + tick * step + this.shift;
  }

  /**
   * Which window of kept ticks a tick is in; -1: none.
   * @param {number} tick
   */
  windowOf(tick) {
    return this.data.kept.windows.findIndex(([from, to]) => tick >= from && tick < to);
  }

  /**
   * A column's number at a moment; NaN if there is none or it is not in the file.
   * @param {number} column
   * @param {number} at
   */
  value(column, at) {
    const filled = this.column(column, false);
    if (!filled || !this.covers(at)) return NaN;
    const tick = this.tickAt(at);
    const window = this.windowOf(tick);
    return window < 0 ? NaN : filled.pieces[window][tick - this.data.kept.windows[window][0]];
  }

  /**
   * Least and greatest around a moment of which only these are kept; null if it has its own number, or none.
   * @param {number} column
   * @param {number} at
   * @returns {[number, number] | null}
   */
  around(column, at) {
    const filled = this.filled[column];
    const tick = this.tickAt(at);
    if (!filled?.least || !filled.most || this.windowOf(tick) >= 0) return null;
    const bucket = Math.floor(tick / this.data.kept.bucket);
    return [filled.least[bucket], filled.most[bucket]];
  }

  /** @param {number} at */
  covers(at) {
    const time = at - this.shift;
    return this.data.ticks > 0 && time >= this.data.start - 1e-6 && time <= this.data.end + 1e-6;
  }

  /**
   * Row of the stay at a moment in `stays[sequence]`; -1: none.
   * @param {number} sequence
   * @param {number} at
   */
  stayAt(sequence, at) {
    const stays = this.stays[sequence];
    if (!stays || !this.covers(at)) return -1;
    return countUpTo(stays.from, at - this.shift + 1e-6) - 1;
  }

  /**
   * Least and greatest of all that is kept of a column.
   * @param {number} column
   */
  endsOf(column) {
    const filled = this.column(column, false);
    const known = this.ends.get(column);
    if (known || !filled) return known ?? [NaN, NaN];
    /** @type {[number, number]} */
    const ends = [Infinity, -Infinity];
    for (const piece of [...filled.pieces, filled.least ?? [], filled.most ?? []]) {
      for (let i = 0; i < piece.length; i++) {
        if (piece[i] < ends[0]) ends[0] = piece[i];
        if (piece[i] > ends[1]) ends[1] = piece[i];
      }
    }
    this.ends.set(column, ends);
    return ends;
  }

  /**
   * Go through a column's kept numbers between two moments.
   * @param {number} column
   * @param {number} from
   * @param {number} to
   * @param {(value: number, tick: number) => void} visit
   */
  each(column, from, to, visit) {
    const filled = this.column(column, false);
    const first = this.tickAt(from);
    const last = this.tickAt(to);
    this.data.kept.windows.forEach(([begin, end], i) => {
      const piece = filled?.pieces[i];
      if (!piece) return;
      for (let tick = Math.max(begin, first); tick < Math.min(end, last + 1); tick++) visit(piece[tick - begin], tick);
    });
  }

  /**
   * The next or last change of phase in any sequence before or after a moment; page time.
   * @param {number} at
   * @param {1 | -1} way
   */
  changeFrom(at, way) {
    const times = this.moves?.at ?? [];
    const time = at - this.shift;
    const row = way > 0 ? countUpTo(times, time + 1e-6) : countUpTo(times, time - 1e-3) - 1;
    const found = row >= 0 && row < times.length ? times[row] : way > 0 ? this.data.end : this.data.start;
    return found + this.shift;
  }
}

/**
 * @param {number} x
 * @param {number} low
 * @param {number} high
 */
function clamp(x, low, high) {
  return Math.max(low, Math.min(high, x));
}
