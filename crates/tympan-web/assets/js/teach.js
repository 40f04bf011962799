// Teaching how a printer lays its pile: the answers go to the server, which says what they mean.

import { post, refresh, tried } from "./api.js";

const $ = (id) => document.getElementById(id);
const setup = $("teach").dataset.setup;
const chosen = (form, name) => form.querySelector(`input[name="${name}"]:checked`)?.value || null;
const number = (text) => (text === null ? null : Number(text));

function seen() {
  const form = $("answers");
  return {
    on_top_sheet: number(chosen(form, "on_top_sheet")),
    took: chosen(form, "took"),
    at_arrow: chosen(form, "at_arrow"),
    pile_top: number(chosen(form, "pile_top")),
    pile_faces: chosen(form, "pile_faces"),
  };
}

/** A picture that the server drew. */
function picture(svg) {
  const drawn = new DOMParser().parseFromString(svg, "image/svg+xml").documentElement;
  return document.importNode(drawn, true);
}

function doubt(told) {
  $("second").hidden = false;
  $("second-words").textContent = `Your answers leave more than one way. ${told.words}`;
  const pile = Object.assign(document.createElement("div"), { className: "pile" });
  pile.append(...told.pictures.map(picture));
  $("second-pile").replaceChildren(pile);
  const answers = encodeURIComponent(JSON.stringify(seen()));
  $("second-pages").href = `/api/setup/${setup}/trial?seen=${answers}`;
  $("second-print").href = `/print/0/trial/${setup}?seen=${answers}`;
  $("second").focus();
  $("second").scrollIntoView();
}

async function learn(again) {
  const told = await post(`/api/setup/${setup}/teach`, { seen: seen(), again });
  if (!told.sure) {
    doubt(told);
    return;
  }
  $("second").hidden = true;
  await refresh("known");
  const known = $("known");
  for (const caution of told.cautions) {
    known.append(Object.assign(document.createElement("p"), { className: "bear", textContent: caution }));
  }
  known.focus();
  known.scrollIntoView();
}

$("answers")?.addEventListener("submit", tried(async (event) => {
  event.preventDefault();
  await learn(null);
}));
$("second")?.addEventListener("submit", tried(async (event) => {
  event.preventDefault();
  const form = $("second");
  await learn({
    behind_first: number(chosen(form, "behind_first")),
    same_face: chosen(form, "same_face") === "true",
    heads_together: chosen(form, "heads_together") === "true",
  });
}));
