// The tone of one hook-up at one frequency: currents, sense, grades and ways, read from its block.

class Tone {
  constructor(facts, hookup, window, arrays, frequency) {
    Object.assign(this, { facts, hookup, window, arrays });
    this.row = window.frequencies_hz.indexOf(frequency);
    this.frequency = frequency;
    this.count = window.line_of.length;
    [this.levelMa, this.outputMa, this.voltageV, this.loopOhm, this.limitedBy, this.chosen] =
      window.set[hookup.block.number][this.row];
    this.graded = new Map();
    let used = 0;
    for (const line of window.graded[hookup.block.number]) {
      const [from, to] = window.stationFrom.get(line);
      this.graded.set(line, { from, to, at: used });
      used += to - from;
    }
    this.stationCount = used;
    this.target = window.lines.indexOf(hookup.line_id);
  }

  static width(window, number) {
    return window.graded[number].reduce(
      (sum, line) => sum + window.stationFrom.get(line)[1] - window.stationFrom.get(line)[0],
      0,
    );
  }

  mA(step) {
    return this.facts.milliamperes[Math.min(step, this.facts.milliamperes.length - 1)];
  }

  step(section) {
    return this.arrays.current[this.row * this.count + section];
  }

  // Current of a section with its lowest and highest over the cases, mA; 0 is less than the file keeps.
  current(section) {
    const at = this.row * this.count + section;
    const value = this.mA(this.arrays.current[at]);
    const low =
      this.arrays.low[at] === this.facts.steps.down_to_nothing ? 0 : value / this.facts.factors[this.arrays.low[at]];
    return { value, low, high: this.most(section) };
  }

  // Highest current over the cases, mA.
  most(section) {
    const at = this.row * this.count + section;
    const above = this.arrays.high[at];
    return (this.mA(this.arrays.current[at]) || (above ? this.facts.steps.least_ma : 0)) * this.facts.factors[above];
  }

  sense(section) {
    return this.facts.vocabulary.senses[this.arrays.sense[this.row * this.count + section]];
  }

  // Grade at the station nearest to a section's middle; undefined where this hook-up wasn't graded on the line.
  grade(section) {
    const { window } = this;
    const own = this.graded.get(window.line_of[section]);
    if (!own) return undefined;
    const middle = (window.from[section] + window.to[section]) / 2;
    return this.gradeAt(own, this.nearestStation(own, middle));
  }

  // Whether a receiver would hear it over a long straight line of that depth: all that can be said where it isn't graded.
  heard(section) {
    return this.step(section) >= this.window.floor[section];
  }

  nearestStation(own, measure) {
    const { at } = this.window.stations;
    let best = own.from;
    for (let k = own.from; k < own.to; k += 1) if (Math.abs(at[k] - measure) < Math.abs(at[best] - measure)) best = k;
    return best;
  }

  gradeAt(own, station, worst = false) {
    const codes = worst ? this.arrays.gradeWorst : this.arrays.grade;
    const code = codes[this.row * this.stationCount + own.at + station - own.from];
    return code === this.facts.steps.not_graded ? undefined : this.facts.vocabulary.grades[code];
  }

  // What the receiver reads along a graded line: rows of distance, pull, depth error (m), grade and who masks.
  profile(line) {
    const own = this.graded.get(line);
    if (!own) return [];
    const rows = [];
    for (let k = own.from; k < own.to; k += 1) {
      const at = this.row * this.stationCount + own.at + k - own.from;
      const depth = this.arrays.depthError[at];
      const masked = this.arrays.maskedBy[at];
      rows.push({
        at: this.window.stations.at[k] / 100,
        grade: this.gradeAt(own, k),
        worst: this.gradeAt(own, k, true),
        pull: this.arrays.peak[at] / 100,
        low: this.arrays.peakLow[at] / 100,
        high: this.arrays.peakHigh[at] / 100,
        depthError: depth === this.facts.steps.no_depth ? null : depth / 100,
        maskedBy: masked < 0 ? null : this.window.lines[masked],
      });
    }
    return rows;
  }

  // Largest current on each line of the window, with the section where it flows; largest first.
  largest() {
    const best = new Map();
    for (let k = 0; k < this.count; k += 1) {
      const line = this.window.line_of[k];
      const now = best.get(line);
      if (now === undefined || this.step(k) > this.step(now)) best.set(line, k);
    }
    return [...best]
      .map(([line, section]) => ({ line, section }))
      .sort((a, b) => this.step(b.section) - this.step(a.section));
  }

  // Links of the widest way over metal from the hook-up's line, first one first; null where no metal leads.
  way(line) {
    const { links, lines } = this.window;
    const found = [];
    let here = line;
    while (here !== this.target) {
      const at = this.row * lines.length + here;
      const link = this.arrays.way[at];
      if (link < 0 || found.length > lines.length) return null;
      const [kind, name, a, b] = links[link];
      const before = a === here ? b : a;
      found.unshift({
        kind,
        name,
        from: lines[before],
        to: lines[here],
        current: this.mA(this.arrays.wayCurrent[at]),
      });
      here = before;
    }
    return found;
  }
}

class Tones {
  constructor(facts) {
    this.facts = facts;
    this.kept = new Map();
    this.ways = new Map();
  }

  // Unpacks a hook-up's block once; the last few stay.
  async of(hookup, frequency) {
    const { window, number } = hookup.block;
    const name = `tone-${window.number}-${number}`;
    if (!this.kept.has(name)) {
      const buffer = await inflated(name);
      const sizes = [
        window.frequencies_hz.length,
        window.line_of.length,
        window.lines.length,
        Tone.width(window, number),
      ];
      if (this.kept.size > 40) this.kept.delete(this.kept.keys().next().value);
      this.kept.set(name, unpackTone(buffer, ...sizes));
    }
    return new Tone(this.facts, hookup, window, this.kept.get(name), frequency);
  }

  // The ways tone took, split up in full; null where the review did that for other set-ups only.
  async pathsOf(hookup, frequency) {
    const number = this.facts.pathsAt.get(`${hookup.hookup_id}|${frequency}`);
    if (number === undefined) return null;
    if (!this.ways.has(number)) this.ways.set(number, await jsonOf(`paths-${number}`));
    return this.ways.get(number);
  }
}
