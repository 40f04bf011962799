// The page of a piece of work: what is said goes to the server, what it answers is shown.

import { get, inWords, post, refresh, tried } from "./api.js";
import { LightTable } from "./table.js";
import { TenSheets } from "./ten.js";

const $ = (id) => document.getElementById(id);
const root = $("work");
const id = root.dataset.id;
const at = (rest) => `/api/work/${id}/${rest}`;

if ($("table")) bench(); else waiting();

function follow(told) {
  const events = new EventSource(at("events"));
  events.addEventListener("work", (event) => told(JSON.parse(event.data)));
}

function waiting() {
  // Loaded anew once there is something to show.
  let running = null;
  follow(({ job }) => {
    const now = job?.state === "running";
    if (running && !now) location.reload();
    if (running === null && !now && $("cancel")) location.reload();
    running = now;
  });
  $("cancel")?.addEventListener("click", tried(() => post(at("cancel"))));
  $("again")?.addEventListener("click", tried(async () => { await post(at("look")); location.reload(); }));
  $("unlock")?.addEventListener("submit", (event) => {
    event.preventDefault();
    tried(async () => {
      await post(at("password"), { password: $("password").value });
      location.reload();
    })();
  });
}

function bench() {
  let sheet = 0;
  let shown = null;
  const table = new LightTable($("table"), id, { moved, moving, turned: turn });
  const ten = new TenSheets(id, table.tiles);
  const checked = (name) => document.querySelector(`input[name="${name}"]:checked`)?.value;
  const choose = (name, value) => { document.querySelector(`input[name="${name}"][value="${value}"]`).checked = true; };

  function setWhen(when) {
    choose("when", when);
    table.set({ when });
  }

  function show(answer) {
    shown = answer;
    const { how } = shown;
    $("answer").textContent = shown.seen || (how === "move" ? "Move the backs to where they should be." : how === "setup" ? "Choose the set-up that you print with." : "Say how the backs sit on your print.");
    $("moves").textContent = shown.moves;
    if (document.activeElement !== $("words")) $("words").value = shown.words;
    for (const part of document.querySelectorAll("[data-for]")) part.hidden = part.dataset.for !== how;
    $("typed").hidden = how === "setup";
    $("from-setup").hidden = how !== "setup";
    $("meant").hidden = shown.far_mm === null;
    if (shown.far_mm !== null) $("meant").querySelector("span").textContent = `Yes, move the backs as far as ${Math.round(shown.far_mm)} mm.`;
    document.querySelector('input[name="when"][value="before"] + span').textContent = shown.printed ? "Print now" : "File now";
    document.querySelector('input[name="when"][value="after"] + span').textContent = shown.printed ? "Print corrected" : "File corrected";
    table.show(shown);
    looking();
    const { front, back } = shown.sheet;
    const hasCards = Boolean(shown.cards && front && back);
    const without = inspecting === "running" ? "They are drawn as soon as cards are found on this sheet." : "No cards were found on both sides of this sheet, so there are none to show.";
    const known = how === "setup" && $("setup")?.value;
    ten.show(known ? sheet : null, hasCards ? null : without, JSON.stringify([known, sheet, shown.flip, hasCards || without]));
  }

  function looking() {
    $("looking").textContent = table.side === "front" ? "Looking at the front" : "Looking at the back";
  }

  const change = tried(async (wish) => show(await post(at("change"), { ...wish, sheet })));

  // Moves come faster than answers: they are added up, and one question is on its way at a time.
  let queue = Promise.resolve();
  let wanted = null;
  function moved(right, down) {
    const from = wanted ?? shown.placed;
    const to = (mm) => Math.round(mm * 100) / 100;
    wanted = { ...from, right_mm: to(from.right_mm + right), down_mm: to(from.down_mm + down) };
    $("live").hidden = true;
    setWhen(shown.how === "seen" ? "before" : "after");
    const mine = wanted;
    queue = queue.then(async () => {
      if (mine !== wanted) return;
      await change({ placed: mine });
      if (mine === wanted) wanted = null;
    });
  }

  const units = document.querySelector("[data-units][aria-pressed=true]").dataset.units;
  function moving(right, down) {
    setWhen(shown.how === "seen" ? "before" : "after");
    const say = (mm, plus, minus) => `${(Math.abs(mm) / (units === "in" ? 25.4 : 1)).toFixed(units === "in" ? 3 : 1)} ${units} ${mm < 0 ? minus : plus}`;
    const { right_mm: x, down_mm: y } = shown.placed;
    $("live").hidden = false;
    $("live").textContent = `looking at the back: ${say(y + down, "low", "high")}, ${say(x + right, "right", "left")}`;
  }

  function turn() {
    table.set({ side: table.side === "front" ? "back" : "front" });
    looking();
  }

  $("how").addEventListener("submit", (event) => {
    event.preventDefault();
    typed();
  });
  async function typed() {
    await change({ words: $("words").value });
    setWhen(shown.how === "seen" ? "before" : "after");
  }
  $("words").addEventListener("blur", () => { if ($("words").value !== shown?.words) typed(); });
  $("clear").addEventListener("click", () => { $("words").value = ""; change({ words: "" }); });
  for (const radio of document.querySelectorAll('input[name="how"]')) {
    radio.addEventListener("change", () => change({ how: checked("how") }));
  }
  $("setup")?.addEventListener("change", async () => {
    await change({ how: "setup", setup: $("setup").value });
    setWhen("before");
  });
  $("really").addEventListener("change", () => change({ really: $("really").checked }));
  for (const radio of document.querySelectorAll('input[name="flip"]')) {
    radio.addEventListener("change", () => change({ flip: checked("flip") }));
  }
  const backs = tried(async (words) => {
    await post(at("change"), { backs: words, sheet: 0 });
    location.reload();
  });
  $("backs")?.addEventListener("change", () => {
    const isList = $("backs").value === "list";
    $("backs-list").hidden = !isList;
    if (isList) $("backs-pages").focus(); else backs($("backs").value);
  });
  $("backs-pages")?.addEventListener("change", () => backs($("backs-pages").value));
  $("afresh").addEventListener("click", tried(async () => {
    const deck = await post(at("lay"));
    location.assign(`/deck/${deck.id}`);
  }));
  $("swap")?.addEventListener("click", tried(async () => { await post(at("swap")); location.reload(); }));

  for (const radio of document.querySelectorAll('input[name="when"]')) radio.addEventListener("change", () => table.set({ when: checked("when") }));
  for (const radio of document.querySelectorAll('input[name="look"]')) radio.addEventListener("change", () => table.set({ look: checked("look") }));
  $("through").addEventListener("input", () => table.set({ through: $("through").value / 100 }));
  $("turn").addEventListener("click", turn);
  $("zoom-in").addEventListener("click", () => table.zoom(1.5));
  $("zoom-out").addEventListener("click", () => table.zoom(1 / 1.5));
  $("zoom-fit").addEventListener("click", () => table.fit());

  const open = tried(async (index) => {
    sheet = index;
    for (const button of document.querySelectorAll("[data-sheet]")) {
      button.setAttribute("aria-current", String(Number(button.dataset.sheet) === index));
    }
    show(await get(at(`sheet/${index}`)));
    await corners();
  });
  function listen() {
    for (const button of document.querySelectorAll("[data-sheet]")) {
      button.addEventListener("click", () => open(Number(button.dataset.sheet)));
    }
  }
  listen();

  /** Close-ups of the outer corners of the cards, or of what is printed where no cards were found. */
  async function corners() {
    const page = shown.sheet.front ?? shown.sheet.back;
    const mine = sheet;
    const box = shown.cards ?? (await get(at(`printed/${page.file}/${page.page}`)).catch(() => null))?.box;
    if (mine !== sheet) return;
    const [left, top, right, bottom] = box ?? [0, 0, page.w, page.h];
    const points = { tl: [left, top], tr: [right, top], bl: [left, bottom], br: [right, bottom] };
    table.set({
      corners: [...document.querySelectorAll("[data-corner]")].map((canvas) => ({ canvas, at: points[canvas.dataset.corner] })),
    });
  }

  // Saving.
  let saving = false;
  let asked = false;
  $("save").addEventListener("click", tried(async () => {
    if (saving) return;
    await queue;
    asked = true;
    await post(at("save"));
  }));
  $("cancel").addEventListener("click", tried(() => post(at("cancel"))));

  // The close look goes on beside everything else.
  let inspecting = null;
  async function inspected(job) {
    const state = job?.state ?? "none";
    if (state !== inspecting) {
      const first = inspecting === null;
      inspecting = state;
      if (!first) await refresh("worth", "sheets").catch(() => {});
      if (!first && state === "done") {
        // Pages may be paired otherwise now.
        listen();
        await open(sheet);
      } else if (shown) {
        show(shown);
      }
    }
    const bar = $("worth-bar");
    if (bar && job?.total) [bar.max, bar.value] = [job.total, job.done];
  }
  document.addEventListener("click", tried(async (event) => {
    if (event.target.id === "worth-cancel") await post(at("inspect/cancel"));
    if (event.target.id === "worth-again") await post(at("inspect"));
  }));

  follow(({ job, saved, inspecting: look }) => {
    inspected(look);
    const isSave = job?.kind === "save";
    saving = isSave && job.state === "running";
    $("save").setAttribute("aria-disabled", String(saving));
    $("job-bar").hidden = !saving;
    $("cancel").hidden = !saving;
    if (saving && job.total) {
      $("job-bar").max = job.total;
      $("job-bar").value = job.done;
    } else {
      $("job-bar").removeAttribute("value");
    }
    const why = job?.message ? inWords(job) : "";
    $("job-text").textContent = saving ? `Correcting${job.total ? ` page ${job.done} of ${job.total}` : ""} …` : isSave && job.state !== "done" ? why : "";
    $("saved").hidden = !saved;
    if (saved) {
      $("saved-text").textContent = `${saved.is_current ? "Saved" : "Saved before your last change"}: ${saved.name}. Backs: ${saved.in_words}.`;
      $("saved-cautions").replaceChildren(...saved.cautions.map((caution) => Object.assign(document.createElement("li"), { textContent: caution })));
      $("download").href = at("saved");
      $("download").setAttribute("download", saved.name);
    }
    if (asked && isSave && job.state === "done" && saved?.is_current) {
      asked = false;
      $("download").click();
    } else if (asked && isSave && !saving && job.state !== "done") {
      asked = false;
    }
  });

  open(0);
}
