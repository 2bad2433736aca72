"use strict";
// Record in the page. Every half second is on the disk of the computer that runs the page before
// the next is sent, so that a browser that is closed midway loses no more than that.
(() => {
  const at = (id) => document.getElementById(id);
  const form = at("send");
  const start = at("record");
  const panel = at("recorder");
  const media = navigator.mediaDevices;
  if (!window.isSecureContext || !media?.getUserMedia || !window.AudioWorkletNode) {
    // A page over the plain network: the browser forbids it.
    at("own-recorder").hidden = !matchMedia("(pointer: coarse)").matches;
    at("rec-phone").hidden = false;
    return;
  }
  start.hidden = false;

  const IDLE_S = 10;
  const token = document.body.dataset.csrf;
  let now = null; // what is being recorded

  const wrong = (text) => {
    at("rec-wrong").textContent = text;
    at("rec-wrong").hidden = !text;
  };
  const fields = (more) => {
    const told = new URLSearchParams();
    for (const [name, value] of new FormData(form)) if (typeof value === "string") told.append(name, value);
    for (const [name, value] of Object.entries(more || {})) told.set(name, value);
    return told;
  };
  const asked = async (path, options) => {
    const answer = await fetch(path, { method: "POST", cache: "no-store", ...options });
    const told = answer.headers.get("content-type")?.includes("json") ? await answer.json() : {};
    if (answer.ok || answer.status === 409) return told;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    throw Object.assign(new Error(page.querySelector("main p")?.textContent || "The page refuses."), { said: true });
  };

  const turnsPerS = () => {
    const speed = Number(form.elements["cut.speed"].value.trim().replace(",", ".").replace(/\s*(rev\/min|rpm)$/i, ""));
    return speed > 0 ? speed / 60 : 0;
  };

  const show = () => {
    const seconds = now.samples / now.rate;
    const turns = seconds * turnsPerS();
    at("rec-time").textContent = seconds < 100 ? `${Math.floor(seconds)} s` : `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")} min`;
    at("rec-turns").textContent = turns ? `${Math.floor(turns)} ${Math.floor(turns) === 1 ? "turn" : "turns"}` : "State the spindle speed above to count turns.";
    const [idle, ...rest] = at("rec-order").children;
    const left = Math.ceil(IDLE_S - seconds);
    idle.className = left > 0 ? "now" : "done";
    at("rec-idle").textContent = left > 0 ? `${left} s to go, at the speed of the cut` : "done";
    for (const one of rest) one.className = left > 0 ? "" : "now";
    const since = turns - IDLE_S * turnsPerS();
    at("rec-cut").textContent = left > 0 || !turns ? "20 turns or more" : `20 turns or more; ${Math.floor(since)} since idling`;
  };

  const level = ({ peak, clipped, count }) => {
    now.samples += count;
    const db = peak > 0 ? Math.max(-60, 20 * Math.log10(peak)) : -60;
    at("rec-bar").style.width = `${((db + 60) / 60) * 100}%`;
    at("rec-level").setAttribute("aria-valuenow", db.toFixed(0));
    if (clipped) now.clipped += 1;
    now.loudest = Math.max(now.loudest, db);
    at("rec-level").classList.toggle("clipped", now.clipped > 0);
    const said = now.clipped ? "Too loud: it clips. Stop the spindle, then move the microphone further away, and record again."
      : now.samples > 3 * now.rate && now.loudest < -50 ? "Hardly anything is heard: is this the right microphone?"
        : "Level";
    if (at("rec-said").textContent !== said) at("rec-said").textContent = said;
    at("rec-said").classList.toggle("wrong", said !== "Level");
    show();
  };

  // Pieces in order, one at a time; what cannot be sent yet waits here.
  const send = async () => {
    const mine = now;
    if (mine.sending) return mine.sending;
    mine.sending = (async () => {
      while (mine.pieces.length && !mine.dropped) {
        try {
          const told = await asked(`/live/${mine.id}/${mine.number}`, { headers: { "X-Form-Token": token, "Content-Type": "application/octet-stream" }, body: mine.pieces[0] });
          mine.pieces.shift();
          mine.number = told.wanted ?? mine.number + 1;
          mine.missed = 0;
          if (told.more === false && now === mine) stop("This is as long as a recording may be.");
        } catch (error) {
          mine.missed += 1;
          if (error.said || mine.missed > 20) throw error;
          await new Promise((done) => setTimeout(done, 500));
        }
      }
    })().finally(() => (mine.sending = null));
    return mine.sending;
  };

  const quiet = async () => {
    for (const track of now.stream.getTracks()) track.stop();
    await now.context.close();
    await now.awake?.release().catch(() => null);
  };
  const shut = () => {
    now = null;
    panel.hidden = true;
    at("pick").hidden = at("go").hidden = false;
    start.disabled = false;
  };

  const stop = async (why) => {
    if (!now || now.stopping) return;
    now.stopping = true;
    at("rec-stop").disabled = at("rec-drop").disabled = true;
    if (why) at("rec-said").textContent = why;
    try {
      await new Promise((done) => {
        now.over = done;
        now.node.port.postMessage("over");
      });
      await quiet();
      await send();
      await send(); // what came while the last was on its way
      const told = await asked(`/live/${now.id}/end`, { body: fields() });
      now = null;
      location.assign(told.kept[0]);
    } catch (error) {
      wrong(error.said ? error.message : "The page cannot be reached: what was recorded so far is kept there, and listened to once it runs again.");
      shut();
    }
  };

  start.addEventListener("click", async () => {
    start.disabled = true;
    wrong("");
    let stream = null;
    try {
      // Each of these would bend the sound: they are made for voices.
      const off = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
      stream = await media.getUserMedia({ audio: { ...off, channelCount: 1 } });
      const track = stream.getAudioTracks()[0];
      const kept = Object.keys(off).filter((name) => track.getSettings()[name] === true);
      let context = new AudioContext({ sampleRate: 48000, latencyHint: "playback" });
      let source;
      try {
        source = context.createMediaStreamSource(stream);
      } catch { // some browsers join only equal rates
        await context.close();
        context = new AudioContext({ latencyHint: "playback" });
        source = context.createMediaStreamSource(stream);
      }
      await context.audioWorklet.addModule("/static/worklet.js");
      const told = await asked("/live", { body: fields({ rate: String(Math.round(context.sampleRate)) }) });
      const node = new AudioWorkletNode(context, "keeper", { numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit" });
      now = { id: told.id, stream, context, node, rate: context.sampleRate, samples: 0, clipped: 0, loudest: -60, pieces: [], number: 0, missed: 0, sending: null };
      node.port.onmessage = ({ data }) => {
        if (!now) return;
        if (data.over) return now.over?.();
        if (!data.samples) return now.stopping || level(data);
        now.pieces.push(data.samples);
        send().catch((error) => {
          if (now && !now.stopping) stop(error.said ? error.message : "");
        });
      };
      track.addEventListener("ended", () => stop("The microphone was taken away."));
      source.connect(node);
      await context.resume();
      now.awake = await navigator.wakeLock?.request("screen").catch(() => null);
      at("pick").hidden = at("go").hidden = true;
      at("rec-stop").disabled = at("rec-drop").disabled = false;
      panel.hidden = false;
      if (kept.length) wrong("This browser keeps its noise suppression on, which spoils the answer: use a recorder of the computer or the phone instead.");
      show();
      at("rec-stop").focus();
    } catch (error) {
      stream?.getTracks().forEach((track) => track.stop());
      start.disabled = false;
      const said = { NotAllowedError: "The microphone is not allowed: allow it for this page in the browser's address bar, and try again.", NotFoundError: "This computer has no microphone that the browser can find: plug one in, or choose a file.", NotReadableError: "Another program holds the microphone: close it, and try again." };
      wrong(said[error.name] || (error.said ? error.message : "The microphone cannot be used here: record with the phone, and choose the file."));
    }
  });

  at("rec-stop").addEventListener("click", () => stop(""));
  at("rec-drop").addEventListener("click", async () => {
    if (!now || now.stopping) return;
    const { id } = now;
    now.dropped = now.stopping = true;
    await quiet();
    await asked(`/live/${id}/drop`, { body: fields() }).catch(() => null);
    shut();
  });
  // The page is left: what was recorded so far is kept and listened to.
  addEventListener("pagehide", () => now && !now.dropped && navigator.sendBeacon(`/live/${now.id}/end`, fields()));
})();
