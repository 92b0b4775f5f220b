// Files dropped anywhere on the page.

export function dropped(hovering, taken) {
  document.addEventListener("dragover", (event) => {
    event.preventDefault();
    hovering(true);
  });
  document.addEventListener("dragleave", () => hovering(false));
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    hovering(false);
    const file = event.dataTransfer?.files[0];
    if (file) taken(file);
  });
}
