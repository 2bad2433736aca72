"use strict";
// Look again while something is being heard; never while something is being filled in.
(() => {
  let touched = false;
  for (const kind of ["input", "change", "drop"]) addEventListener(kind, () => (touched = true));
  const again = () => (touched ? null : location.reload());
  setTimeout(again, 3000);
})();
