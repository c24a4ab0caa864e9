// Focus, typing, blocks and undo in the grids. Everything shown is rendered by the program; this puts changed parts in.
const main = document.querySelector("main");
const live = document.getElementById("live");
const who = document.getElementById("who"); // name of who books, on the pages of an outage
const records = main.dataset.mode === "record";
const base = location.pathname.match(/^\/(record|what-if)(?=\/|$)/)?.[0] ?? "";
let version = +main.dataset.version;
let at = null;      // cell with the focus
let anchor = null;  // where a selection began
let chosen = [];    // selected cells
let input = null;   // the field that is open
let source = null;  // news from the program
let poll = 0;
let planning = false;
let of = null;      // subject of the page

const say = text => { live.textContent = text; };
const isValue = cell => cell?.dataset.key !== undefined;
const shown = cell => cell.querySelector(".v")?.textContent ?? "";
const read = cell => isValue(cell) ? shown(cell) : (cell.querySelector(".figure, .word") ?? cell).textContent.trim();
const body = cell => cell.closest("tbody");
const place = cell => [cell.parentNode.sectionRowIndex, cell.cellIndex];
const named = cell => `${cell.closest("table").tHead.rows[0].cells[cell.cellIndex].textContent}, ${cell.parentNode.dataset.tag}`;
const find = (tag, key) => {
  const row = [...document.querySelectorAll("tr[data-tag]")].find(row => row.dataset.tag === tag);
  return row && [...row.cells].find(cell => cell.dataset.key === key);
};

// ---- focus and selection ----

function reach(rows, r, c) {
  const row = rows[Math.max(0, Math.min(r, rows.length - 1))];
  return row.cells[Math.max(0, Math.min(c, row.cells.length - 1))];
}

function go(cell, extend = false) {
  const grid = cell.closest("table");
  grid.querySelectorAll("tbody [tabindex='0']").forEach(other => { other.tabIndex = -1; });
  cell.tabIndex = 0;
  at = cell;
  if (!extend || !anchor?.isConnected || body(anchor) !== body(cell)) anchor = cell;
  select();
  cell.focus({ preventScroll: true });
  cell.scrollIntoView({ block: "nearest", inline: "nearest" }); // clear of the headings, by the margins of the style
}

function select() {
  chosen.forEach(cell => cell.removeAttribute("aria-selected"));
  const [r0, c0] = place(anchor), [r1, c1] = place(at), rows = body(at).rows;
  chosen = [];
  for (let r = Math.min(r0, r1); r <= Math.max(r0, r1); r++)
    for (let c = Math.min(c0, c1); c <= Math.max(c0, c1); c++) chosen.push(rows[r].cells[c]);
  chosen.forEach(cell => cell.setAttribute("aria-selected", "true"));
}

function move(cell, rows, columns, extend) {
  const [r, c] = place(cell);
  go(reach(body(cell).rows, r + rows, c + columns), extend);
}

// ---- one value ----

function open(typed) {
  if (!isValue(at)) { at.querySelector("a, button")?.click(); return; }
  const cell = at;
  input = document.createElement("input");
  input.autocomplete = "off";
  input.spellcheck = false;
  input.inputMode = cell.classList.contains("number") ? "decimal" : "text";
  input.value = typed ?? shown(cell);
  input.setAttribute("aria-label", named(cell));
  if (cell.getAttribute("aria-describedby")) input.setAttribute("aria-describedby", cell.getAttribute("aria-describedby"));
  input.cell = cell;
  input.was = shown(cell);
  cell.append(input);
  cell.classList.add("open");
  input.focus();
  if (typed === undefined) input.select();
  input.addEventListener("blur", () => shut(true));
}

function shut(keep) {
  if (!input) return null;
  const { cell, was } = input, now = input.value.trim(), field = input;
  input = null;
  field.remove();
  cell.classList.remove("open");
  if (keep && now !== was) send([{ tag: cell.parentNode.dataset.tag, key: cell.dataset.key, was, now }]);
  return cell;
}

// ---- to the program and back ----

async function post(asked, again) {
  const body = { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(asked) };
  const sent = () => fetch(`${base}/act`, body);
  // A booking has a number: asked again after a broken connection, it is not booked twice.
  return again ? sent().catch(sent) : sent();
}

async function ask(what, edits = [], kit = null) {
  const pump = main.dataset.pump === undefined ? null : +main.dataset.pump;
  const by = who ? { who: who.value, request: crypto.randomUUID() } : {};
  const answer = await post({ do: what, since: version, edits, pump, kit, ...by }, records || what === "book-all");
  if (answer.status === 401) throw new Error("this window is no longer let in: start gapwright again and open its address");
  if (!answer.ok) throw new Error(await answer.text());
  const fresh = await answer.json();
  if (of && of !== fresh.of) { // an outage was begun: what was typed goes on under its What if
    location.assign(`/what-if${location.pathname.replace(/\/$/, "")}`);
    return fresh;
  }
  of = fresh.of;
  fresh.parts.forEach(([id, html]) => put(id, html));
  version = Math.max(version, fresh.version);
  if (planning && !fresh.planning) {
    const kitted = document.querySelector("#figures dd");
    say(kitted ? `Planned: ${kitted.textContent} kitted.` : "Planned.");
  }
  planning = fresh.planning;
  clearTimeout(poll);
  if (fresh.planning && source?.readyState !== EventSource.OPEN) poll = setTimeout(look, 1000);
  return fresh;
}

