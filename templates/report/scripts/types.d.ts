// What stands in a report's file: the document that Python writes (sequencer/show/report/) and the scripts
// read. Times are milliseconds on the run's own clock, which starts at 0 and does not wrap; ticks count from 0.
// A test writes a real document as TypeScript and lets the compiler compare it with these declarations.

/** Numbers packed into text: bytes of a typed array, each XORed with the one before (f4, f8: whole numbers'
 * bits; u1, u2, u4: the number before subtracted, wrapping), then split into byte planes (all first bytes,
 * then all second bytes ...), raw DEFLATE (RFC 1951), base64 (RFC 4648). Little endian. */
interface Packed {
  type: "f4" | "f8" | "u1" | "u2" | "u4";
  length: number;
  text: string;
}

/** Least and greatest of each bucket of `Kept.bucket` ticks, NaN where a bucket has no number. */
interface Coarse {
  least: Packed;
  most: Packed;
}

/** One number for each tick. `pieces` has one entry for each window of `Kept.windows`; NaN: no number. */
interface Column {
  name: string;
  unit: string;
  role: "signal" | "setpoint" | "target" | "loop" | "output" | "counter" | "margin" | "hold" | "truth"
    | "clearance" | "support" | "link" | "other";
  pieces: Packed[];
  coarse: Coarse | null;
}

/** Which ticks are in the file one by one. All of them: one window [0, ticks), bucket 0. */
interface Kept {
  windows: [number, number][]; // from tick, to tick (exclusive), ascending
  bucket: number; // ticks in a bucket of the coarse columns; 0: there are none
}

/** When ticks were: every `step` ms from `start`, or told one by one (gaps, a jittering clock). */
interface Clock {
  start: number;
  step: number;
  pieces: Packed[] | null; // f8, one for each window; null: evenly spaced
  buckets: Packed | null; // f8, the time at which each bucket begins; null: evenly spaced, or no buckets
}

interface FilePlace {
  file: number; // into Walk.files
  line: number; // from 1
  last: number; // the last line that belongs to it
}

interface Leaf {
  words: string;
  opposite: string; // the same when it must not hold, for those under a "not": "motors is off"
  kind: "compare" | "follow" | "event" | "switch" | "lost" | "phase";
  unit: string; // of the margin; "" where there is none
  span: number; // width of the compared signal's span, in the unit: how far "far" can be; 0: no margin
  signals: string[]; // names of the signals that it compares
  truth: number; // into Recorded.columns (role truth: 0 false, 1 unknown, 2 true, 3 not looked at)
  margin: number | null; // into Recorded.columns; >= 0 where true, missing amount negative
}

interface Guard {
  name: string; // "lean_right, guard 1", "anywhere 2"
  words: string; // the condition as a sentence
  to: string; // where it leads, in words
  kind: "guard" | "anywhere";
  sequence: number | null; // null: all of them
  phase: number | null;
  hold: { words: string; unit: "ms" | "samples"; need: number } | null;
  truth: number; // column
  hold_left: number | null; // column, in hold.unit; NaN while not looked at; 0 when it is met
  leaves: Leaf[];
  nodes: { kind: "leaf" | "all" | "any" | "not"; arg: number }[]; // the condition in postfix order; leaf: arg is into `leaves`; all, any: how many operands
  place: FilePlace;
}

interface Phase {
  name: string;
  about: string;
  kind: "rest" | "stop" | "step";
  timeout: number | null; // ms
  timeout_to: string;
  mirror: number | null; // the phase of the other side
  place: FilePlace | null;
}

interface Sequence {
  name: string;
  phases: Phase[];
}

interface Rule {
  name: string;
  words: string;
  place: FilePlace;
}

interface Finding {
  code: string;
  severity: "error" | "warning" | "note";
  message: string;
  fix: string;
  why: string;
  place: FilePlace | null;
}

