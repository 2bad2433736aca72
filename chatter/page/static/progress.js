"use strict";
(() => {
  const box = document.getElementById("progress");
  const bar = document.getElementById("bar");
  const what = document.getElementById("what");
  const pictureShown = Boolean(document.getElementById("scope"));
  let failures = 0;
  const ask = async () => {
    try {
      const answer = await fetch(box.dataset.state, { cache: "no-store" });
      if (!answer.ok) throw new Error(answer.status);
      const now = await answer.json();
      failures = 0;
      if (now.state === "done" || now.state === "failed") return location.reload();
      if (now.view && !pictureShown) return location.reload();
      bar.value = now.share;
      const text = now.state === "waiting"
        ? (now.before ? `${now.before} recording${now.before === 1 ? "" : "s"} to go before this one.` : "Its turn comes next.")
        : now.what;
      if (text && what.textContent !== text) what.textContent = text;
    } catch {
      failures += 1;
      if (failures > 3) what.textContent = "The page does not answer just now. The recording is kept; trying again.";
    }
    setTimeout(ask, failures ? 2000 : 600);
  };
  setTimeout(ask, 400);
})();
