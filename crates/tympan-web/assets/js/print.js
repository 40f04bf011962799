// Straight on a printer: asked, shown, agreed to, watched.

import { post, refresh, sentence, tried } from "./api.js";

const $ = (id) => document.getElementById(id);
const root = $("print");
const { file } = root.dataset;
const group = Number(root.dataset.group);
const at = (verb) => root.dataset.at.replace("VERB", verb);
const line = (text) => Object.assign(document.createElement("li"), { textContent: text });
let certificate = null;
let shown = null;

if ($("printer")) choose();

function choose() {
  try {
    $("address").value ||= localStorage.getItem("printer") ?? "";
  } catch { /* it is typed anew */ }
  $("printer").addEventListener("submit", tried(async (event) => {
    event.preventDefault();
    await ask();
  }));
  $("find").addEventListener("click", tried(find));
  $("trust").addEventListener("click", tried(async () => {
    certificate = $("fingerprint").textContent;
    $("certificate").hidden = true;
    await ask();
  }));
  $("password-form").addEventListener("submit", tried(async (event) => {
    event.preventDefault();
    $("password-form").hidden = true;
    await ask();
  }));
  $("yes").addEventListener("click", tried(print));
  $("no").addEventListener("click", () => { $("plan").hidden = true; $("address").focus(); });
  root.addEventListener("submit", tried(async (event) => {
    if (event.target.id !== "go-on") return;
    event.preventDefault();
    $("sheets").value = `${$("go-on-from").value}-${$("go-on-from").max}`;
    await ask();
  }));
  root.addEventListener("click", tried(async (event) => {
    if (event.target.id === "going-cancel") await post(at("cancel"));
  }));
}

const wish = (agreed) => ({
  group, file, certificate, agreed,
  printer: $("address").value.trim(),
  sheets: $("sheets").value.trim(),
  source: $("source").value.trim(),
  kind: $("kind").value.trim(),
  quality: $("quality").value || null,
  user: $("user").value.trim(),
});
const password = () => $("printer-password").value || null;

async function find() {
  $("finding").textContent = "Listening for printers …";
  $("found").replaceChildren();
  try {
    const { found, queues } = await post("/api/printers");
    const all = [
      ...found.map(({ name, model, place, address, secure_address: secure }) => [[name, model !== name && model, place].filter(Boolean).join(", "), address ?? secure]),
      ...queues.map(({ name, address }) => [`${name}, a queue of this machine: its filters may scale the pages`, address]),
    ];
    $("finding").textContent = all.length === 0 ? "None makes itself known. Switch it on, or type its address." : "";
    for (const [words, address] of all) {
      const button = Object.assign(document.createElement("button"), { type: "button", className: "button small", textContent: words });
      button.addEventListener("click", tried(async () => { $("address").value = address; await ask(); }));
      const item = document.createElement("li");
      item.append(button);
      $("found").append(item);
    }
  } catch (refused) {
    $("finding").textContent = "";
    throw refused;
  }
}

function appear(part) {
  part.hidden = false;
  part.scrollIntoView({ block: "nearest" });
}

async function ask() {
  $("plan").hidden = true;
  $("certificate").hidden = true;
  $("finding").textContent = "Asking the printer …";
  let told;
  try {
    told = await post(at("plan"), { wish: wish(null), password: password() });
  } finally {
    $("finding").textContent = "";
  }
  if (told.answer === "certificate") {
    $("certificate-title").textContent = told.message;
    $("certificate-said").textContent = told.hint;
    $("fingerprint").textContent = told.shown;
    appear($("certificate"));
    $("certificate").focus();
  } else if (told.answer === "password") {
    $("password-said").textContent = sentence(told.message);
    appear($("password-form"));
    $("user").focus();
  } else {
    show(told);
  }
}

function show({ answer: _, ...plan }) {
  shown = plan;
  try { localStorage.setItem("printer", $("address").value.trim()); } catch { /* it is typed anew next time */ }
  const lines = plan.lines.flatMap(([about, text]) => [
    Object.assign(document.createElement("dt"), { textContent: about }),
    Object.assign(document.createElement("dd"), { textContent: text }),
  ]);
  $("plan-lines").replaceChildren(
    Object.assign(document.createElement("dt"), { textContent: "printer" }),
    Object.assign(document.createElement("dd"), { textContent: `${plan.printer} (${plan.address})` }),
    ...lines,
  );
  $("plan-cautions").replaceChildren(...plan.cautions.map((caution) => line(sentence(caution))));
  $("plan-stake").textContent = sentence(plan.at_stake);
  $("yes").textContent = plan.sheets === 1 ? "Yes, print 1 sheet" : `Yes, print ${plan.sheets} sheets`;
  $("abilities").replaceChildren(...plan.abilities.map(line));
  for (const [id, words] of [["sources", plan.sources], ["kinds", plan.kinds]]) {
    $(id).replaceChildren(...words.map((value) => Object.assign(document.createElement("option"), { value })));
  }
  appear($("plan"));
  $("plan").focus();
}

async function print() {
  const plan = shown;
  if (!plan) return;
  shown = null;
  await post(at("start"), { wish: wish(plan.sheets), password: password(), plan });
  $("plan").hidden = true;
  await refresh("going");
  $("going").scrollIntoView({ block: "nearest" });
}

let known = null;
const events = new EventSource(root.dataset.events);
events.addEventListener("run", async (event) => {
  const { printing } = JSON.parse(event.data);
  const mine = printing && printing.wish.group === group && printing.wish.file === file ? printing : null;
  if (!$("going")) {
    // Another pass is being printed.
    if (known !== null && printing?.job.state !== "running") location.reload();
    known = "";
    return;
  }
  const state = JSON.stringify([mine?.job.state, mine?.said.length, Boolean(mine?.ended)]);
  if (known !== null && state !== known) {
    await refresh("going").catch(() => {});
    if (mine?.wants_password) {
      $("password-said").textContent = sentence(mine.job.message);
      appear($("password-form"));
      $("user").focus();
    }
  }
  known = state;
  if (mine?.job.state === "running" && $("going-bar")) {
    $("going-bar").value = mine.job.done;
    $("going-answer").textContent = `${mine.job.done} of ${mine.plan.sheets} sheets are out.`;
  }
});
