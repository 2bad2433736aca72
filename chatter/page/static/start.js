"use strict";
document.documentElement.classList.add("js");
// A file dropped beside the place for it would make the browser leave the page.
for (const kind of ["dragover", "drop"]) {
  addEventListener(kind, (event) => {
    if (![...(event.dataTransfer?.types || [])].includes("Files") || document.getElementById("drop")) return;
    event.preventDefault();
    if (kind === "dragover" || document.getElementById("drop-hint")) return;
    const hint = document.createElement("p");
    hint.id = "drop-hint";
    hint.className = "note";
    hint.setAttribute("role", "status");
    hint.textContent = "Drop recordings on the page Listen.";
    document.getElementById("main").prepend(hint);
  });
}
