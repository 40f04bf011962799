// Measuring step by step: test sheets, readings by eye, and pictures.

import { post, refresh, sendAll, sentence, tried } from "./api.js";
import { PinGrid } from "./pin.js";

const $ = (id) => document.getElementById(id);
const setup = $("measure").dataset.setup;
const at = (rest) => `/api/setup/${setup}/${rest}`;
const number = (id) => ($(id).value ? Number($(id).value) : null);

$("issue").addEventListener("submit", tried(async (event) => {
  event.preventDefault();
  const issued = await post(at("test-sheets"), { sheets: Number($("sheets").value) });
  await refresh("issued", "pin-sheet");
  const button = $("issue").querySelector("button");
  button.classList.remove("primary");
  button.textContent = "Make more test sheets";
  const link = $("issued").querySelector("a");
  link.focus();
  if (issued) link.click();
}));

// How the sheets are read.
const way = () => document.querySelector('input[name="way"]:checked').value;
function show() {
  const chosen = way();
  $("by-pin").hidden = chosen !== "pin";
  $("by-ruler").hidden = chosen !== "ruler";
  $("by-pictures").hidden = !["scans", "photo"].includes(chosen);
  for (const part of document.querySelectorAll("[data-for]")) part.hidden = part.dataset.for !== chosen;
  try { localStorage.setItem("way", chosen); } catch { /* it is chosen anew next time */ }
}
try {
  const before = localStorage.getItem("way");
  const radio = before && document.querySelector(`input[name="way"][value="${before}"]`);
  if (radio) radio.checked = true;
} catch { /* the usual one stays chosen */ }
for (const radio of document.querySelectorAll('input[name="way"]')) radio.addEventListener("change", show);
show();

// With a pin.
const pin = new PinGrid();
async function taken(words, said) {
  const told = await post(at("read"), words);
  said.textContent = told.said.join(" ");
  await refresh("result", "pin-sheet");
}
const again = $("pin-again");
async function takePin(words) {
  try {
    await taken(words, $("pin-said"));
    again.hidden = true;
    pin.clear();
  } catch (refused) {
    if (refused.status !== 409) throw refused;
    $("pin-said").textContent = `${sentence(refused.message)} Other sheets need numbers of their own.`;
    again.hidden = false;
    again.onclick = tried(() => takePin({ ...words, again: true }));
  }
}
$("take-pin").addEventListener("submit", tried(async (event) => {
  event.preventDefault();
  const rules = [["rule-across", "across"], ["rule-along", "along"]]
    .filter(([id]) => $(id).value.trim())
    .map(([id, axis]) => `${$(id).value.trim()} ${axis}`);
  await takePin({ sheet: number("pin-sheet"), holes: pin.holes(), rules });
}));

// With a ruler.
$("take-ruler").addEventListener("submit", tried(async (event) => {
  event.preventDefault();
  await taken({ ruler: $("ruler").value }, $("ruler-said"));
  $("ruler").value = "";
}));

// Pictures.
const drop = $("drop");
let busy = false;
const take = tried(async (list) => {
  const files = [...list];
  if (busy || files.length === 0) return;
  busy = true;
  $("arriving").hidden = false;
  try {
    await sendAll(files, at("pictures"), (id) => `/api/pictures/${id}`, (part, name) => {
      $("arriving-bar").value = part;
      $("arriving-text").textContent = `Taking in ${name} …`;
    });
  } finally {
    busy = false;
    $("arriving").hidden = true;
    $("pictures").value = "";
  }
});
for (const kind of ["dragover", "drop"]) window.addEventListener(kind, (event) => event.preventDefault());
window.addEventListener("dragenter", () => drop.classList.add("over"));
window.addEventListener("dragleave", (event) => { if (!event.relatedTarget) drop.classList.remove("over"); });
window.addEventListener("drop", (event) => {
  drop.classList.remove("over");
  if (event.dataTransfer.files.length === 0) return;
  if (!["scans", "photo"].includes(way())) {
    document.querySelector('input[name="way"][value="scans"]').checked = true;
    show();
  }
  take(event.dataTransfer.files);
});
$("pictures").addEventListener("change", (event) => take(event.target.files));

// A phone may send photos while its link is open.
const pairing = $("pairing");
$("phone").addEventListener("click", tried(async () => {
  const { address, picture, minutes } = await post(at("phone"));
  const code = new DOMParser().parseFromString(picture, "text/html").body.firstElementChild;
  const words = document.createElement("div");
  const line = (text, name) => Object.assign(document.createElement("p"), { textContent: text, className: name ?? "" });
  const stop = Object.assign(document.createElement("button"), { type: "button", className: "button small", textContent: "Close the link" });
  stop.addEventListener("click", tried(() => post(at("phone/stop"))));
  words.append(
    line("Point your phone's camera at this code. Phone and computer must be on the same network."),
    line(address, "address"),
    Object.assign(line(`The link opens on one phone, takes photos only, and closes after ${minutes} minutes.`), { id: "phone-state" }),
    stop,
  );
  pairing.replaceChildren(document.adoptNode(code), words);
  pairing.hidden = false;
}));
function phone(told) {
  if (pairing.hidden || !pairing.firstElementChild) return;
  if (!told?.open) {
    pairing.replaceChildren(Object.assign(document.createElement("p"), { textContent: "The link is closed. Ask for a new one to send more photos." }));
    return;
  }
  const state = $("phone-state");
  if (told.taken) state.textContent = told.taken === 1 ? "One photo has arrived." : `${told.taken} photos have arrived.`;
  else if (told.opened) state.textContent = "Your phone has opened the link. Take the photo there.";
}

document.addEventListener("click", tried(async (event) => {
  const button = event.target.closest?.("[data-again], [data-cancel], [data-clear]");
  if (!button) return;
  const { again, cancel, clear, meant } = button.dataset;
  if (again) await post(`/api/pictures/${again}/again`, { again: meant === "true" });
  else if (cancel) await post(`/api/pictures/${cancel}/cancel`);
  else await post(`/api/pictures/${clear}/clear`);
}));

// What is done to the pictures is told by the server; a reload or a second page finds it, too.
let known = null;
const events = new EventSource(at("events"));
events.addEventListener("setup", async (event) => {
  const { pictures, phone: link } = JSON.parse(event.data);
  phone(link);
  const state = JSON.stringify(pictures.map(({ id, job }) => [id, job?.state]));
  if (known !== null && state !== known) await refresh("batches", "result", "pin-sheet").catch(() => {});
  known = state;
  for (const { id, job } of pictures) {
    const bar = document.querySelector(`[data-batch="${id}"] progress`);
    if (bar && job?.total) {
      bar.max = job.total + 1;
      bar.value = job.done;
    }
  }
});
