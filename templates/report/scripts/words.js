"use strict";
// Numbers and times as words, and making elements. Texts from files only ever become text nodes.

/**
 * A measured number to three digits, whole ones in full.
 * @param {number} x
 * @param {string} unit
 */
function amount(x, unit) {
  if (Number.isNaN(x)) return "no value";
  const text = Math.abs(x) >= 100 ? x.toFixed(0) : String(Number(x.toPrecision(3)));
  return unit ? `${text === "-0" ? "0" : text} ${unit}` : text;
}

/**
 * A point in time.
 * @param {number} ms
 */
function clock(ms) {
  const digits = Number.isInteger(ms / 10) ? 2 : 3;
  if (Math.abs(ms) < 600000) return `${(ms / 1000).toFixed(digits)} s`;
  const minutes = Math.floor(ms / 60000);
  const rest = ((ms - minutes * 60000) / 1000).toFixed(digits).padStart(digits + 3, "0");
  return minutes < 60 ? `${minutes}:${rest}` : `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}:${rest}`;
}

/**
 * How long something took.
 * @param {number} ms
 */
function lasting(ms) {
  if (ms < 1000) return `${Math.round(ms)} ms`;
  return ms < 100000 ? `${Number((ms / 1000).toFixed(2))} s` : `${(ms / 1000).toFixed(0)} s`;
}

/**
 * @param {number} n
 * @param {string} one
 * @param {string} [many]
 */
function counted(n, one, many = `${one}s`) {
  return `${n} ${n === 1 ? one : many}`;
}

/** @param {number} n */
function ordinal(n) {
  const end = n % 100 > 10 && n % 100 < 14 ? "th" : { 1: "st", 2: "nd", 3: "rd" }[n % 10] ?? "th";
  return `${n}${end}`;
}

/**
 * Make an element: attributes, then children (texts become text nodes).
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag
 * @param {Record<string, string | number>} [attributes]
 * @param {(Node | string)[]} children
 */
function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  put(element, attributes);
  element.append(...children);
  return element;
}

const SVG = "http://www.w3.org/2000/svg";

/**
 * The same for pieces of a drawing.
 * @template {keyof SVGElementTagNameMap} K
 * @param {K} tag
 * @param {Record<string, string | number>} [attributes]
 */
function drawn(tag, attributes = {}) {
  const element = document.createElementNS(SVG, tag);
  put(element, attributes);
  return element;
}

/**
 * @param {Element} element
 * @param {Record<string, string | number>} attributes
 */
function put(element, attributes) {
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
}

/**
 * A name from a file: its direction is its own and does not turn what stands beside it.
 * @param {string} text
 */
function named(text) {
  return make("bdi", {}, text);
}

/**
 * @param {string} text
 * @param {() => void} act
 * @param {Record<string, string>} [attributes]
 */
function button(text, act, attributes = {}) {
  const made = make("button", { type: "button", ...attributes }, text);
  made.addEventListener("click", act);
  return made;
}

/**
 * Set a text only if it is another: most of the page stays as it is from frame to frame.
 * @param {Element} element
 * @param {string} text
 */
function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/**
 * The template has every element that is asked for.
 * @param {string} id
 */
function byId(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`the page lacks #${id}`);
  return found;
}

/**
 * How many of the sorted numbers are at most x.
 * @param {ArrayLike<number>} sorted
 * @param {number} x
 */
function countUpTo(sorted, x) {
  let low = 0;
  let high = sorted.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (sorted[middle] <= x) low = middle + 1;
    else high = middle;
  }
  return low;
}

/**
 * Labels of phases short enough for narrow stretches: beginnings of their words, as long as needed to tell
 * them apart.
 * @param {string[]} names
 */
function shortened(names) {
  for (let length = 1; length < 5; length++) {
    const short = names.map((text) => text.split("_").map((word) => word.slice(0, length)).join("·"));
    if (new Set(short).size === new Set(names).size) return short;
  }
  return names;
}
