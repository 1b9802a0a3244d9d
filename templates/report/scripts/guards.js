"use strict";
// What a guard lacks at a moment. Truths: 0 false, 1 unknown, 2 true, 3 not looked at.

/** @typedef {{ leaf: Leaf, words: string, truth: number, margin: number, negated: boolean }} Part */
/** @typedef {{ truth: number, parts: Part[], missing: Part[], choice: boolean, left: number }} Standing */

/** @typedef {{ kind: string, leaf: number, parts: Tree[] }} Tree */

/**
 * A guard's condition as a tree.
 * @param {Guard} guard
 * @returns {Tree}
 */
function treeOf(guard) {
  /** @type {Tree[]} */
  const stack = [];
  for (const { kind, arg } of guard.nodes) {
    if (kind === "leaf") stack.push({ kind, leaf: arg, parts: [] });
    else stack.push({ kind, leaf: -1, parts: stack.splice(stack.length - (kind === "not" ? 1 : arg)) });
  }
  return stack[0] ?? { kind: "all", leaf: -1, parts: [] };
}

/**
 * Which leaves stand under an odd number of "not".
 * @param {Tree} tree
 * @param {boolean[]} turned one for each leaf, written here
 */
function markTurned(tree, turned, odd = false) {
  if (tree.kind === "leaf") turned[tree.leaf] = odd;
  for (const part of tree.parts) markTurned(part, turned, odd !== (tree.kind === "not"));
  return turned;
}

/**
 * How a guard and each of its parts stand at a moment of a run.
 * @param {Run} run
 * @param {Guard} guard
 * @param {number} at
 * @returns {Standing}
 */
function standing(run, guard, at) {
  const tree = treeOf(guard);
  const turned = markTurned(tree, []);
  const parts = guard.leaves.map((leaf, i) => {
    const truth = run.value(leaf.truth, at);
    const margin = leaf.margin === null ? NaN : run.value(leaf.margin, at);
    return {
      leaf,
      words: turned[i] ? leaf.opposite : leaf.words,
      truth: turned[i] && truth < 3 ? 2 - truth : truth,
      margin: turned[i] ? -margin : margin,
      negated: turned[i],
    };
  });
  const { missing, choice } = lacking(tree, parts);
  const left = guard.hold_left === null ? NaN : run.value(guard.hold_left, at);
  return { truth: run.value(guard.truth, at), parts, missing, choice, left };
}

/**
 * Which parts a guard that is not true lacks; choice: one of some would do. Truths of parts are as wished
 * already, so under a "not" `all` and `any` change places (De Morgan).
 * @param {Tree} tree
 * @param {Part[]} parts
 * @returns {{ met: boolean, missing: Part[], choice: boolean }}
 */
function lacking(tree, parts, odd = false) {
  if (tree.kind === "leaf") {
    const met = parts[tree.leaf].truth === 2;
    return { met, missing: met ? [] : [parts[tree.leaf]], choice: false };
  }
  if (tree.kind === "not") return lacking(tree.parts[0], parts, !odd);
  const found = tree.parts.map((part) => lacking(part, parts, odd));
  const any = (tree.kind === "any") !== odd;
  const met = any ? found.some((one) => one.met) : found.every((one) => one.met);
  const open = met ? [] : found.filter((one) => !one.met);
  const missing = open.flatMap((one) => one.missing);
  return { met, missing, choice: (any && missing.length > 1) || open.some((one) => one.choice) };
}

/**
 * The guards of a phase, or with null those of `anywhere`.
 * @param {number | null} sequence
 * @param {number | null} phase
 */
function guardsOf(sequence, phase) {
  const guards = page.document.walk.gait?.guards ?? [];
  return guards.filter((guard) => guard.sequence === sequence && guard.phase === phase);
}

/**
 * How far a part is from what it should be, in words.
 * @param {Part} part
 */
function distance(part) {
  if (part.truth === 3 || Number.isNaN(part.truth)) return "not looked at";
  if (part.truth === 1) return "unknown: no signal";
  if (part.leaf.margin === null || Number.isNaN(part.margin)) return part.truth === 2 ? "yes" : "not yet";
  if (part.truth === 2) return `${amount(Math.abs(part.margin), part.leaf.unit)} to spare`;
  return `${amount(Math.abs(part.margin), part.leaf.unit)} short`;
}

/**
 * What is left of a hold, in words.
 * @param {Guard} guard
 * @param {number} left
 */
function holdWords(guard, left) {
  if (!guard.hold || Number.isNaN(left)) return "";
  if (left <= 0) return "hold is met";
  return guard.hold.unit === "ms" ? `hold: ${lasting(left)} still to run` : `hold: ${counted(left, "fresh sample")} still to come`;
}

/**
 * The active phase of each sequence; -1: it does not run.
 * @param {Run} run
 */
function activePhases(run) {
  return run.stays.map((stays, number) => {
    const row = run.stayAt(number, page.at);
    return row < 0 ? -1 : stays.phase[row];
  });
}

/**
 * Whose phase it is, where there are several runs or sequences.
 * @param {Run} run
 * @param {number | null} sequence
 */
function whoseName(run, sequence) {
  const names = [page.runs.length > 1 ? run.data.name : "", sequence !== null && page.sequences.length > 1 ? page.sequences[sequence].name : ""];
  return names.filter(Boolean).join(": ");
}
