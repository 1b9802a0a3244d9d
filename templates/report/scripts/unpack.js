"use strict";
// Packed columns of numbers, as sequencer/show/report/pack.py writes them.

/** @typedef {Float32Array | Float64Array | Uint8Array | Uint16Array | Uint32Array} Numbers */

/**
 * Give a packed column's numbers back, to the bit.
 * @param {Packed} packed
 * @returns {Promise<Numbers>}
 */
async function unpack(packed) {
  const planes = packed.length ? await inflated(packed.text) : new Uint8Array(0);
  const length = packed.length;
  switch (packed.type) {
    case "f4": return new Float32Array(words(planes, length, 0, true).buffer);
    case "f8": return doubles(planes, length);
    case "u4": return words(planes, length, 0, false);
    case "u2": return new Uint16Array(words(planes, length, 0, false, 2));
    case "u1": return new Uint8Array(words(planes, length, 0, false, 1));
  }
}

/** @param {string} text base64 of raw DEFLATE */
async function inflated(text) {
  const letters = atob(text);
  const bytes = new Uint8Array(letters.length);
  for (let i = 0; i < bytes.length; i++) bytes[i] = letters.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

/**
 * Put byte planes together to whole numbers and undo the steps from one to the next.
 * @param {Uint8Array} planes
 * @param {number} length how many numbers
 * @param {number} first the lowest byte's plane
 * @param {boolean} xored each was XORed with the one before, else subtracted
 * @param {number} size bytes of a number
 */
function words(planes, length, first, xored, size = 4) {
  const numbers = new Uint32Array(length);
  const p0 = first * length;
  let last = 0;
  for (let i = 0; i < length; i++) {
    let step = planes[p0 + i];
    for (let byte = 1; byte < size; byte++) step |= planes[p0 + byte * length + i] << (8 * byte);
    last = xored ? last ^ step : (last + step) | 0;
    numbers[i] = last;
  }
  return numbers;
}

/**
 * @param {Uint8Array} planes
 * @param {number} length
 */
function doubles(planes, length) {
  const low = words(planes, length, 0, true);
  const high = words(planes, length, 4, true);
  const both = new Uint32Array(2 * length);
  for (let i = 0; i < length; i++) {
    both[2 * i] = low[i];
    both[2 * i + 1] = high[i];
  }
  return new Float64Array(both.buffer);
}
