// What is known of the selected line under the hook-up shown, and how the tone got there, hop by hop.

async function linePanel(page) {
  const { facts, tone, line: number } = page;
  if (number === null)
    return [
      element("p", {}, "Click a line on the map, or take one from the list: here stands how the tone gets there."),
    ];
  const line = facts.lines[number];
  const local = tone ? tone.window.lines.indexOf(line.line_id) : -1;
  const parts = [element("h2", {}, `${line.line_id} · ${words(line.utility)}`), lineFacts(line)];
  if (facts.dotted(line)) parts.push(element("p", { class: "note" }, `${line.line_id} is ${facts.still_there}.`));
  else if (local < 0)
    parts.push(
      element(
        "p",
        { class: "note" },
        "It isn't part of the network solved for this hook-up: nothing is predicted on it, and that says nothing about the ground.",
      ),
    );
  else parts.push(...(await tonePart(page, line, local)));
  parts.push(...stretchPart(page, line));
  return parts;
}

function lineFacts(line) {
  const depth =
    line.depth_m === null
      ? null
      : `${numberText(line.depth_m)} m to the axis${(line.assumed_columns || "").split(" ").includes("depth_m") ? ", assumed" : ""}`;
  return facts2([
    ["owner", line.owner],
    ["kind", [words(line.subtype), words(line.asset)].filter(Boolean).join(", ")],
    ["material", words(line.material)],
    ["diameter", line.diameter_mm === null ? null : `${numberText(line.diameter_mm)} mm`],
    ["depth", depth],
    ["status", words(line.status)],
    ["voltage", line.nominal_voltage_v === null ? null : `${numberText(line.nominal_voltage_v)} V`],
    ["quality level", line.quality_level && line.quality_level.toUpperCase()],
    ["assumed", (line.assumed_columns || "").replaceAll(" ", ", ")],
  ]);
}

async function tonePart(page, line, local) {
  const { facts, tone } = page;
  const best = tone.largest().find((row) => row.line === local);
  const parts = [element("h3", {}, `Under ${tone.hookup.hookup_id}, ${frequencyText(tone.frequency)}`)];
  if (!best || tone.step(best.section) === 0) {
    const most = mostOn(tone, local);
    parts.push(
      element(
        "p",
        {},
        `Under ${facts.steps.least_ma} mA all along it, as most likely` +
          (most > facts.steps.least_ma
            ? `; up to ${numberText(most)} mA in the worst of the cases: look at what the records leave open.`
            : ", and in every case."),
      ),
    );
    return parts;
  }
  const current = tone.current(best.section);
  const floor = tone.mA(tone.window.floor[best.section]);
  parts.push(
    facts2([
      ["largest current", rangeText(facts, current)],
      ["in the worst of the cases", `${numberText(mostOn(tone, local))} mA`],
      ["share of output", percentText(current.value / tone.outputMa)],
      ["sense there", local === tone.target ? "the target itself" : senseText(tone.sense(best.section))],
      ["grades", tone.graded.has(local) ? gradeLengths(tone, local) : notGraded(tone, best.section, floor)],
    ]),
  );
  if (local === tone.target) return parts;
  parts.push(element("h3", {}, "How the tone gets there"));
  const paths = await tone.facts.tones.pathsOf(tone.hookup, tone.frequency);
  const own = paths && paths.filter(([name]) => name === line.line_id);
  parts.push(...(own && own.length ? splitPaths(facts, own) : widestWay(page, line, local, current)));
  return parts;
}

function notGraded(tone, section, floor) {
  const heard = tone.heard(section) ? "a receiver would hear it" : "it is too faint for the receiver";
  return `not graded: this hook-up wasn't tried on it. By its current alone ${heard} (weakest usable: ${numberText(floor)} mA)`;
}

function mostOn(tone, local) {
  let most = 0;
  for (let k = 0; k < tone.count; k += 1) if (tone.window.line_of[k] === local) most = Math.max(most, tone.most(k));
  return most;
}

