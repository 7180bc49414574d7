// The panels of tables: plan, what to verify first, groups, findings, cautions, and hook-ups that aren't ready.

function planPanel(page) {
  const { facts } = page;
  const { plan } = facts;
  const parts = [];
  if (facts.generic)
    parts.push(
      element("p", { class: "note" }, "Generic equipment: rerun with your equipment before anybody goes out."),
    );
  if (plan.setups !== undefined && plan.setups !== null) {
    parts.push(
      element(
        "p",
        {},
        `${plan.setups} set-ups at ${plan.hookups} hook-ups, ${numberText(plan.walk_m)} m to walk: ` +
          `${numberText(plan.readable_m)} of ${numberText(plan.targets_m)} m readable, ` +
          `mean over ${plan.draws} ${plan.drawn ? "draws" : "cases"}. A row's button shows the set-up on the map.`,
      ),
    );
  }
  const rows = facts.setups.map((setup) => {
    const at = facts.hookupAt.get(setup.hookup_id);
    const hookup = at === undefined ? null : facts.hookups[at];
    if (!hookup) return [setup.step, setup.setup_id, setup.note || setup.kind, null, null, ""];
    const can = facts.selectable(hookup);
    const go = element(
      "button",
      {
        type: "button",
        class: "go",
        disabled: !can,
        onclick: () => page.choose({ hookup, frequency: setup.frequency_hz, look: true }),
      },
      setup.setup_id,
    );
    const what =
      `${words(setup.mode)} on ${setup.line_id}, ${placeText(hookup)}, ${frequencyText(setup.frequency_hz)}, ${numberText(setup.level_ma)} mA` +
      `${setup.crew > 1 ? `, crew ${setup.crew}` : ""}; traces ${setup.covers || ""}`;
    return [
      setup.step,
      go,
      what,
      setup.readable_m,
      setup.length_m,
      setup.ready === "ready" ? "READY" : `NOT READY: ${setup.missing}`,
    ];
  });
  parts.push(
    table(["step", "set-up", "what", "m readable", "of m", ""], rows, { caption: "Set-ups in walking order" }),
  );
  return parts;
}

// Marks in the plan's table the set-up that is shown.
function markNow(page) {
  const now = page.facts.setups.map(
    (s) => page.hookup !== null && s.hookup_id === page.hookup.hookup_id && s.frequency_hz === page.frequency,
  );
  at("panel-area")
    .querySelectorAll("tbody tr")
    .forEach((row, k) => {
      row.classList.toggle("now", now[k]);
      if (now[k]) row.setAttribute("aria-current", "step");
      else row.removeAttribute("aria-current");
    });
}

function verifyPanel(page) {
  const rows = page.facts.verify_first;
  if (!rows.length) {
    return [
      element(
        "p",
        {},
        "Only a plan ranks what to verify first: it chooses on draws of what the records don't know. The command is plan; a review doesn't draw.",
      ),
    ];
  }
  return [
    element("p", {}, "What the records leave open, by what knowing it would bring."),
    table(
      ["rank", "what", "gain m", "where to look"],
      rows.map((row) => [
        row.rank,
        `${row.unknown}${row.probability === null ? "" : ` (conducts with ${percentText(row.probability)})`}`,
        row.gain_m,
        `${row.where_to_look || ""}${row.stands_out ? "" : " — no more than chance gives"}`,
      ]),
      { caption: "What to verify first" },
    ),
  ];
}

function groupsPanel(page) {
  const { facts } = page;
  const parts = [
    element(
      "p",
      {},
      "Lines that share metal, by the evidence needed to join them: tone on one goes onto the others.",
    ),
  ];
  for (const level of ["recorded", "likely", "possible"]) {
    const groups = facts.bonded_groups.filter((group) => group.level === level);
    if (!groups.length) continue;
    parts.push(element("h3", {}, `${level}: ${groups.length} group${groups.length > 1 ? "s" : ""}`));
    const rows = groups.map((group) => {
      const lines = element("span");
      for (const name of group.line_ids.split(" ")) lines.append(lineButton(page, name), " ");
      return [
        group.line_count,
        lines,
        group.length_m,
        `${group.evidence_weakest || ""} ${group.probability === null ? "" : percentText(group.probability)}`,
      ];
    });
    parts.push(table(["lines", "which", "m", "weakest link"], rows, { caption: `Groups at level ${level}` }));
  }
  return parts;
}

