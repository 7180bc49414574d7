// The map: pieces of lines drawn by tone, hook-ups, and what lies under the pointer.

const WIDTHS = [
  [100, 5],
  [10, 4],
  [1, 3],
  [0.1, 2.2],
  [0, 1.5],
]; // from current in mA, pixels
const CASING = 1.6;
const DASHED = [9, 4];
const DOTTED = [2, 4];
const NEAR_PX = 9;
const CLOSE_M_PER_PX = 0.12; // farther away the crosses of closed hook-ups would only hide lines

class PageMap {
  constructor(facts, plot) {
    this.facts = facts;
    this.plot = plot;
    this.x = plot.x_range;
    this.y = plot.y_range;
    this.source = (name) => plot.document.get_model_by_name(name);
    this.pieces = null;
    this.piecesOf = null;
    this.drawBackground();
    this.watch();
  }

  drawBackground() {
    const { facts } = this;
    const rings = facts.area.map((ring) => this.path(ring));
    this.source("area").data = { xs: rings.map((ring) => ring[0]), ys: rings.map((ring) => ring[1]) };
    const structures = facts.structures_xy.filter(Boolean).map((pair) => facts.metres(pair));
    this.source("structures").data = { x: structures.map((p) => p[0]), y: structures.map((p) => p[1]) };
    const bonds = facts.bonds_found
      .map((bond, k) => [bond, facts.metres(facts.bonds_found_xy[k])])
      .filter(([, p]) => p);
    this.source("bonds").data = {
      x: bonds.map(([, p]) => p[0]),
      y: bonds.map(([, p]) => p[1]),
      marker: bonds.map(() => "plus"),
      fill: bonds.map(([bond]) =>
        ["recorded", "observed", "measured"].includes(bond.evidence) ? "#1c1c1c" : "white",
      ),
    };
    this.open = facts.hookups.filter((hookup) => facts.selectable(hookup) && hookup.place);
    this.closed = facts.hookups.filter((hookup) => !facts.selectable(hookup) && hookup.place);
    for (const mode of ["direct", "clamp", "induction"])
      this.putPoints(
        mode,
        this.open.filter((hookup) => hookup.mode === mode),
      );
    this.putPoints("refused", this.closed);
  }

  putPoints(name, hookups) {
    this.source(name).data = { x: hookups.map((h) => h.place[0]), y: hookups.map((h) => h.place[1]) };
  }

  path(flat) {
    const xs = [];
    const ys = [];
    for (let k = 0; k < flat.length; k += 2) {
      const [x, y] = this.facts.metres([flat[k], flat[k + 1]]);
      xs.push(x);
      ys.push(y);
    }
    return [xs, ys];
  }

  // Pieces of one window: its sections, then the segments of all lines that aren't part of its network.
  setWindow(window) {
    if (this.pieces && this.window === window) return;
    this.window = window;
    const { facts } = this;
    const rows = [];
    const inside = new Set(window ? window.lineFacts : []);
    if (window) {
      window.line_of.forEach((line, k) => {
        const ends = window.xy.slice(4 * k, 4 * k + 4);
        rows.push([window.lineFacts[line], k, ...facts.metres(ends), ...facts.metres(ends.slice(2))]);
      });
    }
    facts.lines.forEach((line, number) => {
      if (inside.has(number)) return;
      for (let k = 0; k + 3 < line.xy.length; k += 2) {
        rows.push([number, -1, ...facts.metres(line.xy.slice(k)), ...facts.metres(line.xy.slice(k + 2))]);
      }
    });
    this.pieces = {
      count: rows.length,
      line: Int32Array.from(rows, (row) => row[0]),
      section: Int32Array.from(rows, (row) => row[1]),
      ends: Float64Array.from(rows.flatMap((row) => row.slice(2))),
    };
    this.piecesOf = new Map();
    rows.forEach(([line], k) => {
      if (!this.piecesOf.has(line)) this.piecesOf.set(line, []);
      this.piecesOf.get(line).push(k);
    });
  }

