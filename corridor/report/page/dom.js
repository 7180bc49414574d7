// Elements made of text only: nothing from the records ever becomes markup.

function element(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key === "onclick") made.addEventListener("click", value);
    else if (value !== null && value !== undefined && value !== false)
      made.setAttribute(key, value === true ? "" : value);
  }
  for (const child of children) made.append(child instanceof Node ? child : String(child ?? ""));
  return made;
}

function at(id) {
  return document.getElementById(id);
}

function shape(name, attributes) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

// A text that may be broken inside long names.
function breakable(text) {
  return String(text ?? "")
    .split(/(?<=[:~|_/])/)
    .flatMap((part, k) => (k ? [element("wbr"), part] : [part]));
}

// A table of rows; each cell is a text, a number or an element.
function table(heads, rows, { caption } = {}) {
  const numeric = heads.map(
    (_, k) => rows.length > 0 && rows.every((row) => row[k] === null || typeof row[k] === "number"),
  );
  const kind = (k) => (numeric[k] ? { class: "number" } : {});
  const head = element("tr", {}, ...heads.map((text, k) => element("th", { scope: "col", ...kind(k) }, text)));
  const body = rows.map((row) =>
    element(
      "tr",
      {},
      ...row.map((cell, k) =>
        element(
          "td",
          kind(k),
          ...(typeof cell === "number" ? [numberText(cell)] : cell instanceof Node ? [cell] : breakable(cell)),
        ),
      ),
    ),
  );
  const made = element("table", {}, element("thead", {}, head), element("tbody", {}, ...body));
  if (caption) made.prepend(element("caption", { class: "unseen" }, caption));
  return made;
}

function facts2(pairs) {
  const list = element("dl");
  for (const [name, value] of pairs) {
    if (value !== null && value !== undefined && value !== "")
      list.append(element("dt", {}, name), element("dd", {}, value));
  }
  return list;
}
