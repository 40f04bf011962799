// The page on a phone: one button, which sends a photo to the computer.

const $ = (id) => document.getElementById(id);
const [photo, bar, said] = [$("photo"), $("bar"), $("said")];

photo?.addEventListener("change", () => {
  const [file] = photo.files;
  if (!file) return;
  const request = new XMLHttpRequest();
  request.open("POST", `${location.pathname}/photo?name=${encodeURIComponent(file.name || "photo.jpg")}`);
  request.setRequestHeader("content-type", "application/octet-stream");
  request.upload.onprogress = (event) => { bar.value = event.loaded / event.total; };
  const end = (text) => {
    bar.hidden = true;
    photo.value = "";
    said.textContent = text;
  };
  request.onload = () => {
    if (request.status < 300) {
      end("It has arrived: look at the computer. You can take another one.");
      return;
    }
    let told = {};
    try { told = JSON.parse(request.responseText).refused; } catch { /* told in other words below */ }
    end(told?.message ? `${told.message[0].toUpperCase()}${told.message.slice(1)}. What to do: ${told.hint}.` : "The link is closed. Ask for a new one on the computer.");
  };
  request.onerror = () => end("The computer does not answer. Is the link still open there?");
  bar.hidden = false;
  bar.value = 0;
  said.textContent = "Sending …";
  request.send(file);
});
