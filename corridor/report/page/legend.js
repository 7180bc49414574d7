// The legend beside the map: what the colours of the lines mean, and what never changes.

function swatch(color, { width = 4, dash = null } = {}) {
  const made = shape("svg", { width: 34, height: 12, "aria-hidden": "true" });
  const line = { x1: 1, y1: 6, x2: 33, y2: 6, "stroke-dasharray": dash ? dash.join(" ") : "none" };
  made.append(shape("line", { ...line, stroke: "#3a3a3a", "stroke-opacity": 0.55, "stroke-width": width + CASING }));
  made.append(shape("line", { ...line, stroke: color, "stroke-width": width }));
  return made;
}

function markSwatch(draw) {
  const made = shape("svg", { width: 34, height: 14, "aria-hidden": "true" });
  made.append(draw);
  return made;
}

function legendList(title, rows) {
  const list = element("ul");
  for (const [mark, text] of rows) list.append(element("li", {}, mark, element("span", {}, text)));
  return [element("div", { class: "block" }, element("h2", {}, title), list)];
}

function drawLegend(facts, colouring) {
  if (at("legend").dataset.shown === colouring) return;
  at("legend").dataset.shown = colouring;
  const { colours } = facts;
  const blocks = [];
  if (colouring === "utility") {
    blocks.push(
      ...legendList(
        `Utility (${colours.title})`,
        colours.groups.map(([color, text]) => [swatch(color), text]),
      ),
    );
  } else if (colouring === "tone" || colouring === "most") {
    const title =
      colouring === "tone" ? "Tone predicted, mA, as most likely" : "Tone predicted, mA, highest over the cases";
    blocks.push(...toneLegend(colours.tone, title));
  } else if (colouring === "sense") {
    const texts = {
      same: "with the target",
      opposite: "against the target: on its way back",
      unclear: "unclear: crossing, or phase between",
    };
    blocks.push(
      ...legendList(
        "Sense of the current",
        Object.entries(colours.senses).map(([name, color]) => [swatch(color), texts[name]]),
      ),
    );
  } else {
    const rows = Object.entries(colours.grades)
      .filter(([name]) => name !== "untraceable")
      .map(([name, color]) => [
        swatch(color),
        colours.grade_texts[name] ||
          {
            heard: "not graded with this hook-up; a receiver would hear it",
            "not heard": "not graded; its current is below what a receiver uses",
          }[name],
      ]);
    blocks.push(...legendList("Grade of the tone on a recorded line", rows));
  }
  blocks.push(
    ...legendList("Lines", [
      [swatch("#ffffff", { width: 1.5 }), "thin to thick: under 0.1, 1, 10, 100 mA and more"],
      [swatch("#777777", { width: 3, dash: DASHED }), "dashed: rests on assumed values"],
      [swatch("#1c1c1c", { width: 1.5, dash: DOTTED }), `dotted: ${facts.still_there}`],
    ]),
  );
  const ink = { stroke: "#1c1c1c", "stroke-width": 1.2, fill: "white" };
  blocks.push(
    ...legendList("Points", [
      [markSwatch(shape("rect", { x: 4, y: 3, width: 8, height: 8, ...ink })), "direct connection that is ready"],
      [markSwatch(shape("path", { d: "M8 2 L13 7 L8 12 L3 7 Z", ...ink })), "clamp that is ready"],
      [markSwatch(shape("circle", { cx: 8, cy: 7, r: 4, ...ink })), "induction that is ready"],
      [
        markSwatch(shape("path", { d: "M4 3 L12 11 M12 3 L4 11", ...ink })),
        "not ready, or refused: can't be chosen (shown close up)",
      ],
      [
        markSwatch(
          shape("rect", { x: 3, y: 2, width: 10, height: 10, stroke: "#1c1c1c", "stroke-width": 2, fill: "#ffe27a" }),
        ),
        "hook-up shown; triangle: its stake",
      ],
      [
        markSwatch(shape("path", { d: "M6 2 h4 v3 h3 v4 h-3 v3 h-4 v-3 h-3 v-4 h3 Z", ...ink, fill: "#1c1c1c" })),
        "bond known; hollow: inferred or suspected",
      ],
    ]),
  );
  at("legend").replaceChildren(...blocks);
}

function toneLegend(scale, title) {
  const made = shape("svg", {
    viewBox: "0 0 250 30",
    width: "100%",
    role: "img",
    "aria-label": "Colours of the tone from 0.01 mA, pale, to 1000 mA, dark",
  });
  const width = 220 / scale.steps.length;
  scale.steps.forEach((color, k) =>
    made.append(shape("rect", { x: 14 + k * width, y: 2, width: width + 0.3, height: 11, fill: color })),
  );
  for (let k = 0; k <= scale.steps.length; k += scale.per_decade) {
    const text = shape("text", {
      x: 14 + k * width,
      y: 26,
      "font-size": 10,
      "text-anchor": "middle",
      fill: "#1c1c1c",
    });
    text.textContent = String(Number((scale.from_ma * 10 ** (k / scale.per_decade)).toPrecision(1)));
    made.append(shape("line", { x1: 14 + k * width, x2: 14 + k * width, y1: 13, y2: 17, stroke: "#1c1c1c" }), text);
  }
  const [block] = legendList(title, [
    [swatch(scale.less, { width: 1.5 }), `under ${scale.from_ma} mA, or not solved here: no sign of free ground`],
  ]);
  block.insertBefore(made, block.lastChild);
  return [block];
}