function findingsPanel(page) {
  const { facts } = page;
  const order = ["severe", "warning", "note"];
  const rows = [...facts.findings].sort((a, b) => order.indexOf(a.severity) - order.indexOf(b.severity));
  const counts = order
    .map((severity) => `${rows.filter((row) => row.severity === severity).length} ${severity}`)
    .join(", ");
  return [
    element("p", {}, `What a reader of the records must know: ${counts}.`),
    table(
      ["severity", "line", "what", "action"],
      rows.map((row) => [
        row.severity + (row.accepted_by ? `, accepted by ${row.accepted_by}` : ""),
        lineButton(page, row.line_id),
        `${row.message} (${row.code}${row.owner ? `, ${row.owner}` : ""})`,
        row.action,
      ]),
      { caption: "Findings on the records" },
    ),
  ];
}

function lineButton(page, name) {
  const number = page.facts.lineAt.get(name);
  if (number === undefined) return element("span", { class: "name" }, name || "");
  const look = () => page.choose({ line: number, look: true });
  return element("button", { type: "button", class: "go name", onclick: look }, name);
}

function cautionsPanel(page) {
  const { facts, hookup } = page;
  const parts = [element("p", { class: "note" }, facts.caution)];
  if (facts.generic) parts.push(element("p", { class: "note" }, "Generic equipment: rerun with your equipment."));
  if (hookup) {
    parts.push(element("h3", {}, `This hook-up: ${hookup.hookup_id}`));
    parts.push(
      facts2([
        [
          "stands",
          hookup.ready === "ready"
            ? "READY by the records and the gate; licensed practice, owners' rules and local codes come first"
            : `NOT READY: ${hookup.missing}`,
        ],
        ["permit", hookup.permit_by],
        ["why", hookup.reason],
        ["far end", hookup.far_end],
        [
          "stake",
          hookup.stake_bearing_deg === null
            ? null
            : `${hookup.stake_bearing_deg.toFixed(0)}° from grid north, ${numberText(hookup.stake_distance_m)} m`,
        ],
        ["caution", hookup.caution || "none of its own; the general ones hold"],
      ]),
    );
  }
  const texts = new Map();
  const add = (text, whose) => {
    if (text) texts.set(text, [...(texts.get(text) || []), whose]);
  };
  facts.setups.forEach((setup) => add(setup.caution, setup.setup_id));
  facts.strategy.forEach((row) => add(row.caution, row.line_id));
  if (texts.size) {
    parts.push(element("h3", {}, "Of set-ups and stretches"));
    parts.push(
      table(
        ["caution", "for"],
        [...texts].map(([text, whose]) => [text, [...new Set(whose)].join(" ")]),
        { caption: "Cautions" },
      ),
    );
  }
  if (facts.notes.length)
    parts.push(element("h3", {}, "Notes"), element("ul", {}, ...facts.notes.map((note) => element("li", {}, note))));
  parts.push(
    element("h3", {}, "What it rests on"),
    facts2([
      ["equipment", facts.equipment],
      ["soil", facts.soil],
      ["reach", facts.reach],
      ["cases", facts.cases.join("; ")],
    ]),
  );
  return parts;
}

function waitingPanel(page) {
  const { facts } = page;
  const rows = facts.hookups.filter((hookup) => !facts.selectable(hookup));
  return [
    element(
      "p",
      {},
      `${rows.length} hook-ups can't be chosen here. NOT READY waits for what is missing; refused stays so whatever the solution says.`,
    ),
    table(
      ["stands", "hook-up", "what is missing", "why"],
      rows.map((row) => [
        { not_ready: "NOT READY", refused: "refused" }[row.ready] || "READY",
        row.hookup_id,
        row.ready === "ready" ? NOT_HELD : row.missing || "",
        row.reason || "",
      ]),
      { caption: "Hook-ups that are not ready or refused" },
    ),
  ];
}
