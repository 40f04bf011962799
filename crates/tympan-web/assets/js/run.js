// A print run while one works: ticks, make-ready, sheets again.

import { inWords, post, refresh, tried } from "./api.js";

const $ = (id) => document.getElementById(id);
const run = $("run").dataset.run;
const at = (rest) => `/api/run/${run}/${rest}`;
const PARTS = ["answer", "steps", "made-again", "working"];

document.addEventListener("change", tried(async (event) => {
  const { step } = event.target.dataset ?? {};
  if (!step) return;
  const done = event.target.checked;
  try {
    await post(at("tick"), { step, done });
  } catch (refused) {
    event.target.checked = !done;
    throw refused;
  }
}));

$("run").addEventListener("submit", tried(async (event) => {
  if (event.target.id === "unlock") {
    event.preventDefault();
    await post(at("password"), { password: $("password").value });
    location.reload();
  }
  if (event.target.id !== "adjust") return;
  event.preventDefault();
  await post(at("adjust"), { seen: $("left-over").value });
}));

const whole = async (what) => { await post(at(what)); location.reload(); };
document.addEventListener("click", tried(async (event) => {
  const button = event.target.closest?.("button");
  if (!button) return;
  if (["release", "undo", "done"].includes(button.id)) await whole(button.id);
  if (button.id === "print-page") window.print();
  if (button.id === "working-cancel") await post(at("cancel"));
  if (button.dataset.why) await again(button.dataset.why);
}));

/** One tap: which sheets, and why. */
async function again(why) {
  if (!$("again").reportValidity()) return;
  const sheets = $("again-sheets").value;
  const how = $("again-how").value;
  if (how === "note") {
    const { said } = await post(at("spoiled"), { sheets, why });
    await refresh("made-again", "answer");
    $("again-said").textContent = said;
  } else {
    const [kind, side] = how.split("-");
    await post(at("again"), { sheets, why, only: kind === "only" ? side : null, stopped_in: kind === "stopped" ? side : null });
    $("again-said").textContent = "Making them …";
  }
  $("again-sheets").value = "";
}

let before = null;
let ticked = null;
const events = new EventSource(at("events"));
events.addEventListener("run", async (event) => {
  const told = JSON.parse(event.data);
  const { job } = told;
  const running = job?.state === "running";
  const bar = $("working-bar");
  if (bar) {
    bar.hidden = !running;
    $("working-cancel").hidden = !running;
    if (running && job.total) [bar.max, bar.value] = [job.total, job.done];
  }
  // Another page of the same run may have ticked something.
  const ticks = JSON.stringify(told.ticked);
  if (ticked !== null && ticks !== ticked) {
    for (const box of document.querySelectorAll("[data-step]")) box.checked = told.ticked.includes(box.dataset.step);
  }
  ticked = ticks;
  if (before === "running" && !running) {
    await refresh(...PARTS).catch(() => {});
    const said = $("again-said");
    if (job.state === "done") said.textContent = said.textContent ? "Made: they are below." : "";
    else said.textContent = inWords(job);
  }
  before = job?.state ?? "none";
});