const look = () => ask("look").catch(lost);
const lost = error => say(`Not connected: ${error.message}`);

async function send(edits) {
  const cells = edits.map(edit => find(edit.tag, edit.key));
  cells.forEach((cell, n) => { if (cell) { cell.querySelector(".v").textContent = edits[n].now; cell.classList.add("sent"); } });
  try {
    const { refused } = await ask("edit", edits);
    // A refused cell may be as it was before, and so not among the parts that changed.
    edits.forEach((edit, n) => {
      if (cells[n]?.classList.contains("sent") && refused.some(one => one.tag === edit.tag && one.key === edit.key))
        cells[n].querySelector(".v").textContent = edit.was;
    });
    const first = refused[0];
    if (first) say(`${refused.length} not taken. ${first.tag}: ${first.why}`);
    else say(`${edits.length === 1 ? "" : `${edits.length} values: `}${records ? "booked" : "taken"}; planning again.`);
  } catch (error) {
    cells.forEach((cell, n) => { if (cell) cell.querySelector(".v").textContent = edits[n].was; });
    say(`Nothing was taken: ${error.message}`);
  }
  cells.forEach(cell => cell?.classList.remove("sent"));
}

async function act(what, kit) {
  const said = { undo: "Taken back.", redo: "Done again.", discard: "All changes discarded.", acknowledge: "Marked as seen.", "take-over": "Read again.", hold: "Held; planning again.", free: "Let go; planning again.", "book-all": "Booked.", enter: "Entered." };
  try {
    const { refused } = await ask(what, [], kit);
    const first = kit && refused[0];
    const done = document.querySelector("#mode .alarm ul") ? "Not done: the reason stands above the pumps." : said[what];
    say(first ? `${first.tag}: ${first.why}` : done);
  } catch (error) { lost(error); }
}

// ---- parts of the page ----

const known = new Map(); // HTML of parts as it came last

function put(id, html) {
  const old = document.getElementById(id);
  if (!old || old.tagName !== "TR" && known.get(id) === html) return;
  known.set(id, html);
  const template = document.createElement("template");
  template.innerHTML = html;
  const fresh = template.content.firstElementChild;
  // Workbooks that were read again may have other pumps and columns.
  if (old.dataset.shape !== fresh.dataset.shape) { location.reload(); return; }
  if (old.tagName === "TR" && old.closest("[role=grid]")) return row(old, fresh);
  const active = old.contains(document.activeElement) ? document.activeElement : null;
  const opened = new Set([...old.querySelectorAll("details[open] > summary")].map(summary => summary.textContent));
  fresh.querySelectorAll("details > summary").forEach(summary => {
    if (opened.has(summary.textContent)) summary.parentNode.open = true;
  });
  old.replaceWith(fresh);
  if (active) {
    const same = active.dataset.do && fresh.querySelector(`button[data-do="${active.dataset.do}"]:not(:disabled)`);
    const next = same || fresh.querySelector("button:not(:disabled), summary");
    if (next) next.focus(); else { main.tabIndex = -1; main.focus(); }
  }
}

// Cells stay and change their contents, so that the focus stays where it is.
function row(old, fresh) {
  if (old.cells.length !== fresh.cells.length) return;
  old.dataset.state = fresh.dataset.state;
  [...fresh.cells].forEach((cell, n) => {
    const own = old.cells[n];
    for (const name of ["class", "aria-invalid", "aria-describedby"]) {
      const value = cell.getAttribute(name);
      if (value === null) own.removeAttribute(name);
      else if (own.getAttribute(name) !== value) own.setAttribute(name, value);
    }
    if (input?.cell === own) {
      own.classList.add("open");
      input.was = shown(cell);
      [...own.childNodes].forEach(child => { if (child !== input) child.remove(); });
      own.prepend(...cell.childNodes);
    } else if (own.innerHTML !== cell.innerHTML) own.replaceChildren(...cell.childNodes);
  });
}

// ---- news: one stream for a window that is seen; a browser opens six connections to a host ----

function listen() {
  source = new EventSource(`${base}/events`);
  source.addEventListener("open", look);
  source.addEventListener("news", event => { if (+event.data > version) look(); });
  source.addEventListener("error", () => {
    say(source?.readyState === EventSource.CLOSED
      ? "gapwright has ended, or this window is no longer let in. Start it again and open its address."
      : "Not connected to gapwright; trying again.");
  });
}

document.addEventListener("visibilitychange", () => {
  if (document.hidden) { source?.close(); source = null; } else if (!source) listen();
});

// ---- keys, mouse, clipboard ----

