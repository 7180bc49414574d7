// The receiver along the selected line: current, pull of the peak and error of the depth.

class Profile {
  constructor(facts, plots) {
    this.facts = facts;
    this.plots = plots;
    this.source = (plot, name) => plots[plot].document.get_model_by_name(name);
    at("profile-key").append(
      "Left: current with its range over the cases; dotted: weakest that a receiver uses. Right: pull of the peak (orange, " +
        "with range, + to the left of the line's direction), error of the depth reading (blue, dashed), × masked; blue band: " +
        "pull within tolerance. Depth is to the centre of the current, not cover.",
    );
  }

  show(tone, number) {
    const line = number === null ? null : this.facts.lines[number];
    const local = tone && line ? tone.window.lines.indexOf(line.line_id) : -1;
    at("profile").classList.toggle("bare", local < 0);
    at("profile-title").textContent = line ? `Receiver along ${line.line_id}` : "Receiver along the selected line";
    if (local < 0) {
      at("profile-text").textContent = line
        ? this.facts.dotted(line)
          ? `${line.line_id}: ${this.facts.still_there}.`
          : `${line.line_id} isn't part of the network solved here: nothing is predicted on it.`
        : "No line is selected: click one on the map, or take it from the list.";
      return;
    }
    this.current(tone, local);
    this.pull(tone, local, line);
  }

  current(tone, local) {
    const { window } = tone;
    const rows = [];
    for (let k = 0; k < tone.count; k += 1) {
      if (window.line_of[k] === local)
        rows.push([(window.from[k] + window.to[k]) / 200, tone.current(k), tone.mA(window.floor[k])]);
    }
    const least = this.facts.steps.least_ma;
    const x = rows.map((row) => row[0]);
    const values = rows.map((row) => Math.max(row[1].value, least));
    const floor = rows.map((row) => row[2]);
    const low = rows.map((row) => Math.max(row[1].low, least));
    const high = rows.map((row) => Math.max(row[1].high, least));
    this.source("current", "current_range").data = { x, low, high };
    this.put("current", "current_line", [[x, values]]);
    this.put("current", "current_floor", [[x, floor]]);
    const plot = this.plots.current;
    plot.y_range.setv({
      start: 10 ** Math.floor(Math.log10(Math.min(...low, ...floor))),
      end: 10 ** Math.ceil(Math.log10(Math.max(...high, ...floor) * 1.01)),
    });
    this.extent = [Math.min(...rows.map((_, k) => x[k])), Math.max(...x)];
    plot.x_range.setv({ start: this.extent[0], end: Math.max(this.extent[1], this.extent[0] + 1) });
  }

  pull(tone, local, line) {
    const rows = tone.profile(local).filter((row) => row.grade);
    at("pull").classList.toggle("empty", !rows.length);
    const x = rows.map((row) => row.at);
    this.source("pull", "pull_range").data = {
      x,
      low: rows.map((row) => row.low),
      high: rows.map((row) => row.high),
    };
    this.put("pull", "pull_line", [[x, rows.map((row) => row.pull)]]);
    const deep = rows.filter((row) => row.depthError !== null);
    this.put("pull", "depth_line", [
      [deep.map((row) => row.at), deep.map((row) => Math.max(-3, Math.min(3, row.depthError)))],
    ]);
    const masked = rows.filter((row) => row.grade === "masked");
    this.source("pull", "masked").data = { x: masked.map((row) => row.at), y: masked.map((row) => row.pull) };
    const most = Math.max(
      0.5,
      ...rows.map((row) =>
        Math.max(Math.abs(row.low), Math.abs(row.high), Math.min(3, Math.abs(row.depthError || 0))),
      ),
    );
    this.plots.pull.y_range.setv({ start: -1.05 * most, end: 1.05 * most });
    this.plots.pull.x_range.setv({ start: this.extent[0], end: Math.max(this.extent[1], this.extent[0] + 1) });
    at("profile-text").textContent = rows.length
      ? this.words(tone, local, line, rows, masked)
      : `${line.line_id} under ${tone.hookup.hookup_id}: the review didn't grade this hook-up on this line, so that only its current is shown.`;
  }

  words(tone, local, line, rows, masked) {
    const worst = rows.reduce((a, b) => (Math.abs(b.pull) > Math.abs(a.pull) ? b : a));
    const deep = rows.filter((row) => row.depthError !== null);
    const parts = [`${line.line_id}: ${gradeLengths(tone, local)}`];
    const side = Math.abs(worst.pull) > this.facts.tolerance_m ? ` to the ${this.side(line, worst)}` : "";
    parts.push(`largest pull ${numberText(Math.abs(worst.pull))} m${side} at ${worst.at.toFixed(0)} m`);
    if (deep.length) {
      const wrong = deep.reduce((a, b) => (Math.abs(b.depthError) > Math.abs(a.depthError) ? b : a));
      parts.push(
        `depth reading off by up to ${wrong.depthError > 0 ? "+" : "−"}${numberText(Math.abs(wrong.depthError))} m at ${wrong.at.toFixed(0)} m`,
      );
    }
    const by = [...new Set(masked.map((row) => row.maskedBy).filter(Boolean))];
    if (masked.length)
      parts.push(
        `masked at ${masked.length} of ${rows.length} stations${by.length ? ` by ${by.slice(0, 4).join(", ")}` : ""}`,
      );
    return `${parts.join("; ")}.`;
  }

  // The compass side of a peak, from the line's direction at that distance.
  side(line, row) {
    let left = row.at * 100;
    const { xy } = line;
    for (let k = 0; k + 3 < xy.length; k += 2) {
      const [dx, dy] = [xy[k + 2] - xy[k], xy[k + 3] - xy[k + 1]];
      left -= Math.hypot(dx, dy);
      if (left <= 0 || k + 5 >= xy.length) return row.pull > 0 ? compassText(-dy, dx) : compassText(dy, -dx);
    }
    return "side";
  }

  put(plot, name, paths) {
    this.source(plot, name).data = {
      xs: paths.map((p) => p[0]),
      ys: paths.map((p) => p[1]),
      color: paths.map(() => ""),
      width: paths.map(() => 1),
      dash: paths.map(() => "solid"),
    };
  }
}
