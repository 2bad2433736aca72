"use strict";
(() => {
  const deck = document.getElementById("deck");
  if (!deck) return;
  const voices = [...deck.querySelectorAll("audio")].map((audio) => ({
    audio, start: Number(audio.dataset.start), length: Number(audio.dataset.length),
    volume: Number(audio.dataset.volume), key: document.getElementById(audio.dataset.key),
  }));
  const go = document.getElementById("go");
  const seek = document.getElementById("seek");
  const clock = document.getElementById("clock");
  const length = Math.min(...voices.map((one) => one.length));
  seek.max = String(length);
  let now = 0; // the voice that is heard
  const heard = () => voices[now];
  const time = () => Math.max(0, heard().audio.currentTime - heard().start);
  const words = (seconds) => `${Math.floor(seconds / 60)}:${(seconds % 60).toFixed(1).padStart(4, "0")}`;
  const place = (seconds) => {
    for (const one of voices) one.audio.currentTime = one.start + seconds;
  };
  const draw = () => {
    const at = time();
    if (at >= length && !heard().audio.paused) stop();
    if (document.activeElement !== seek || !heard().audio.paused) seek.value = String(at);
    seek.setAttribute("aria-valuetext", `${at.toFixed(1)} seconds of cutting`);
    clock.textContent = `${words(at)} of ${words(length)} of cutting`;
    if (!heard().audio.paused) requestAnimationFrame(draw);
  };
  // All voices run together, all but one muted, so that a switch is heard at once.
  const listen = (index) => {
    const at = time();
    now = index;
    voices.forEach((one, i) => {
      one.audio.muted = i !== now;
      one.audio.volume = one.volume;
      one.key.setAttribute("aria-pressed", String(i === now));
      if (Math.abs(one.audio.currentTime - one.start - at) > 0.03) one.audio.currentTime = one.start + at;
    });
    draw();
  };
  const stop = () => {
    for (const one of voices) one.audio.pause();
    go.textContent = "Play";
    go.setAttribute("aria-pressed", "false");
  };
  const play = () => {
    if (time() >= length - 0.05) place(0);
    Promise.all(voices.map((one) => one.audio.play())).then(() => {
      go.textContent = "Stop";
      go.setAttribute("aria-pressed", "true");
      listen(now);
    }).catch(stop); // a browser may refuse; the place is set
  };
  go.addEventListener("click", () => (heard().audio.paused ? play() : stop()));
  voices.forEach((one, i) => one.key.addEventListener("click", () => listen(i)));
  seek.addEventListener("input", () => { place(Number(seek.value)); draw(); });
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.target.closest("input, summary, a")) return;
    const letter = event.key.toLowerCase();
    const chosen = letter.length === 1 ? letter.charCodeAt(0) - 97 : -1;
    if (chosen >= 0 && chosen < voices.length) listen(chosen);
    else if (letter === "x") listen((now + 1) % voices.length);
    else if (event.key === " " && event.target.tagName !== "BUTTON") go.click();
    else return;
    event.preventDefault();
  });
  for (const one of voices) one.audio.addEventListener("loadedmetadata", () => { one.audio.currentTime = one.start; });
  listen(0);
})();
