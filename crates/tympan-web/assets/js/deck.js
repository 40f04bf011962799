// The page of cards that are laid out afresh: choices go to the server, what it plans is shown.

import { post, refresh, say, tried } from "./api.js";

const $ = (id) => document.getElementById(id);
const root = $("deck");
const id = root.dataset.id;
const at = (rest) => `/api/deck/${id}/${rest}`;
/** What depends on the choices. The cards are put in place by hand. */
const PARTS = ["answer", "in-the-way", "plans", "sheets", "saving", "worth", "cutting"];

let sheet = 0;
let seen = root.dataset.stamp;
let running = null;
let download = null;
let savedFolder = null;
// Cards that this page has not put in order itself are fetched anew.
let ownChange = false;

// One after the other, and of those that wait only the last: else an older page could come last.
let [latest, following] = [null, false];
const events = new EventSource(at("events"));
events.addEventListener("deck", async (event) => {
  latest = JSON.parse(event.data);
  if (following) return;
  following = true;
  while (latest) {
    const told = latest;
    latest = null;
    await followed(told);
  }
  following = false;
});

async function followed(told) {
  const now = told.job?.state === "running" ? told.job.kind : null;
  const ended = running && !now;
  const begun = running === null && now;
  running = now;
  savedFolder = told.saved?.folder ?? null;
  if (root.dataset.ready === "false") {
    const bar = $("looking-bar");
    if (bar && told.job?.total > 0) Object.assign(bar, { max: told.job.total, value: told.job.done });
    if (told.ready || ended) location.reload();
    return;
  }
  root.classList.toggle("planning", now === "plan");
  const bar = $("job-bar");
  if (bar && told.job?.total > 0) Object.assign(bar, { max: told.job.total, value: told.job.done });
  if (now === "plan") return;
  if (told.stamp !== seen) {
    seen = told.stamp;
    const parts = ownChange ? PARTS : [...PARTS, "card-list", "choices", "again"];
    ownChange = false;
    await replaced(parts);
  } else if (ended || begun || (download && told.saved?.folder !== download)) {
    await replaced(["saving", "in-the-way"]);
  }
  if (download && told.saved && told.saved.folder !== download && !now) {
    download = null;
    document.querySelector("#saved a")?.click();
  }
  if (told.job && !now && told.job.state !== "done") download = null;
  root.dataset.settled = now ? "false" : told.stamp;
}

/** Puts parts of the page anew, and the cursor back where it was. */
const replaced = tried(async (parts) => {
  const active = document.activeElement;
  const open = [...document.querySelectorAll("details[open]")].map((part) => part.querySelector("summary").textContent);
  const { id: focused, name, value } = active ?? {};
  await refresh(...parts);
  warnings();
  for (const part of document.querySelectorAll("details")) {
    if (open.includes(part.querySelector("summary").textContent)) part.open = true;
  }
  const found = (focused && $(focused)) || (name && value && document.querySelector(`[name="${name}"][value="${CSS.escape(value)}"]`));
  if (found && document.activeElement !== found) found.focus({ preventScroll: true });
  showSheet(sheet);
});

/** Cards that something is in the way of are marked. */
function warnings() {
  for (const card of document.querySelectorAll("#card-list > li")) card.classList.remove("wrong");
  for (const link of document.querySelectorAll('.problems a[href^="#card-"]')) {
    document.querySelector(link.getAttribute("href"))?.classList.add("wrong");
  }
}
warnings();

// Choices.

const change = tried(async (choices, field) => {
  ownChange = !("setup" in choices || "pairs" in choices || "card" in choices || "stock-sheet" in choices || "one-sided" in choices);
  field?.removeAttribute("aria-invalid");
  try {
    await post(at("change"), choices);
  } catch (refused) {
    field?.setAttribute("aria-invalid", "true");
    ownChange = false;
    throw refused;
  }
});

root.addEventListener("change", (event) => {
  const field = event.target;
  if (field.name === "plan") {
    sheet = 0;
    change({ plan: field.value }, field);
  } else if (field.closest("#choices") && field.name) {
    change({ [field.name]: field.type === "checkbox" ? String(field.checked) : field.value }, field);
  } else if (field.dataset.what) {
    edited(field);
  }
});
root.addEventListener("submit", (event) => {
  event.preventDefault();
  if (event.target.id === "again-form") addSpoiled();
  if (event.target.id === "unlock") unlock();
  if (event.target.id === "own-sheet-form") keepSheet(event.target);
});

const keepSheet = tried(async (form) => {
  const kept = await post("/api/stock-sheets", Object.fromEntries(new FormData(form)));
  $("own-sheet-said").textContent = `“${kept.name}” is kept, with ${kept.places} places, and chosen for this deck.`;
  // Its places tell the size of the cards.
  await change({ "stock-sheet": kept.name, paper: "", card: "" });
});

const unlock = tried(async () => {
  await post(at("password"), { password: $("password").value });
});

// Sheets.

function showSheet(number) {
  const place = $("sheets");
  if (!place?.dataset.names) return;
  const names = JSON.parse(place.dataset.names);
  sheet = Math.max(0, Math.min(number, names.length - 1));
  $("sheet-which").textContent = `Sheet ${sheet + 1} of ${names.length}`;
  $("sheet-back").disabled = sheet === 0;
  $("sheet-on").disabled = sheet + 1 >= names.length;
  $("sheet-names").textContent = names[sheet].join(", ");
  for (const picture of place.querySelectorAll("img")) {
    const side = picture.dataset.side;
    const source = picture.getAttribute("src").replace(/\/\d+\/(front|back)$/, `/${sheet}/${side}`);
    if (picture.getAttribute("src") !== source) picture.src = source;
    picture.alt = `${side === "front" ? "Front" : "Back"} of sheet ${sheet + 1}`;
  }
}

