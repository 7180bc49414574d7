// The controls: list of hook-ups with its filters, frequencies, colourings, lines and tabs.

const TABS = [
  ["line", "Line", linePanel, true],
  ["plan", "Plan", planPanel, true],
  ["verify", "Verify first", verifyPanel],
  ["groups", "Bonded groups", groupsPanel],
  ["findings", "Findings", findingsPanel],
  ["cautions", "Cautions", cautionsPanel, true],
  ["waiting", "Not ready", waitingPanel],
];
const COLOURINGS = [
  ["tone", "tone"],
  ["most", "tone at most"],
  ["utility", "utility"],
  ["grade", "grade"],
  ["sense", "sense"],
];

class Controls {
  constructor(page) {
    this.page = page;
    const { facts } = page;
    for (const mode of [...new Set(facts.hookups.map((hookup) => hookup.mode))].sort())
      at("mode").append(element("option", { value: mode }, words(mode)));
    at("mode").addEventListener("change", () => this.fillHookups());
    at("find").addEventListener("input", () => this.fillHookups());
    at("hookup-list").addEventListener("change", (event) =>
      page.choose({ hookup: facts.hookups[Number(event.target.value)], look: true }),
    );
    this.radios(
      "colourings",
      "colouring",
      COLOURINGS.map(([value, text]) => ({ value, text })),
      (value) => page.choose({ colouring: value }),
    );
    at("line-list").append(
      element("option", { value: "" }, "none"),
      ...facts.lines.map((line, k) => element("option", { value: k }, `${line.line_id} · ${words(line.utility)}`)),
    );
    at("line-list").addEventListener("change", (event) =>
      page.choose({ line: event.target.value === "" ? null : Number(event.target.value), look: true, tab: "line" }),
    );
    this.makeTabs();
    this.fillHookups();
  }

  fillHookups() {
    const { facts } = this.page;
    const mode = at("mode").value;
    const wanted = at("find").value.trim().toLowerCase().split(/\s+/).filter(Boolean);
    const shown = facts.hookups
      .map((hookup, k) => ({ hookup, k, text: hookupText(hookup) }))
      .filter(
        ({ hookup, text }) =>
          (!mode || hookup.mode === mode) &&
          wanted.every((word) =>
            `${text} ${hookup.hookup_id} ${hookup.setups.map((s) => s.setup_id).join(" ")}`
              .toLowerCase()
              .includes(word),
          ),
      );
    const group = (label, rows, disabled) => {
      if (!rows.length) return [];
      const made = element("optgroup", { label });
      for (const { hookup, k, text } of rows)
        made.append(
          element(
            "option",
            { value: k, disabled, title: disabled ? `${hookup.missing} ${hookup.reason}` : hookup.hookup_id },
            text,
          ),
        );
      return [made];
    };
    const open = shown.filter(({ hookup }) => facts.selectable(hookup));
    const planned = open.filter(({ hookup }) => hookup.setups.length);
    const rest = open.filter(({ hookup }) => !hookup.setups.length);
    const closed = shown.filter(({ hookup }) => !facts.selectable(hookup));
    at("hookup-list").replaceChildren(
      ...group("READY, in the plan", planned, false),
      ...group("READY, others", rest, false),
      ...group("Not ready or refused: can't be chosen", closed, true),
    );
    at("hookup-count").textContent =
      `${open.length} READY, ${closed.length} not ready or refused, of ${facts.hookups.length}`;
    this.mark();
  }

  radios(id, name, rows, choose) {
    const field = at(id);
    for (const old of [...field.querySelectorAll("label")]) old.remove();
    for (const { value, text, why } of rows) {
      const input = element("input", { type: "radio", name, value, disabled: Boolean(why) });
      input.addEventListener("change", () => choose(value));
      field.append(element("label", { class: why ? "barred" : null, title: why || null }, input, ` ${text}`));
    }
  }

  fillFrequencies() {
    const { page } = this;
    const { hookup } = page;
    if (!hookup) return;
    const { window } = hookup.block;
    const rows = window.frequencies_hz.map((frequency) => ({
      value: frequency,
      text: frequencyText(frequency),
      why: window.barredWhy.get(`${hookup.hookup_id}|${frequency}`),
    }));
    const key = JSON.stringify(rows);
    if (key === this.frequencies) return;
    this.frequencies = key;
    this.radios("frequencies", "frequency", rows, (frequency) => page.choose({ frequency }));
  }

  // Scrolls a list to one of its options. scrollIntoView would also move the place from which the Tab key goes on.
  bringIntoView(list, option) {
    const row = option.getBoundingClientRect();
    const top = list.getBoundingClientRect().top + list.clientTop;
    const bottom = top + list.clientHeight;
    if (row.top < top) list.scrollTop -= Math.ceil(top - row.top);
    else if (row.bottom > bottom) list.scrollTop += Math.ceil(row.bottom - bottom);
  }

  // Shows in the controls what is chosen, however it was chosen.
  mark() {
    const { page } = this;
    const list = at("hookup-list");
    list.value = page.hookup ? String(page.facts.hookups.indexOf(page.hookup)) : "";
    const option = list.selectedOptions[0];
    if (option && document.activeElement !== list) this.bringIntoView(list, option);
    at("line-list").value = page.line === null ? "" : String(page.line);
    for (const [name, value] of [
      ["frequency", page.frequency],
      ["colouring", page.colouring],
    ]) {
      for (const input of document.getElementsByName(name)) input.checked = input.value === String(value);
    }
  }

  makeTabs() {
    TABS.forEach(([name, text], k) => {
      const button = element(
        "button",
        {
          type: "button",
          role: "tab",
          id: `tab-${name}`,
          "aria-controls": "panel-area",
          onclick: () => this.page.choose({ tab: name }),
        },
        text,
      );
      button.addEventListener("keydown", (event) => {
        const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
        if (!step) return;
        const next = TABS[(k + step + TABS.length) % TABS.length][0];
        this.page.choose({ tab: next });
        at(`tab-${next}`).focus();
      });
      at("tabs").append(button);
    });
  }

  async showTab() {
    const { page } = this;
    for (const [name] of TABS) {
      at(`tab-${name}`).setAttribute("aria-selected", String(name === page.tab));
      at(`tab-${name}`).tabIndex = name === page.tab ? 0 : -1;
    }
    const [, text, make, follows] = TABS.find(([name]) => name === page.tab);
    if (this.shown === page.tab && !follows) return;
    if (this.shown === page.tab && page.tab === "plan") {
      markNow(page);
      return;
    }
    const held =
      document.activeElement && at("panel-area").contains(document.activeElement)
        ? document.activeElement.textContent
        : null;
    const top = this.shown === page.tab ? at("panel-area").scrollTop : 0;
    const parts = await make(page);
    at("panel-area").replaceChildren(
      element("div", { class: "panel", role: "tabpanel", "aria-label": text, tabindex: 0 }, ...parts),
    );
    at("panel-area").scrollTop = top;
    this.shown = page.tab;
    if (page.tab === "plan") markNow(page);
    if (held) [...at("panel-area").querySelectorAll("button")].find((button) => button.textContent === held)?.focus();
  }
}