document.addEventListener("keydown", event => {
  if (event.isComposing) return;
  const mod = event.ctrlKey || event.metaKey, key = event.key;
  if (input) {
    const to = { Enter: [event.shiftKey ? -1 : 1, 0], Tab: [0, event.shiftKey ? -1 : 1], Escape: [0, 0] }[key];
    if (!to) return;
    event.preventDefault();
    move(shut(key !== "Escape"), ...to);
    return;
  }
  if (event.target.matches?.("input:not([type=range])")) return; // a field of its own
  if (mod && key.toLowerCase() === "z") { event.preventDefault(); act(event.shiftKey ? "redo" : "undo"); return; }
  if (mod && key.toLowerCase() === "y") { event.preventDefault(); act("redo"); return; }
  const cell = event.target.closest?.("[role=grid] tbody td, [role=grid] tbody th");
  if (!cell) return;
  const rows = body(cell).rows, [r, c] = place(cell), last = rows.length - 1, end = rows[r].cells.length - 1, page = 10;
  const to = {
    ArrowUp: [mod ? 0 : r - 1, c], ArrowDown: [mod ? last : r + 1, c],
    ArrowLeft: [r, mod ? 0 : c - 1], ArrowRight: [r, mod ? end : c + 1],
    Home: [mod ? 0 : r, 0], End: [mod ? last : r, end], PageUp: [r - page, c], PageDown: [r + page, c],
  }[key];
  if (to) { event.preventDefault(); go(reach(rows, ...to), event.shiftKey); }
  else if (mod && key.toLowerCase() === "a") { event.preventDefault(); anchor = rows[0].cells[0]; go(rows[last].cells[end], true); }
  else if (key === "Enter" || key === "F2") { event.preventDefault(); open(); }
  else if (key === "Escape") { anchor = at; select(); }
  else if (key === "Delete" || key === "Backspace") { event.preventDefault(); write(chosen.filter(isValue).map(one => [one, ""])); }
  else if (key.length === 1 && !mod && !event.altKey && isValue(cell)) { event.preventDefault(); open(key); }
});

document.addEventListener("pointerdown", event => {
  const cell = event.target.closest?.("[role=grid] tbody td, [role=grid] tbody th");
  if (!cell || event.target.closest("a, button, input")) return;
  event.preventDefault();
  shut(true);
  if (cell === at && event.pointerType === "touch" && isValue(cell)) open();
  else go(cell, event.shiftKey);
});
document.addEventListener("dblclick", event => {
  const cell = event.target.closest?.("[role=grid] tbody td");
  if (cell && cell === at && isValue(cell) && !input) open();
});
document.addEventListener("focusin", event => {
  const cell = event.target;
  if (cell !== at && cell.matches?.("[role=grid] tbody > tr > *")) { at = cell; anchor = cell; select(); }
});
document.addEventListener("click", event => {
  const button = event.target.closest?.("button[data-do]");
  if (button) act(button.dataset.do, button.dataset.kit);
});

function write(pairs) {
  const edits = pairs.filter(([cell, now]) => shown(cell) !== now)
    .map(([cell, now]) => ({ tag: cell.parentNode.dataset.tag, key: cell.dataset.key, was: shown(cell), now }));
  if (edits.length) send(edits);
}

document.addEventListener("copy", event => {
  if (input || !at?.matches(":focus")) return;
  event.preventDefault();
  const lines = new Map();
  chosen.forEach(cell => lines.set(cell.parentNode, [...(lines.get(cell.parentNode) ?? []), read(cell)]));
  event.clipboardData.setData("text/plain", [...lines.values()].map(line => line.join("\t")).join("\r\n"));
  say(chosen.length === 1 ? "1 cell copied." : `${chosen.length} cells copied.`);
});
document.addEventListener("paste", event => {
  if (input || !at?.matches(":focus")) return;
  event.preventDefault();
  const lines = event.clipboardData.getData("text/plain").replace(/\r?\n$/, "").split(/\r?\n/).map(line => line.split("\t").map(text => text.trim()));
  if (lines.length === 1 && lines[0].length === 1 && chosen.length > 1) { // one value over a whole selection
    write(chosen.filter(isValue).map(cell => [cell, lines[0][0]]));
    return;
  }
  const [r, c] = place(chosen[0] ?? at), rows = body(at).rows, pairs = [];
  let outside = 0;
  lines.forEach((line, i) => line.forEach((text, j) => {
    const cell = rows[r + i]?.cells[c + j];
    if (isValue(cell)) pairs.push([cell, text]); else outside++;
  }));
  if (outside) { say(`Nothing was pasted: ${outside} of its cells would fall outside the values that can be changed.`); return; }
  write(pairs);
});

if (who) {
  who.value = sessionStorage.getItem("who") ?? "";
  who.addEventListener("input", () => sessionStorage.setItem("who", who.value));
}
document.querySelectorAll("[role=grid] tbody").forEach(rows => {
  const first = rows.querySelector("[data-key]") ?? rows.rows[0]?.cells[0];
  if (first) first.tabIndex = 0;
});
listen();
