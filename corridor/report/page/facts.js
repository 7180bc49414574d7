// The review's facts with names instead of columns, and what belongs together joined once.

class Facts {
  constructor(raw) {
    Object.assign(this, raw);
    for (const [name, columns] of Object.entries(raw.columns)) {
      this[name] = raw[name].map((row) => Object.fromEntries(columns.map((column, k) => [column, row[k]])));
    }
    this.lineAt = new Map(this.lines.map((line, k) => [line.line_id, k]));
    this.hookupAt = new Map(this.hookups.map((hookup, k) => [hookup.hookup_id, k]));
    this.lines.forEach((line, k) => {
      line.xy = raw.line_xy[k];
    });
    this.hookups.forEach((hookup, k) => {
      hookup.place = this.metres(raw.hookups_xy[k]);
      hookup.setups = [];
    });
    for (const setup of this.setups) {
      const at = this.hookupAt.get(setup.hookup_id);
      if (at !== undefined) this.hookups[at].setups.push(setup);
    }
    const { least_ma: least, per_decade: per, range_per_decade: perRange } = this.steps;
    this.milliamperes = Float64Array.from({ length: 2048 }, (_, step) =>
      step ? least * 10 ** ((step - 1) / per) : 0,
    );
    this.factors = Float64Array.from({ length: 256 }, (_, step) => 10 ** (step / perRange));
    this.windows.forEach((window, number) => this.joinWindow(window, number));
    this.pathsAt = new Map(this.paths.map(([hookup, frequency], k) => [`${hookup}|${frequency}`, k]));
    this.stretches = new Map();
    for (const row of this.strategy) {
      if (!this.stretches.has(row.line_id)) this.stretches.set(row.line_id, []);
      this.stretches.get(row.line_id).push(row);
    }
  }

  joinWindow(window, number) {
    window.number = number;
    window.lineFacts = window.lines.map((name) => this.lineAt.get(name));
    window.barredWhy = new Map(window.barred.map(([name, frequency, why]) => [`${name}|${frequency}`, why]));
    window.stationFrom = new Map();
    window.stations.line_of.forEach((line, k) => {
      const range = window.stationFrom.get(line) || [k, 0];
      range[1] = k + 1;
      window.stationFrom.set(line, range);
    });
    window.hookups.forEach((name, k) => {
      const hookup = this.hookups[this.hookupAt.get(name)];
      if (hookup && hookup.ready === "ready" && window.kept[k]) hookup.block = { window, number: k };
    });
  }

  metres(pair) {
    return pair ? [this.origin_m[0] + pair[0] / 100, this.origin_m[1] + pair[1] / 100] : null;
  }

  selectable(hookup) {
    return hookup.ready === "ready" && hookup.block !== undefined;
  }

  dotted(line) {
    return line.conductive !== "yes";
  }

  colourOf(line) {
    return this.colours.utilities[line.utility] || this.colours.unknown;
  }
}
