// Blocks of the page: base64 of bytes compressed with zlib, unpacked when they are needed.

function bytesOf(name) {
  const text = atob(document.getElementById(name).textContent.trim());
  const bytes = new Uint8Array(text.length);
  for (let k = 0; k < text.length; k += 1) bytes[k] = text.charCodeAt(k);
  return bytes;
}

async function inflated(name) {
  if (typeof DecompressionStream === "undefined") {
    throw new Error("this browser can't unpack the page's data: one of 2023 or later can");
  }
  const stream = new Blob([bytesOf(name)]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Response(stream).arrayBuffer();
}

async function jsonOf(name) {
  return JSON.parse(new TextDecoder().decode(await inflated(name)));
}

// Reads arrays one after another, each stored as planes of its bytes, low byte first.
class Planes {
  constructor(buffer) {
    this.bytes = new Uint8Array(buffer);
    this.used = 0;
  }

  unsigned(count) {
    const part = this.bytes.subarray(this.used, this.used + count);
    this.used += count;
    return part;
  }

  words(count, Kind) {
    const low = this.unsigned(count);
    const high = this.unsigned(count);
    const found = new Kind(count);
    for (let k = 0; k < count; k += 1) found[k] = low[k] | (high[k] << 8);
    return found;
  }
}

// Returns what a hook-up's block holds, as the Python side's `unpack` does: rows of frequencies, one after another.
function unpackTone(buffer, rows, sections, lines, stations) {
  const planes = new Planes(buffer);
  const current = planes.words(rows * sections, Uint16Array);
  for (let row = 0; row < rows; row += 1) {
    for (let k = row * sections + 1; k < (row + 1) * sections; k += 1) current[k] += current[k - 1];
  }
  const tone = { current };
  for (const name of ["low", "high", "sense"]) tone[name] = planes.unsigned(rows * sections);
  tone.way = planes.words(rows * lines, Int16Array);
  tone.wayCurrent = planes.words(rows * lines, Uint16Array);
  for (const name of ["peak", "peakLow", "peakHigh", "depthError"])
    tone[name] = planes.words(rows * stations, Int16Array);
  for (const name of ["grade", "gradeWorst"]) tone[name] = planes.unsigned(rows * stations);
  tone.maskedBy = planes.words(rows * stations, Int16Array);
  return tone;
}
