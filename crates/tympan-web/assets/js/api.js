// Asking the server. Every change carries the token of the server's start.

let token = document.querySelector('meta[name="tympan-token"]').content;

/** What the server refuses, in its words. */
export class Refused extends Error {
  constructor(message, hint, status) {
    super(message);
    this.hint = hint;
    this.status = status;
  }
}

export const refusing = (message, hint) => new Refused(message, hint, 422);

async function refusal(response) {
  const told = await response.json().catch(() => ({}));
  const { message, hint } = told.refused ?? {};
  return new Refused(message ?? "Tympan did not understand this", hint ?? "load the page again", response.status);
}

const gone = () => new Refused("Tympan does not answer", "start it again; what lies on the desk is kept", 0);

/** A new token, where the server was started again under an open page. */
async function renew() {
  const response = await fetch("/api/hello").catch(() => null);
  if (response?.ok) token = (await response.json()).token;
}

export async function get(path) {
  const response = await fetch(path).catch(() => { throw gone(); });
  if (!response.ok) throw await refusal(response);
  return response.json();
}

export async function post(path, body, again = true) {
  const response = await fetch(path, {
    method: "POST",
    headers: { "x-tympan-token": token, "content-type": "application/json" },
    body: body === undefined ? undefined : JSON.stringify(body),
  }).catch(() => { throw gone(); });
  if (response.status === 403 && again) {
    await renew();
    return post(path, body, false);
  }
  if (!response.ok) throw await refusal(response);
  const text = await response.text();
  return text ? JSON.parse(text) : null;
}

const left = () => new Refused("", "", -1);

/** Sends a file; `progress` is told the part that has gone. `abort` takes a function that stops it. */
function send(path, file, progress, abort) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("POST", path);
    request.setRequestHeader("x-tympan-token", token);
    request.setRequestHeader("content-type", "application/pdf");
    request.upload.onprogress = (event) => progress(event.loaded / event.total);
    request.onload = () => {
      let told = {};
      try { told = JSON.parse(request.responseText); } catch { /* told in words below */ }
      if (request.status < 300) resolve(told);
      else reject(new Refused(told.refused?.message ?? "the file was not taken", told.refused?.hint ?? "try again", request.status));
    };
    request.onerror = () => reject(gone());
    request.onabort = () => reject(left());
    abort(() => request.abort());
    request.send(file);
  });
}

/** What an action refuses is said at the head of the page. */
export const tried = (action) => async (...args) => {
  try {
    say(null);
    return await action(...args);
  } catch (refused) {
    say(refused);
    document.getElementById("problem").scrollIntoView({ block: "nearest" });
    return undefined;
  }
};

/** Fetches this page once more and puts the parts of these ids in their places. */
export async function refresh(...ids) {
  const response = await fetch(location.href).catch(() => { throw gone(); });
  if (!response.ok) throw await refusal(response);
  const anew = new DOMParser().parseFromString(await response.text(), "text/html");
  for (const id of ids) {
    const [old, fresh] = [document.getElementById(id), anew.getElementById(id)];
    if (old && fresh) old.replaceWith(document.adoptNode(fresh));
  }
}

/**
 * Sends files one after the other to a first address and then to those that follow from its answer.
 * `abort` takes a function that stops it.
 */
export async function sendAll(files, first, next, told, abort = () => {}) {
  const whole = files.reduce((sum, file) => sum + file.size, 0);
  let [before, begun] = [0, null];
  let [stopped, stop] = [false, () => {}];
  abort(() => { stopped = true; stop(); });
  await renew();
  for (const [index, file] of files.entries()) {
    const query = `name=${encodeURIComponent((file.folders ?? "") + file.name)}${index + 1 < files.length ? "&more=true" : ""}`;
    const path = begun ? next(begun) : first;
    if (stopped) throw left();
    const answer = await send(`${path}?${query}`, file, (part) => told((before + part * file.size) / whole, file.name), (one) => { stop = one; });
    begun ??= answer.id;
    before += file.size;
  }
  return begun;
}

/** A sentence of a message: with a capital letter, but where it begins with a file's name. */
export function sentence(message) {
  const isName = message.split(" ")[0].includes(".");
  return `${isName ? message : message.charAt(0).toUpperCase() + message.slice(1)}.`;
}

/** What was refused, or why work ended, and what to do. */
export const inWords = ({ message, hint }) => sentence(message) + (hint ? ` What to do: ${hint}.` : "");

/** Says what was refused at the head of the page, or takes the saying back. */
export function say(refused) {
  const place = document.getElementById("problem");
  place.hidden = !refused || refused.status === -1;
  if (place.hidden) return;
  place.textContent = inWords({ message: refused.message || String(refused), hint: refused.hint });
}
