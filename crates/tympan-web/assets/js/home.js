// The first page: files arrive by drop or choice.

import { post, say, sendAll } from "./api.js";

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

const isOfCards = (file) => isPdf(file) || /\.(png|jpe?g|webp|tiff?|svg|csv|tsv|json)$/i.test(file.name);

/** In folders lie files, too, that their owner neither made nor sees. */
const isOwners = (file) => !file.name.startsWith(".") && !/^(thumbs\.db|desktop\.ini)$/i.test(file.name);

/** The files in what was dropped, folders too; each with the folders that it lies in. */
async function filesIn(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (!entries.some((entry) => entry.isDirectory)) return [...transfer.files];
  const files = [];
  const walk = async (entry, folders) => {
    if (entry.isFile) {
      const file = await new Promise((resolve, reject) => entry.file(resolve, reject));
      files.push(Object.assign(file, { folders }));
      return;
    }
    const reader = entry.createReader();
    // A folder is told in parts.
    for (;;) {
      const part = await new Promise((resolve, reject) => reader.readEntries(resolve, reject));
      if (part.length === 0) return;
      for (const child of part) await walk(child, `${folders}${entry.name}/`);
    }
  };
  for (const entry of entries) await walk(entry, "");
  return files.filter(isOwners);
}

async function take(list) {
  const files = [...list];
  if (busy || files.length === 0) return;
  const strange = files.find((file) => !isOfCards(file));
  if (strange) {
    say({ message: `${strange.name} is neither a PDF nor a picture nor a deck list`, hint: "leave it out" });
    return;
  }
  say(null);
  busy = true;
  arriving.hidden = false;
  // Pictures, lists and whole heaps of files become a deck to be laid out.
  const isDeck = files.length > 2 || !files.every(isPdf);
  const [kind, further] = isDeck ? ["deck", "file"] : ["work", "backs"];
  let begun = null;
  const next = (id) => { begun = id; return `/api/${kind}/${id}/${further}`; };
  const told = (part, name) => {
    bar.value = part;
    text.textContent = `Taking in ${name} …`;
  };
  try {
    const all = !isDeck && files.length === 2 ? inOrder(files) : files;
    const id = await sendAll(all, `/api/${kind}`, next, told, (abort) => { stop = abort; });
    location.assign(`/${kind}/${id}`);
  } catch (refused) {
    // What came without what was to come with it is no game.
    if (begun) await post(`/api/${kind}/${begun}/put-away`).catch(() => {});
    say(refused);
    busy = false;
    arriving.hidden = true;
  }
}

// A file dropped beside the place must not make the browser leave the page.
for (const kind of ["dragover", "drop"]) window.addEventListener(kind, (event) => event.preventDefault());
window.addEventListener("dragenter", () => drop.classList.add("over"));
window.addEventListener("dragleave", (event) => { if (!event.relatedTarget) drop.classList.remove("over"); });
window.addEventListener("drop", async (event) => {
  drop.classList.remove("over");
  take(await filesIn(event.dataTransfer));
});
document.getElementById("files").addEventListener("change", (event) => take(event.target.files));
document.getElementById("folder").addEventListener("change", (event) => {
  const within = (file) => Object.assign(file, { folders: file.webkitRelativePath.slice(0, -file.name.length) });
  take([...event.target.files].map(within).filter(isOwners));
});
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
    const at = (what) => `/api/${row.dataset.deck ? "deck" : "work"}/${id}/${what}`;
    try {
      await post(at("put-away"));
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
      await post(at("bring-back")).catch(say);
      row.hidden = false;
      undo.hidden = true;
      row.querySelector("a").focus();
    };
  });
}