root.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.id === "sheet-back") showSheet(sheet - 1);
  else if (button.id === "sheet-on") showSheet(sheet + 1);
  else if (button.dataset.move) move(button.closest("li"), Number(button.dataset.move), button);
  else if (button.id === "save") save();
  else if (button.id === "cancel" || button.id === "cancel-look") tried(() => post(at("cancel")))();
  else if (button.id === "look-again") tried(() => post(at("look")))();
  else if (button.id === "again-lay") laySpoiled();
  else if (button.id === "to-work") toWork();
});

const save = tried(async () => {
  // The sheets that are offered already are not those that are waited for.
  download = savedFolder ?? "none";
  await post(at("save"));
});

const toWork = tried(async () => {
  const work = await post(at("work"));
  location.assign(`/work/${work.id}`);
});

// Cards.

const list = () => $("card-list");
const cards = () => [...list().children];
const nameOf = (card) => card.querySelector('[data-what="name"]').value;

const edit = tried(async (wish) => {
  ownChange = true;
  await post(at("card"), wish);
});

async function edited(field) {
  const card = field.closest("li");
  const number = Number(card.dataset.number);
  if (field.dataset.what === "name") {
    await edit({ number, name: field.value });
    return;
  }
  const copies = Number(field.value);
  if (!Number.isInteger(copies) || copies < 0 || copies > 1000) {
    say({ message: "a card can be laid from 0 to 1000 times", hint: "write a whole number" });
    return;
  }
  card.classList.toggle("left-out", copies === 0);
  await edit({ number, copies });
}

/** Moves a card by so many places, and keeps the cursor on what moved it. */
async function move(card, by, focused) {
  const all = cards();
  const from = all.indexOf(card);
  await moveTo(card, Math.max(0, Math.min(from + by, all.length - 1)), focused);
}

async function moveTo(card, place, focused) {
  const all = cards();
  const from = all.indexOf(card);
  if (from === place) return;
  all.splice(from, 1);
  const next = all[place] ?? null;
  list().insertBefore(card, next);
  focused?.focus();
  card.scrollIntoView({ block: "nearest" });
  $("moved").textContent = `${nameOf(card)} is now card ${place + 1} of ${all.length + 1}.`;
  await edit({ number: Number(card.dataset.number), place });
}

const KEYS = { ArrowUp: -1, ArrowLeft: -1, ArrowDown: 1, ArrowRight: 1, Home: -Infinity, End: Infinity };
root.addEventListener("keydown", (event) => {
  const grip = event.target.closest?.(".grip");
  if (!grip || !(event.key in KEYS)) return;
  event.preventDefault();
  move(grip.closest("li"), KEYS[event.key], grip);
});

let dragged = null;
root.addEventListener("dragstart", (event) => {
  dragged = event.target.closest?.(".grip")?.closest("li") ?? null;
  if (!dragged) return;
  event.dataTransfer.effectAllowed = "move";
  event.dataTransfer.setData("text/plain", nameOf(dragged));
  event.dataTransfer.setDragImage(dragged, 20, 20);
  dragged.classList.add("dragged");
});
const over = (event) => event.target.closest?.("#card-list > li");
root.addEventListener("dragover", (event) => {
  const card = over(event);
  if (!dragged || !card) return;
  event.preventDefault();
  for (const other of cards()) other.classList.toggle("under", other === card && other !== dragged);
});
root.addEventListener("drop", (event) => {
  const card = over(event);
  if (!dragged || !card) return;
  event.preventDefault();
  moveTo(dragged, cards().indexOf(card), dragged.querySelector(".grip"));
});
root.addEventListener("dragend", () => {
  for (const card of cards()) card.classList.remove("under", "dragged");
  dragged = null;
});
// A file dropped here must not make the browser leave the page.
for (const kind of ["dragover", "drop"]) window.addEventListener(kind, (event) => event.preventDefault());

// Spoiled cards.

const spoiled = new Map();

function addSpoiled() {
  const card = $("again-card");
  const count = Number($("again-count").value);
  if (!Number.isInteger(count) || count < 1 || count > 1000) {
    say({ message: "a card can be laid from 1 to 1000 times", hint: "write a whole number" });
    return;
  }
  const number = Number(card.value);
  spoiled.set(number, (spoiled.get(number) ?? 0) + count);
  showSpoiled();
}

function showSpoiled() {
  const names = Object.fromEntries([...$("again-card").options].map((option) => [option.value, option.textContent]));
  const rows = [...spoiled].map(([number, count]) => {
    const row = document.createElement("li");
    const words = document.createElement("span");
    words.textContent = `${count} × ${names[number] ?? number}`;
    const button = document.createElement("button");
    Object.assign(button, { type: "button", className: "button small", textContent: "Not this one" });
    button.setAttribute("aria-label", `Not ${names[number] ?? number}`);
    button.addEventListener("click", () => { spoiled.delete(number); showSpoiled(); $("again-card").focus(); });
    row.append(words, button);
    return row;
  });
  $("again-list").replaceChildren(...rows);
  $("again-lay").disabled = spoiled.size === 0;
}

const laySpoiled = tried(async () => {
  const made = await post(at("again"), { cards: [...spoiled] });
  location.assign(`/deck/${made.id}`);
});
