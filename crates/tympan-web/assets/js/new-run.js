// A print run of a game: what is wished for goes to the server, which makes its files.

import { inWords, post, tried } from "./api.js";

const $ = (id) => document.getElementById(id);
const root = $("new-run");
const work = root.dataset.work;
const chosen = (name) => document.querySelector(`input[name="${name}"]:checked`)?.value || null;
const number = (id) => ($(id).value === "" ? null : Number($(id).value));
let asked = false;

$("run-form")?.addEventListener("submit", tried(async (event) => {
  event.preventDefault();
  const bleed = number("bleed");
  await post(`/api/work/${work}/run`, {
    setup: $("setup").value,
    what: chosen("what"),
    copies: Number($("copies").value),
    spares: number("spares"),
    at_a_time: number("load"),
    bleed_mm: bleed === null ? null : bleed * ($("bleed").dataset.unit === "in" ? 25.4 : 1),
    first: chosen("first"),
    turns: chosen("turns"),
  });
  asked = true;
  $("making").scrollIntoView({ block: "nearest" });
}));
$("making-cancel").addEventListener("click", tried(() => post(`/api/work/${work}/cancel`)));

const events = new EventSource(`/api/work/${work}/events`);
events.addEventListener("work", (event) => {
  const { job, run } = JSON.parse(event.data);
  if (job?.kind !== "run") return;
  const running = job.state === "running";
  if (running) asked = true;
  $("making-bar").hidden = !running;
  $("making-cancel").hidden = !running;
  const bar = $("making-bar");
  if (running && job.total) [bar.max, bar.value] = [job.total, job.done];
  else bar.removeAttribute("value");
  if (running) $("making-text").textContent = "Making the run …";
  else if (job.state === "done") {
    if (asked && run) location.assign(`/run/${run}`);
  } else if (asked) {
    $("making-text").textContent = inWords(job);
  }
});
