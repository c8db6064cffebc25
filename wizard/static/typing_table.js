// A table of plain input fields: a key that is pressed stands in its field, however busy the
// page is. What was typed is sent a moment after the last key, and at once when the table is left.
const QUIET_MS = 350;

export default function (component) {
  const { data, parentElement, setStateValue } = component;
  const root = parentElement.querySelector(".typing-table");
  root.send = () => {
    clearTimeout(root.timer);
    root.timer = null;
    setStateValue("rows", root.rows.map((row) => [...row]));
  };
  if (root.generation === data.generation) return; // nothing under the hands of the reader moves
  root.generation = data.generation;
  root.rows = data.rows.map((row) => [...row]);
  draw(root, data);
}

function draw(root, data) {
  const table = document.createElement("table");
  table.setAttribute("aria-label", data.label);
  const head = table.createTHead().insertRow();
  data.heads.forEach((text, c) => {
    const cell = document.createElement("th");
    cell.scope = "col";
    cell.textContent = text;
    cell.title = data.helps[c] || "";
    head.append(cell);
  });
  const body = table.createTBody();
  root.rows.forEach((row, r) => body.append(line(root, data, row, r)));
  root.querySelector(".scroller").replaceChildren(table);
  for (let c = 0, left = 0; c < data.fixed; c += 1) { // the names of a row stay in sight
    for (const line of table.rows) line.cells[c].style.left = `${left}px`;
    left += table.rows[0].cells[c].getBoundingClientRect().width;
  }
}

function line(root, data, row, r) {
  const tr = document.createElement("tr");
  row.forEach((value, c) => {
    const cell = document.createElement(c < data.fixed ? "th" : "td");
    if (c < data.fixed) {
      cell.scope = "row";
      cell.textContent = value;
    } else {
      cell.append(field(root, data, r, c));
    }
    tr.append(cell);
  });
  return tr;
}

function field(root, data, r, c) {
  const choices = data.choices[c];
  const input = document.createElement(choices ? "select" : "input");
  if (choices) {
    input.append(...["", ...choices].map((text) => new Option(text, text)));
  } else {
    input.type = "text";
    input.autocomplete = "off";
    input.spellcheck = false;
    if (data.numeric[c]) input.inputMode = "decimal";
    input.addEventListener("paste", (event) => paste(event, root, data, r, c));
  }
  input.value = root.rows[r][c];
  input.dataset.cell = `${r}-${c}`;
  const names = data.heads.slice(0, data.fixed).map((head, k) => `${head} ${root.rows[r][k]}`);
  input.setAttribute("aria-label", [...names, data.heads[c]].join(", "));
  input.addEventListener("input", () => {
    root.rows[r][c] = input.value;
    clearTimeout(root.timer);
    root.timer = setTimeout(root.send, QUIET_MS);
  });
  input.addEventListener("focusout", (event) => {
    const stays = event.relatedTarget && root.contains(event.relatedTarget);
    if (root.timer && !stays) root.send();
  });
  input.addEventListener("keydown", (event) => step(event, root, r, c, !choices));
  return input;
}

function step(event, root, r, c, byArrow) {
  const down = event.key === "Enter" || (byArrow && event.key === "ArrowDown");
  const up = byArrow && event.key === "ArrowUp";
  if (!down && !up) return;
  const next = root.querySelector(`[data-cell="${r + (down ? 1 : -1)}-${c}"]`);
  if (!next) return;
  event.preventDefault();
  next.focus();
  if (next.select) next.select();
}

function paste(event, root, data, r, c) {
  const text = event.clipboardData.getData("text").replace(/\r/g, "").replace(/\n$/, "");
  if (!/[\t\n]/.test(text)) return; // a single value goes where the cursor stands
  event.preventDefault();
  let outside = 0;
  text.split("\n").forEach((words, i) => words.split("\t").forEach((word, k) => {
    const input = root.querySelector(`[data-cell="${r + i}-${c + k}"]`);
    const fits = input && (!data.choices[c + k] || ["", ...data.choices[c + k]].includes(word));
    if (!fits) { if (word.trim()) outside += 1; return; }
    input.value = word.trim();
    root.rows[r + i][c + k] = input.value;
  }));
  root.querySelector(".said").textContent = outside
    ? `${outside} pasted cell${outside > 1 ? "s" : ""} did not fit here and `
      + `${outside > 1 ? "were" : "was"} left out. Check where the table begins.` : "";
  root.send();
}
