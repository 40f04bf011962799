// All set-ups: renaming, copying, removing and bringing back.

import { post, refusing, tried } from "./api.js";

const said = document.getElementById("said");

/** Says what was done after the page has come anew. */
function again(text) {
  sessionStorage.setItem("said", text);
  location.reload();
}

const before = sessionStorage.getItem("said");
if (before) {
  sessionStorage.removeItem("said");
  said.hidden = false;
  said.textContent = before;
}

for (const form of document.querySelectorAll("[data-rename]")) {
  form.addEventListener("submit", tried(async (event) => {
    event.preventDefault();
    const { name } = await post(`/api/setup/${form.dataset.rename}/rename`, { name: form.elements.name.value });
    again(`It is now called “${name}”.`);
  }));
}
for (const button of document.querySelectorAll("[data-copy]")) {
  button.addEventListener("click", tried(async () => {
    const { name } = await post(`/api/setup/${button.dataset.copy}/copy`);
    again(`“${name}” was made like it, without readings: another way of working is measured anew.`);
  }));
}
for (const button of document.querySelectorAll("[data-remove]")) {
  button.addEventListener("click", tried(async () => {
    const { name } = await post(`/api/setup/${button.dataset.remove}/remove`);
    again(`“${name}” was removed. It can be brought back, at the foot of this page.`);
  }));
}
for (const button of document.querySelectorAll("[data-restore]")) {
  button.addEventListener("click", tried(async () => {
    const { name } = await post(`/api/setup/${button.dataset.restore}/restore`);
    again(`“${name}” is back with all its readings.`);
  }));
}
document.getElementById("import").addEventListener("change", tried(async (event) => {
  const [file] = event.target.files;
  if (!file) return;
  let told;
  try {
    told = JSON.parse(await file.text());
  } catch {
    throw refusing(`${file.name} is no export of set-ups`, "choose a file that Tympan exported");
  } finally {
    event.target.value = "";
  }
  again((await post("/api/setups/import", told)).said.join(" "));
}));
