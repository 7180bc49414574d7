// Numbers and sentences as people read them.

function numberText(value) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "?";
  if (Number.isInteger(value) && Math.abs(value) < 1e6) return String(value);
  const digits = Math.max(0, 1 - Math.floor(Math.log10(Math.abs(value))));
  return value.toFixed(Math.min(digits, 4));
}

function currentText(facts, value) {
  return value === 0 ? `under ${facts.steps.least_ma}` : numberText(value);
}

function rangeText(facts, current) {
  const low = currentText(facts, current.low);
  return `${currentText(facts, current.value)} mA (${low} to ${currentText(facts, current.high)})`;
}

function percentText(share) {
  const value = 100 * share;
  if (value > 0 && value < 1) return "under 1 %";
  return value > 1000 ? `${share.toFixed(0)} times` : `${value.toFixed(0)} %`;
}

function frequencyText(frequency) {
  return frequency >= 1000 ? `${frequency / 1000} kHz` : `${frequency} Hz`;
}

function words(text) {
  return text === null || text === undefined ? "" : String(text).replaceAll("_", " ");
}

function senseText(sense) {
  return { same: "with the target", opposite: "against the target", unclear: "sense unclear" }[sense];
}

function placeText(hookup) {
  return hookup.structure_id === null ? `at ${numberText(hookup.at_m)} m` : hookup.structure_id;
}

const NOT_HELD = "its tone isn't in this file; corridor trace shows it";

function hookupText(hookup) {
  const [first, ...others] = hookup.setups.map((setup) => setup.setup_id);
  const many = others.length ? `${first} +${others.length}` : first || "";
  if (hookup.ready === "ready" && !hookup.block)
    return `${hookup.line_id} · ${hookup.mode} · ${placeText(hookup)} · READY, but ${NOT_HELD}`;
  const stand = { ready: "", not_ready: "NOT READY: ", refused: "refused: " }[hookup.ready] || "";
  const why = stand ? `${stand}${hookup.missing || hookup.reason || ""}` : many;
  return [hookup.line_id, hookup.mode, placeText(hookup), why].filter(Boolean).join(" · ");
}

const COMPASS = ["east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east"];

function compassText(dx, dy) {
  return COMPASS[(Math.round(Math.atan2(dy, dx) / (Math.PI / 4)) + 8) % 8];
}

// One sentence on what a hook-up does, for everybody: it is shown, and spoken where a screen is read aloud.
function resultText(tone) {
  const { facts, hookup, window } = tone;
  const lines = tone.largest();
  const own = lines.find((row) => row.line === tone.target);
  const parts = [
    `${words(hookup.mode)} on ${hookup.line_id}, ${placeText(hookup)}, ${frequencyText(tone.frequency)}: output for ` +
      `${numberText(tone.levelMa)} mA` +
      (tone.limitedBy === "level"
        ? ""
        : `, held to ${numberText(tone.outputMa)} mA by the source's ${tone.limitedBy} limit`) +
      (hookup.mode === "direct" ? `, ${numberText(tone.voltageV)} V, ${numberText(tone.loopOhm)} Ω` : "") +
      ".",
  ];
  if (own)
    parts.push(
      `${hookup.line_id} carries up to ${rangeText(facts, tone.current(own.section))}; ${gradeLengths(tone, tone.target)}.`,
    );
  const others = lines.filter((row) => row.line !== tone.target && tone.step(row.section) > 0);
  const partners = others.filter((row) => tone.current(row.section).value >= facts.partner_share * tone.outputMa);
  const told = partners.slice(0, 3).map((row) => {
    const { value } = tone.current(row.section);
    return `${window.lines[row.line]} ${numberText(value)} mA (${percentText(value / tone.outputMa)} of the output, ${senseText(tone.sense(row.section))})`;
  });
  parts.push(
    told.length
      ? `Tone also on ${partners.length} other line${partners.length > 1 ? "s" : ""} above ${percentText(facts.partner_share)} of the output: ` +
          `${told.join(", ")}${partners.length > 3 ? " and others" : ""}.`
      : `No other recorded line carries more than ${percentText(facts.partner_share)} of the output.`,
  );
  const most = worstPartners(tone);
  if (most > partners.length) parts.push(`In the worst of the cases on ${most}.`);
  return parts.join(" ");
}

// How many other lines carry more than the share in some case.
function worstPartners(tone) {
  const found = new Set();
  for (let k = 0; k < tone.count; k += 1) {
    const line = tone.window.line_of[k];
    if (line !== tone.target && !found.has(line) && tone.most(k) >= tone.facts.partner_share * tone.outputMa)
      found.add(line);
  }
  return found.size;
}

function gradeLengths(tone, line) {
  const counts = new Map();
  for (const row of tone.profile(line)) if (row.grade) counts.set(row.grade, (counts.get(row.grade) || 0) + 1);
  const all = [...counts.values()].reduce((a, b) => a + b, 0);
  if (!all) return "this hook-up isn't graded on it";
  return (
    [...counts]
      .sort((a, b) => b[1] - a[1])
      .map(([grade, count]) => `${grade} ${percentText(count / all)}`)
      .join(", ") + " of its graded stations"
  );
}
