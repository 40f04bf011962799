// The first page: files arrive by drop or choice.

import { post, say, send } from "./api.js";

const drop = document.getElementById("drop");
const arriving = document.getElementById("arriving");
const text = document.getElementById("arriving-text");
const bar = document.getElementById("arriving-bar");
let stop = () => {};
let busy = false;

const isPdf = (file) => file.type === "application/pdf" || /\.pdf$/i.test(file.name);

/** Fronts first: a name that speaks of backs is that of the backs. */
function inOrder(files) {
  const isBack = (file) => /back|rear|verso|r(ü|ue)ck/i.test(file.name);
  return isBack(files[0]) && !isBack(files[1]) ? [files[1], files[0]] : files;
}

async function take(list) {
  const files = [...list];
  if (busy || files.length === 0) return;
  if (!files.every(isPdf)) {
    say({ message: "only PDF files can be taken", hint: "print pictures to a PDF first" });
    return;
  }
  if (files.length > 2) {
    say({ message: `${files.length} files were dropped`, hint: "drop one PDF, or two: the fronts in one, the backs in another" });
    return;
  }
  say(null);
  busy = true;
  arriving.hidden = false;
  const [fronts, backs] = files.length === 2 ? inOrder(files) : files;
  const whole = files.reduce((sum, file) => sum + file.size, 0);
  const part = (before) => (file) => (done) => {
    bar.value = (before + done * file.size) / whole;
    text.textContent = `Taking in ${file.name} …`;
  };
  let begun = null;
  try {
    const more = backs ? "&more=true" : "";
    const name = (file) => `name=${encodeURIComponent(file.name)}`;
    begun = await send(`/api/work?${name(fronts)}${more}`, fronts, part(0)(fronts), (abort) => { stop = abort; });
    if (backs) {
      await send(`/api/work/${begun.id}/backs?${name(backs)}`, backs, part(fronts.size)(backs), (abort) => { stop = abort; });
    }
    location.assign(`/work/${begun.id}`);
  } catch (refused) {
    // Fronts without the backs that were to come are no game.
    if (begun) await post(`/api/work/${begun.id}/put-away`).catch(() => {});
    say(refused);
    busy = false;
    arriving.hidden = true;
  }
}

// A file dropped beside the place must not make the browser leave the page.
for (const kind of ["dragover", "drop"]) window.addEventListener(kind, (event) => event.preventDefault());
window.addEventListener("dragenter", () => drop.classList.add("over"));
window.addEventListener("dragleave", (event) => { if (!event.relatedTarget) drop.classList.remove("over"); });
window.addEventListener("drop", (event) => {
  drop.classList.remove("over");
  take(event.dataTransfer.files);
});
document.getElementById("files").addEventListener("change", (event) => take(event.target.files));
document.getElementById("arriving-cancel").addEventListener("click", () => stop());

document.getElementById("demo").addEventListener("click", async () => {
  if (busy) return;
  busy = true;
  arriving.hidden = false;
  document.getElementById("arriving-cancel").hidden = true;
  bar.removeAttribute("value");
  text.textContent = "Drawing Saltmarsh Ferry …";
  try {
    const { id } = await post("/api/demo");
    location.assign(`/work/${id}`);
  } catch (refused) {
    say(refused);
    busy = false;
    arriving.hidden = true;
  }
});

const undo = document.getElementById("undo");
for (const button of document.querySelectorAll("[data-put-away]")) {
  button.addEventListener("click", async () => {
    const id = button.dataset.putAway;
    const row = button.closest("li");
    try {
      await post(`/api/work/${id}/put-away`);
    } catch (refused) {
      say(refused);
      return;
    }
    row.hidden = true;
    undo.hidden = false;
    undo.querySelector("span").textContent = `${row.querySelector("a").textContent} was put away. It goes for good when Tympan is closed.`;
    const back = undo.querySelector("button");
    back.focus();
    back.onclick = async () => {
      await post(`/api/work/${id}/bring-back`).catch(say);
      row.hidden = false;
      undo.hidden = true;
      row.querySelector("a").focus();
    };
  });
}
