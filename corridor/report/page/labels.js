// Names on the map: as many as have room at the present scale, those that matter most first.

const LETTER_PX = 6.9;
const LABEL_PX = 15;
const APART_PX = 7; // or lines would vanish behind their names
const LABELS_MAX = 90;

class Labels {
  constructor(map) {
    this.map = map;
    this.waiting = false;
    this.shown = "";
    for (const range of [map.x, map.y]) {
      for (const name of ["start", "end"]) range.properties[name].change.connect(() => this.later());
    }
  }

  later() {
    if (this.waiting) return;
    this.waiting = true;
    setTimeout(() => {
      this.waiting = false;
      this.place();
    }, 60);
  }

  place() {
    const { map } = this;
    if (!map.pieces) return;
    map.declutter();
    const scale = map.metresPerPixel;
    const taken = [];
    const rows = [];
    const put = (text, x, y, dx, dy, color) => {
      const px = (x - map.x.start) / scale + dx;
      const py = (map.y.end - y) / scale + dy;
      const box = [
        px - (text.length * LETTER_PX) / 2 - 3,
        py - LABEL_PX / 2,
        px + (text.length * LETTER_PX) / 2 + 3,
        py + LABEL_PX / 2,
      ];
      const apart = [box[0] - APART_PX, box[1] - APART_PX, box[2] + APART_PX, box[3] + APART_PX];
      if (box[0] < 0 || box[1] < 0 || box[2] > map.plot.inner_width || box[3] > map.plot.inner_height) return false;
      if (taken.some((b) => b[0] < apart[2] && apart[0] < b[2] && b[1] < apart[3] && apart[1] < b[3])) return false;
      taken.push(box);
      rows.push({ x, y, text, dx, dy, color });
      return true;
    };
    this.keepClear(taken, scale);
    const { hookup, frequency } = map.tone || {};
    const setups = hookup ? hookup.setups.filter((setup) => setup.frequency_hz === frequency) : [];
    if (setups.length && hookup.place)
      put(setups.map((setup) => setup.setup_id).join(" "), ...hookup.place, 0, -22, "#1c1c1c");
    for (const number of this.order()) {
      if (rows.length >= LABELS_MAX) break;
      const line = map.facts.lines[number];
      for (const [x, y] of this.places(number)) if (put(shortText(line.line_id), x, y, 0, 0, "#1c1c1c")) break;
    }
    const key = rows.map((row) => `${row.text}|${row.x}|${row.y}`).join();
    if (key === this.shown) return;
    this.shown = key;
    const columns = ["x", "y", "text", "dx", "dy", "color"];
    map.source("labels").data = Object.fromEntries(columns.map((name) => [name, rows.map((row) => row[name])]));
  }

  // Leaves the chosen hook-up, its stake and the corners with buttons, arrow and scale bar uncovered.
  keepClear(taken, scale) {
    const { map } = this;
    const { inner_width: width, inner_height: height } = map.plot;
    taken.push([0, 0, 260, 40], [width - 46, 0, width, 60], [width - 190, height - 60, width, height]);
    for (const name of ["hookup", "stake"]) {
      const { x, y } = map.source(name).data;
      if (!x.length) continue;
      const px = (x[0] - map.x.start) / scale;
      const py = (map.y.end - y[0]) / scale;
      taken.push([px - 12, py - 12, px + 12, py + 12]);
    }
  }

  order() {
    const { map } = this;
    const first = [];
    if (map.tone) {
      first.push(map.facts.lineAt.get(map.tone.hookup.line_id));
      for (const row of map.tone.largest()) first.push(map.tone.window.lineFacts[row.line]);
    }
    return [...new Set([...first, ...map.facts.lines.keys()])];
  }

  // Middles of a line's longest stretches in view, a few to try.
  places(number) {
    const { map } = this;
    const inside = (map.piecesOf.get(number) || []).filter((k) => {
      const [x0, y0, x1, y1] = map.pieces.ends.subarray(4 * k, 4 * k + 4);
      const [x, y] = [(x0 + x1) / 2, (y0 + y1) / 2];
      return x > map.x.start && x < map.x.end && y > map.y.start && y < map.y.end;
    });
    const tried = inside.length
      ? [0.5, 0.3, 0.7, 0.15, 0.85].map((share) => inside[Math.floor(share * inside.length)])
      : [];
    return tried.map((k) => {
      const [x0, y0, x1, y1] = map.pieces.ends.subarray(4 * k, 4 * k + 4);
      return [(x0 + x1) / 2, (y0 + y1) / 2];
    });
  }
}

function shortText(text) {
  return text.length > 18 ? `${text.slice(0, 17)}…` : text;
}
