"use strict";
// A chosen card states its own fields: what was typed before for another is taken away.
for (const kind of ["machine", "cutter"]) {
  const pick = document.getElementById(`pick-${kind}`);
  if (!pick) continue;
  const fields = [...document.querySelectorAll(`[name^="${kind}."]`)];
  const hint = () => {
    for (const one of fields) if (one.tagName === "INPUT") one.placeholder = pick.value ? "on its card" : "";
  };
  pick.addEventListener("change", () => {
    if (pick.value) for (const one of fields) one.value = "";
    hint();
  });
  hint();
}