  draw(tone, colouring) {
    this.setWindow(tone ? tone.window : this.facts.windows[0] || null);
    this.tone = tone;
    const { pieces, facts } = this;
    const styles = new Styles(facts, tone, colouring);
    const buckets = new Map(WIDTHS.map(([, width]) => [width, []]));
    let run = null;
    for (let k = 0; k < pieces.count; k += 1) {
      const style = styles.of(pieces.line[k], pieces.section[k]);
      const e = 4 * k;
      const joined =
        run &&
        run.line === pieces.line[k] &&
        run.style === style &&
        run.x[run.x.length - 1] === pieces.ends[e] &&
        run.y[run.y.length - 1] === pieces.ends[e + 1];
      if (!joined) {
        run = { line: pieces.line[k], style, x: [pieces.ends[e]], y: [pieces.ends[e + 1]] };
        buckets.get(style.width).push(run);
      }
      run.x.push(pieces.ends[e + 2]);
      run.y.push(pieces.ends[e + 3]);
    }
    const runs = [...buckets.values()].reverse().flat();
    const columns = (list, more) => ({
      xs: list.map((r) => r.x),
      ys: list.map((r) => r.y),
      dash: list.map((r) => r.style.dash),
      color: list.map((r) => r.style.color),
      width: list.map((r) => r.style.width + more),
    });
    // grey threads need no dark edge; without it there is half as much to paint
    this.source("casing").data = columns(
      runs.filter((r) => r.style.color !== facts.colours.tone.less),
      CASING,
    );
    this.source("tone").data = columns(runs, 0);
    this.drawHookup(tone);
  }

  drawHookup(tone) {
    const hookup = tone && tone.hookup;
    const place = hookup && hookup.place;
    const marker = { direct: "square", clamp: "diamond", induction: "circle" }[hookup && hookup.mode] || "square";
    this.source("hookup").data = place
      ? { x: [place[0]], y: [place[1]], marker: [marker] }
      : { x: [], y: [], marker: [] };
    const stake = place && hookup.stake_x_m !== null ? [hookup.stake_x_m, hookup.stake_y_m] : null;
    this.source("stake").data = stake ? { x: [stake[0]], y: [stake[1]] } : { x: [], y: [] };
    this.source("lead").data = this.paths(
      stake
        ? [
            [
              [place[0], stake[0]],
              [place[1], stake[1]],
            ],
          ]
        : [],
    );
  }

  paths(list) {
    return {
      xs: list.map((p) => p[0]),
      ys: list.map((p) => p[1]),
      color: list.map(() => ""),
      width: list.map(() => 1),
      dash: list.map(() => "solid"),
    };
  }

  chooseLine(number) {
    this.source("chosen_line").data = this.paths(number === null ? [] : [this.path(this.facts.lines[number].xy)]);
  }

  hover(found) {
    const key = found ? `${found.line}|${found.piece}` : "";
    if (key === this.hovered) return;
    this.hovered = key;
    const e =
      found && found.piece !== undefined ? this.pieces.ends.subarray(4 * found.piece, 4 * found.piece + 4) : null;
    this.source("hovered").data = this.paths(
      e
        ? [
            [
              [e[0], e[2]],
              [e[1], e[3]],
            ],
          ]
        : [],
    );
  }

  // Shows closed hook-ups where there is room for them.
  declutter() {
    const visible = this.metresPerPixel <= CLOSE_M_PER_PX;
    const crosses = this.plot.renderers.find((renderer) => renderer.data_source.name === "refused");
    if (crosses.visible !== visible) crosses.visible = visible;
  }

  get metresPerPixel() {
    return (this.x.end - this.x.start) / Math.max(this.plot.inner_width, 1);
  }

  // What lies at a place: hook-ups that can be chosen, closed ones, and the nearest piece of a line.
  under(x, y) {
    const reach = NEAR_PX * this.metresPerPixel;
    const near = (list) =>
      list
        .map((hookup) => [Math.hypot(hookup.place[0] - x, hookup.place[1] - y), hookup])
        .filter(([away]) => away <= reach)
        .sort((a, b) => a[0] - b[0])
        .map(([, hookup]) => hookup);
    let best = -1;
    let least = reach ** 2;
    const { ends, count } = this.pieces;
    for (let k = 0; k < count; k += 1) {
      const e = 4 * k;
      const dx = ends[e + 2] - ends[e];
      const dy = ends[e + 3] - ends[e + 1];
      const share = Math.max(
        0,
        Math.min(1, ((x - ends[e]) * dx + (y - ends[e + 1]) * dy) / Math.max(dx * dx + dy * dy, 1e-12)),
      );
      const away = (x - ends[e] - share * dx) ** 2 + (y - ends[e + 1] - share * dy) ** 2;
      if (away < least) {
        least = away;
        best = k;
      }
    }
    const line = best < 0 ? null : { line: this.pieces.line[best], piece: best, section: this.pieces.section[best] };
    const closed = this.metresPerPixel <= CLOSE_M_PER_PX ? near(this.closed) : [];
    return { open: near(this.open), closed, line };
  }

