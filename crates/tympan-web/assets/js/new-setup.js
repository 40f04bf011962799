// A set-up from simple questions: the answers go to the server, which makes it or says what is missing.

import { post, tried } from "./api.js";

const form = document.getElementById("new");
const chosen = (name) => form.querySelector(`input[name="${name}"]:checked`)?.value ?? "";
const typed = (id) => document.getElementById(id).value.trim();

/** "Another one" shows where to write it. */
for (const name of ["paper", "feed"]) {
  const other = document.getElementById(`other-${name}`);
  for (const radio of form.querySelectorAll(`input[name="${name}"]`)) {
    radio.addEventListener("change", () => {
      other.hidden = chosen(name) !== "other";
      if (!other.hidden) other.querySelector("input").focus();
    });
  }
}

const answer = (name) => (chosen(name) === "other" ? typed(`${name}-words`) : chosen(name));

function answers() {
  return {
    name: typed("name"),
    printer: typed("printer"),
    paper: answer("paper"),
    stock: typed("stock"),
    feed: answer("feed"),
    flip: chosen("flip"),
    flipped_by: chosen("flipped_by"),
    first_side: chosen("first_side"),
    leading_edge: chosen("leading_edge"),
  };
}

function preview() {
  const { printer, feed, stock } = answers();
  document.getElementById("name").placeholder = [printer, feed, stock].filter(Boolean).join(", ");
}
form.addEventListener("input", preview);
preview();

form.addEventListener("submit", tried(async (event) => {
  event.preventDefault();
  const { id } = await post("/api/setups", answers());
  location.assign(`/setup/${id}/measure`);
}));