// The solved current split up by how it came: for the set-ups that the review chose.
function splitPaths(facts, paths) {
  const list = element("ol");
  for (const [, share, hops] of paths) {
    const item = element(
      "li",
      {},
      element("span", { class: "share", style: `width:${Math.min(90, Math.abs(share) * 90).toFixed(0)}px` }),
      element("strong", {}, percentText(Math.abs(share))),
    );
    if (share < 0) item.append(" against the rest");
    if (!hops.length) item.append(" further ways, each a small part");
    else {
      const steps = element("ol");
      for (const hop of hops) steps.append(element("li", {}, hopText(facts, hop)));
      item.append(steps);
    }
    list.append(item);
  }
  return [list];
}

function hopText(facts, [kind, from, to, through, before, after, evidence]) {
  const by = {
    "hook-up": `from the transmitter${through ? ` (${through})` : ""} onto ${to}`,
    conduction: `${from} → ${to} through ${through || "their junction"}`,
    bond: `${from} → ${to} through bond ${through || ""}`,
    "parallel run": `${from} → ${to} by induction, running beside it`,
    crossing: `${from} → ${to} by induction where they cross`,
    leakage: `${from} → ${to} through the soil${through ? `, from ${through}` : ""}`,
  }[kind];
  const sure = evidence ? `, ${evidence}` : "";
  return `${by || `${from} → ${to}`}${sure}: ${numberText(before)} mA before, ${numberText(after)} mA after`;
}

// For all other set-ups: the way over metal that carries most, and the lines it runs beside.
function widestWay(page, line, local, current) {
  const { facts, tone } = page;
  const way = tone.way(local);
  const parts = [
    element(
      "p",
      { class: "small" },
      "The file holds the full split for the set-ups of the plan only; for this one it holds the way over metal that carries most. corridor trace gives it in full.",
    ),
  ];
  if (way && way.length) {
    const list = element("ol");
    for (const hop of way)
      list.append(
        element(
          "li",
          {},
          `${hop.from} → ${hop.to} through ${hop.kind} ${hop.name}: ${numberText(hop.current)} mA through it`,
        ),
      );
    parts.push(list);
    const last = way[way.length - 1].current;
    if (last < current.value / 2)
      parts.push(
        element(
          "p",
          {},
          "That is less than half of what the line carries: most of it is induced, or comes through the soil.",
        ),
      );
  } else
    parts.push(element("p", {}, "No metal on record leads there: the tone is induced, or comes through the soil."));
  const beside = facts.parallel_runs
    .filter((run) => run.line_a === line.line_id || run.line_b === line.line_id)
    .map((run) => [run, run.line_a === line.line_id ? run.line_b : run.line_a])
    .sort((a, b) => a[0].separation_mean_m - b[0].separation_mean_m)
    .slice(0, 5);
  if (beside.length) {
    parts.push(element("p", {}, "It runs beside:"));
    parts.push(
      element(
        "ul",
        {},
        ...beside.map(([run, other]) =>
          element(
            "li",
            {},
            `${other} for ${numberText(run.length_m)} m, ${numberText(run.separation_mean_m)} m away`,
          ),
        ),
      ),
    );
  }
  return parts;
}

// What the strategy says of the line, stretch by stretch; its hook-ups can be chosen from here.
function stretchPart(page, line) {
  const rows = page.facts.stretches.get(line.line_id) || [];
  if (!rows.length) return [];
  const cells = rows.map((row) => {
    const hookup = page.facts.hookups[page.facts.hookupAt.get(row.hookup_id)];
    const name = hookup ? `${words(hookup.mode)} ${placeText(hookup)}, ${frequencyText(row.frequency_hz)}` : "none";
    const go =
      hookup && page.facts.selectable(hookup)
        ? element(
            "button",
            { type: "button", class: "go", onclick: () => page.choose({ hookup, frequency: row.frequency_hz }) },
            name,
          )
        : name;
    const worst =
      row.grade_worst && row.grade_worst !== row.grade ? `${row.grade}, at worst ${row.grade_worst}` : row.grade;
    return [
      `${row.from_m.toFixed(0)}–${row.to_m.toFixed(0)}`,
      go,
      worst + (row.mistaken_for ? `; mistaken for ${row.mistaken_for}` : ""),
      row.reason || "",
    ];
  });
  return [
    element("h3", {}, "What the review advises for it"),
    table(["m", "hook-up", "grade", "why"], cells, { caption: `Advice for ${line.line_id}` }),
  ];
}
