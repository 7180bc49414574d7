// The page: what is chosen, and what follows from a choice.

class Page {
  constructor(facts) {
    this.facts = facts;
    facts.tones = new Tones(facts);
    Object.assign(this, {
      hookup: null,
      frequency: null,
      line: null,
      colouring: "tone",
      tab: "plan",
      tone: null,
      turn: 0,
    });
  }

  async begin() {
    const { facts } = this;
    const plots = JSON.parse(at("plots").textContent);
    const models = {};
    for (const name of ["map", "current", "pull"]) {
      const views = await Bokeh.embed.embed_item(plots[name], name);
      [models[name]] = [...views].map((view) => view.model);
    }
    this.map = new PageMap(facts, models.map);
    this.labels = new Labels(this.map);
    this.profile = new Profile(facts, models);
    this.controls = new Controls(this);
    at("made").textContent = `Made by ${facts.made_by}. ${facts.equipment}. Coordinates: ${facts.crs}.`;
    this.listen();
    const first = facts.setups
      .map((setup) => facts.hookups[facts.hookupAt.get(setup.hookup_id)])
      .find((hookup) => hookup && facts.selectable(hookup));
    const hookup = first || facts.hookups.find((one) => facts.selectable(one)) || null;
    if (!hookup) this.colouring = "utility";
    await this.choose({ hookup });
    this.map.show(this.map.bounds());
    document.body.classList.add("begun"); // the plots change their size by a pixel: that wipes what they drew while empty
  }

  // The only way to change what is shown; returns when it has been drawn.
  async choose({ hookup, frequency, line, colouring, tab, look = false }) {
    this.turn += 1;
    const { turn, facts } = this;
    const before = { hookup: this.hookup, line: this.line };
    if (hookup !== undefined) this.hookup = hookup;
    if (frequency !== undefined) this.frequency = frequency;
    if (colouring !== undefined) this.colouring = colouring;
    if (tab !== undefined) this.tab = tab;
    if (line !== undefined) this.line = line;
    else if (
      hookup &&
      (before.line === null || before.hookup === null || before.line === facts.lineAt.get(before.hookup.line_id))
    ) {
      this.line = facts.lineAt.get(hookup.line_id) ?? null;
    }
    if (this.hookup) {
      this.frequency = this.usable(this.hookup, this.frequency, hookup !== undefined && frequency === undefined);
      const tone = this.frequency === null ? null : await facts.tones.of(this.hookup, this.frequency);
      if (turn !== this.turn) return;
      this.tone = tone;
    }
    this.point(null);
    await this.show({ look, moved: hookup !== undefined, lined: line !== undefined });
  }

  // A frequency that may be used: that of the plan for a hook-up just chosen, else the one shown, else the first open.
  usable(hookup, frequency, fresh) {
    const { window } = hookup.block;
    const open = (one) => window.frequencies_hz.includes(one) && !window.barredWhy.has(`${hookup.hookup_id}|${one}`);
    const planned = hookup.setups.map((setup) => setup.frequency_hz).filter(open);
    if (fresh && planned.length && !planned.includes(frequency)) return planned[0];
    return open(frequency) ? frequency : (planned[0] ?? window.frequencies_hz.find(open) ?? null);
  }

  async show({ look, moved, lined }) {
    const { facts, tone } = this;
    this.map.draw(tone, this.colouring);
    this.map.chooseLine(this.line);
    if (look && moved && this.hookup?.place) this.bringInView(...this.hookup.place);
    if (look && lined && this.line !== null) this.lookAtLine();
    drawLegend(facts, this.colouring);
    this.controls.fillFrequencies();
    this.controls.mark();
    const text = tone
      ? resultText(tone)
      : this.hookup
        ? `${this.hookup.hookup_id}: no frequency may be used.`
        : "No hook-up is ready: recorded lines are shown without tone.";
    at("result-text").textContent = text;
    at("said").textContent = lined && this.line !== null ? `${facts.lines[this.line].line_id} selected.` : text;
    at("result-badge").replaceChildren(...this.badges());
    this.profile.show(tone, this.line);
    await this.controls.showTab();
    this.labels.place();
    await painted();
  }

  badges() {
    if (!this.hookup) return [element("span", { class: "badge not" }, "NOT READY")];
    const made = [element("span", { class: "badge" }, "READY")];
    if (this.facts.generic)
      made.push(element("p", { class: "small" }, "generic equipment:", element("br"), "rerun with yours"));
    return made;
  }

  bringInView(x, y) {
    const { map } = this;
    const inside = x > map.x.start && x < map.x.end && y > map.y.start && y < map.y.end;
    if (!inside) map.centre(x, y, map.metresPerPixel);
  }

  lookAtLine() {
    const [xs, ys] = this.map.path(this.facts.lines[this.line].xy);
    const shown = xs.some(
      (x, k) => x > this.map.x.start && x < this.map.x.end && ys[k] > this.map.y.start && ys[k] < this.map.y.end,
    );
    if (!shown) this.map.centre(xs[xs.length >> 1], ys[ys.length >> 1], this.map.metresPerPixel);
  }

