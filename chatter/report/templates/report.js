"use strict";
(() => {
  const player = document.getElementById("player");
  const screen = document.getElementById("screen");
  const scope = document.querySelector(".scope");
  // On a phone the answer, what to do and the cautions stand open; how it was told is folded.
  const folds = [...document.querySelectorAll("details[data-wide][open]")];
  if (matchMedia("(max-width: 720px)").matches) for (const fold of folds) fold.open = false;
  addEventListener("beforeprint", () => folds.forEach((fold) => (fold.open = true)));
  const open = () => {
    const target = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    const within = target && (target.querySelector(":scope > details") || target.closest("details"));
    if (within) within.open = true;
  };
  addEventListener("hashchange", open);
  open();
  document.querySelector(".keep").hidden = false;
  document.getElementById("print").addEventListener("click", () => print());
  document.getElementById("print-all").addEventListener("click", () => {
    for (const fold of document.querySelectorAll("details")) fold.open = true;
    document.documentElement.classList.add("all");
    print();
  });
  const share = document.getElementById("share");
  if (share && navigator.canShare) {
    // Where the browser can hand a picture to other programs it does; else it is saved.
    const bytes = Uint8Array.from(atob(share.href.split(",")[1]), (c) => c.charCodeAt(0));
    const file = new File([bytes], share.download, { type: "image/png" });
    if (navigator.canShare({ files: [file] })) {
      share.addEventListener("click", (event) => {
        event.preventDefault();
        navigator.share({ files: [file], title: document.title }).catch(() => {});
      });
    }
  }
  if (!player || !screen) return;
  const length = Number(scope.dataset.length);
  const offset = Number(player.dataset.offset);
  const cursor = document.getElementById("cursor");
  const strips = [...document.querySelectorAll(".strip-bar")].map((bar) => ({
    cursor: bar.querySelector(".cursor"), from: Number(bar.dataset.from), to: Number(bar.dataset.to),
  }));
  const draw = () => {
    const now = player.currentTime + offset;
    cursor.style.left = `${Math.min(100, (100 * now) / length)}%`;
    screen.setAttribute("aria-valuenow", now.toFixed(1));
    screen.setAttribute("aria-valuetext", `${now.toFixed(1)} seconds`);
    for (const one of strips) {
      const at = (now - one.from) / (one.to - one.from);
      one.cursor.hidden = at < 0 || at > 1;
      one.cursor.style.left = `${100 * at}%`;
    }
    if (!player.paused) requestAnimationFrame(draw);
  };
  const seek = (seconds) => {
    player.currentTime = Math.max(0, Math.min(length, seconds) - offset);
    draw();
  };
  const placed = (event) => {
    const box = screen.getBoundingClientRect();
    seek(((event.clientX - box.left) / box.width) * length);
  };
  const listen = () => player.play().catch(() => {}); // a browser may refuse; the place is set
  screen.addEventListener("pointerdown", placed);
  screen.addEventListener("pointerup", listen);
  screen.addEventListener("pointermove", (event) => event.buttons && placed(event));
  screen.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: -1, ArrowRight: 1, PageDown: -10, PageUp: 10 }[event.key];
    if (step) seek(player.currentTime + offset + step);
    else if (event.key === "Home") seek(0);
    else if (event.key === " ") player.paused ? player.play() : player.pause();
    else return;
    event.preventDefault();
  });
  for (const tag of document.querySelectorAll("[data-seek]")) {
    tag.addEventListener("click", () => {
      seek(Number(tag.dataset.seek));
      listen();
    });
  }
  for (const name of ["play", "seeked", "timeupdate", "loadedmetadata"]) player.addEventListener(name, draw);
  draw();
})();