  bounds() {
    const { facts } = this;
    const flat = facts.area.length ? facts.area.flat() : facts.lines.flatMap((line) => line.xy);
    const xs = flat.filter((_, k) => k % 2 === 0);
    const ys = flat.filter((_, k) => k % 2 === 1);
    const least = (list) => list.reduce((a, b) => Math.min(a, b), Infinity);
    const most = (list) => list.reduce((a, b) => Math.max(a, b), -Infinity);
    const [west, south] = facts.metres([least(xs), least(ys)]);
    const [east, north] = facts.metres([most(xs), most(ys)]);
    return [west, east, south, north];
  }

  show([west, east, south, north], margin = 1.06) {
    const width = Math.max(this.plot.inner_width, 1);
    const height = Math.max(this.plot.inner_height, 1);
    const scale = Math.max((east - west) / width, (north - south) / height, 0.002) * margin;
    this.centre((west + east) / 2, (south + north) / 2, scale);
  }

  centre(x, y, metresPerPixel) {
    const width = (Math.max(this.plot.inner_width, 1) * metresPerPixel) / 2;
    const height = (Math.max(this.plot.inner_height, 1) * metresPerPixel) / 2;
    this.x.setv({ start: x - width, end: x + width });
    this.y.setv({ start: y - height, end: y + height });
  }

  move(right, up) {
    const step = 0.15 * this.metresPerPixel;
    const [dx, dy] = [right * step * this.plot.inner_width, up * step * this.plot.inner_height];
    this.x.setv({ start: this.x.start + dx, end: this.x.end + dx });
    this.y.setv({ start: this.y.start + dy, end: this.y.end + dy });
  }

  zoom(factor) {
    this.centre((this.x.start + this.x.end) / 2, (this.y.start + this.y.end) / 2, this.metresPerPixel * factor);
  }

  // Keeps metres equal both ways, and all in view that was, after the window or the paper changed its size.
  refit() {
    this.fitting = true;
    this.show(this.wanted || this.bounds(), 1);
    this.fitting = false;
  }

  watch() {
    for (const range of [this.x, this.y]) {
      for (const name of ["start", "end"]) {
        range.properties[name].change.connect(() => {
          if (!this.fitting) this.wanted = [this.x.start, this.x.end, this.y.start, this.y.end];
        });
      }
    }
  }
}

// How a piece of line is drawn; equal styles are one object, so that neighbours join into one stroke.
class Styles {
  constructor(facts, tone, colouring) {
    Object.assign(this, { facts, tone, colouring });
    this.made = new Map();
  }

  of(line, section) {
    const record = this.facts.lines[line];
    const dotted = section < 0 && this.facts.dotted(record);
    const step = section >= 0 && this.tone ? this.tone.step(section) : 0;
    const most = this.colouring === "most" && section >= 0 && this.tone;
    const current = most ? this.tone.most(section) : step ? this.tone.mA(step) : 0;
    const width = WIDTHS.find(([from]) => current >= from)[1];
    const color = this.colour(record, section, current, dotted);
    const kind = dotted ? "dotted" : record.assumed ? "dashed" : "solid";
    const key = `${color}|${width}|${kind}`;
    if (!this.made.has(key))
      this.made.set(key, { color, width, dash: { solid: [], dashed: DASHED, dotted: DOTTED }[kind] });
    return this.made.get(key);
  }

  colour(record, section, current, dotted) {
    const { colours } = this.facts;
    if (this.colouring === "utility") return this.facts.colourOf(record);
    if (dotted) return colours.grades.untraceable;
    if (section < 0 || !this.tone) return colours.tone.less;
    if (this.colouring === "tone") return toneColour(colours.tone, current);
    if (this.colouring === "most") return toneColour(colours.tone, this.tone.most(section));
    if (current === 0) return colours.tone.less;
    if (this.colouring === "sense") return colours.senses[this.tone.sense(section)];
    const grade = this.tone.grade(section);
    return colours.grades[grade || (this.tone.heard(section) ? "heard" : "not heard")];
  }
}

function toneColour(scale, current) {
  if (current < scale.from_ma) return scale.less;
  const step = Math.floor(scale.per_decade * Math.log10(current / scale.from_ma) + 1e-9);
  return scale.steps[Math.min(step, scale.steps.length - 1)];
}