interface Parameter {
  name: string;
  unit: string;
  value: number;
  low: number;
  high: number;
  place: FilePlace;
}

/** The walk that ran. From a log without a gait: only names, and `gait` is null. */
interface Walk {
  name: string;
  sequences: Sequence[];
  gait: {
    about: string;
    machine: string;
    files: { name: string; lines: string[] }[];
    guards: Guard[]; // of all phases in document order, then `anywhere`
    rules: Rule[];
    findings: Finding[];
    parameters: Parameter[];
  } | null;
}

/** Intervals as columns. */
interface Spans {
  from: Packed; // f8
  to: Packed; // f8
}

interface Stays extends Spans {
  phase: Packed; // u1
}

/** What moved the walk on; one row for each change, in order of time. */
interface Moves {
  at: Packed; // f8
  tick: Packed; // u4
  sequence: Packed; // u1
  left: Packed; // u1; 255: none
  entered: Packed; // u1
  stayed: Packed; // f8, ms in the phase left
  cause: Packed; // u2, into `causes`
  causes: string[]; // each different text once
  guard: Packed; // u2, into Walk.gait.guards; 65535: none
  spare: Packed; // f4, what the guard that fired had to spare; NaN: nothing to measure
  spare_units: string[]; // of each guard in Walk.gait.guards
  settled: Packed; // u1, 0: `spare` is only a lower bound
}

/** Lines and bands in a signal's plot: a threshold while it counted. NaN: no such side. */
interface Marks extends Spans {
  column: Packed; // u2, of the signal
  guard: Packed; // u2, into Walk.gait.guards
  low: Packed; // f4, must be above (or at) it
  high: Packed; // f4, must be below (or at) it
}

interface Contact extends Spans {
  name: string; // "left", "right", "left hind"
  side: "left" | "right" | "";
  row: number; // 0 is the foremost
  source: "commanded" | "measured" | "rehearsed";
}

interface Trouble {
  kind: "timeout" | "rule" | "output" | "stop" | "end";
  at: number;
  words: string; // why, in the words of the dry run
  place: FilePlace | null;
}

interface Symmetry {
  what: string; // "time in lean_right / lean_left"
  unit: string;
  left: { name: string; count: number; median: number | null; least: number | null; most: number | null };
  right: { name: string; count: number; median: number | null; least: number | null; most: number | null };
}

interface Battery {
  column: number;
  name: string;
  unit: string;
  first: number;
  last: number;
  least: number;
  least_at: number;
  full: number | null; // outputs reach their full scale at it
  low: number | null; // outputs are cut below it
}

/** Segments of the small animation, seen from the front; y to the machine's left, z up; columns in mm. */
interface Drawn {
  name: string;
  y1: number;
  z1: number;
  y2: number;
  z2: number;
}

/** A figure of the run as a sentence's parts, to be shown in a list: "steps" "7". */
interface Figure {
  name: string;
  value: string;
}

/** One run. */
interface Recorded {
  name: string; // the recording's file, without its folder
  summary: string; // one sentence
  failed: boolean;
  ticks: number;
  start: number;
  end: number;
  kept: Kept;
  clock: Clock;
  columns: Column[];
  plots: { title: string; unit: string; columns: number[] }[]; // what is drawn together, in this order
  stays: Stays[]; // of each sequence
  moves: Moves;
  marks: Marks | null;
  rules: (Spans & { rule: Packed; state: Packed }) | null; // rule u2; state u1: 1 unjudged, 2 broken
  contacts: Contact[];
  troubles: Trouble[];
  symmetry: Symmetry[];
  battery: Battery | null;
  drawn: Drawn[];
  writes: { at: number; parameter: string; value: number; accepted: boolean }[];
  figures: Figure[]; // versions, hashes, samples not believed, counters, how it was run
}

interface ReportDocument {
  format: 1;
  title: string;
  notes: string[];
  walk: Walk;
  runs: Recorded[]; // one, or two of the same walk to be laid over each other
}