  listen() {
    const { map } = this;
    const { plot } = map;
    plot.on_event("tap", (event) => this.click(event.x, event.y));
    plot.on_event("mousemove", (event) => this.point(event.x, event.y));
    plot.on_event("mouseleave", () => this.point(null));
    at("map").addEventListener(
      "pointermove",
      (event) => {
        this.pointer = [event.clientX, event.clientY];
      },
      true,
    );
    for (const name of ["inner_width", "inner_height"]) plot.properties[name].change.connect(() => map.refit());
    at("zoom-in").addEventListener("click", () => map.zoom(0.7));
    at("zoom-out").addEventListener("click", () => map.zoom(1 / 0.7));
    at("zoom-all").addEventListener("click", () => map.show(map.bounds()));
    at("zoom-here").addEventListener("click", () => this.hookup?.place && map.centre(...this.hookup.place, 0.05));
    at("map").addEventListener("keydown", (event) => this.key(event));
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape") this.point(null);
    });
  }

  key(event) {
    const { map } = this;
    if (event.target !== at("map") || event.ctrlKey || event.metaKey || event.altKey) return;
    const step = (by) => {
      const count = this.facts.lines.length;
      const from = this.line === null ? (by > 0 ? -1 : 0) : this.line;
      this.choose({ line: (from + by + count) % count, look: true, tab: "line" });
    };
    const actions = {
      ArrowLeft: () => map.move(-1, 0),
      ArrowRight: () => map.move(1, 0),
      ArrowUp: () => map.move(0, 1),
      ArrowDown: () => map.move(0, -1),
      "+": () => map.zoom(0.7),
      "=": () => map.zoom(0.7),
      "-": () => map.zoom(1 / 0.7),
      0: () => map.show(map.bounds()),
      n: () => step(1),
      p: () => step(-1),
    };
    const act = actions[event.key] || actions[event.key.toLowerCase()];
    if (!act) return;
    event.preventDefault();
    act();
  }

  click(x, y) {
    const { open, closed, line } = this.map.under(x, y);
    if (open.length) {
      const next = open[(open.indexOf(this.hookup) + 1) % open.length];
      this.choose({ hookup: next });
    } else if (line) this.choose({ line: line.line, tab: "line" });
    else if (closed.length) this.choose({ tab: "waiting" });
  }

  point(x, y) {
    const hint = at("hint");
    this.place = x === null ? null : [x, y];
    const found = x === null ? { open: [], closed: [], line: null } : this.map.under(x, y);
    const hookup = found.open[0] || (found.line ? null : found.closed[0]);
    this.map.hover(hookup ? null : found.line);
    hint.hidden = !hookup && !found.line;
    if (hint.hidden) return;
    const lines = hookup ? this.hookupHint(hookup, found.open.length) : this.lineHint(found.line);
    hint.replaceChildren(...lines.map((text, k) => element("p", { class: k ? null : "first" }, text)));
    const [left, top] = this.pointer || [0, 0];
    hint.style.left = `${Math.min(left + 14, innerWidth - hint.offsetWidth - 8)}px`;
    hint.style.top = `${Math.min(top + 14, innerHeight - hint.offsetHeight - 8)}px`;
  }

  hookupHint(hookup, count) {
    const setups = hookup.setups.map((s) => `${s.setup_id} at ${frequencyText(s.frequency_hz)}`).join(", ");
    return [
      `${words(hookup.mode)} on ${hookup.line_id}, ${placeText(hookup)}`,
      this.facts.selectable(hookup)
        ? `READY${setups ? `; ${setups}` : ""}. Click to see it.`
        : hookup.ready === "ready"
          ? `READY, but ${NOT_HELD}`
          : `${hookup.ready === "refused" ? "Refused" : "NOT READY"}: ${hookup.missing || hookup.reason}`,
      ...(count > 1 ? [`${count} hook-ups here: click again for the next`] : []),
    ];
  }

  lineHint({ line: number, section }) {
    const { facts, tone } = this;
    const line = facts.lines[number];
    const said = [`${line.line_id} · ${words(line.utility)}${line.material ? `, ${words(line.material)}` : ""}`];
    if (section < 0 || !tone) {
      said.push(
        facts.dotted(line)
          ? facts.still_there
          : tone
            ? "not part of the network solved for this hook-up"
            : "no tone is predicted",
      );
    } else {
      const current = tone.current(section);
      said.push(rangeText(facts, current));
      said.push(
        `${percentText(current.value / tone.outputMa)} of the output, ${tone.window.line_of[section] === tone.target ? "the target" : senseText(tone.sense(section))}`,
      );
      said.push(tone.grade(section) ? `grade: ${tone.grade(section)}` : "not graded for this hook-up");
    }
    if (line.assumed) said.push(`assumed: ${(line.assumed_columns || "").replaceAll(" ", ", ")}`);
    return said;
  }
}

// Resolves once the browser has painted what was changed.
function painted() {
  return new Promise((done) => requestAnimationFrame(() => setTimeout(done, 0)));
}

async function start() {
  try {
    const page = new Page(new Facts(await jsonOf("facts")));
    await page.begin();
    window.corridorPage = page;
    document.body.dataset.ready = "yes";
  } catch (error) {
    at("result-text").textContent = `The page can't be shown: ${error.message}`;
    throw error;
  }
}

start();
