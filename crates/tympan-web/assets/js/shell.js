// What every page has: the switch between millimetres and inches.

for (const button of document.querySelectorAll("[data-units]")) {
  button.addEventListener("click", () => {
    document.cookie = `units=${button.dataset.units}; path=/; max-age=31536000; samesite=strict`;
    location.reload();
  });
}
