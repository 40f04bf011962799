// How well they line up: readings are set aside with a reason, and brought back.

import { post, tried } from "./api.js";

for (const form of document.querySelectorAll("[data-set-aside]")) {
  form.addEventListener("submit", tried(async (event) => {
    event.preventDefault();
    await post(`/api/reading/${form.dataset.setAside}/set-aside`, { why: form.elements.why.value });
    location.reload();
  }));
}
for (const button of document.querySelectorAll("[data-bring-back]")) {
  button.addEventListener("click", tried(async () => {
    await post(`/api/reading/${button.dataset.bringBack}/bring-back`);
    location.reload();
  }));
}
