"use strict";
// Drop target, list of what was chosen, upload with progress: one by one, or all in one go where
// they belong together, as the taps of one test do. Without this script the same form sends all
// files in one go.
(() => {
  const form = document.getElementById("send");
  const list = document.getElementById("chosen");
  const go = document.getElementById("go");
  const goText = go.textContent;
  const drop = document.getElementById("drop");
  const inputs = ["file", "sound", "film"].map((id) => document.getElementById(id)).filter(Boolean);
  const mostBytes = Number(form.dataset.mostBytes);
  const mostFiles = Number(form.dataset.mostFiles);
  const ownHint = document.getElementById("own-hint");
  const chosen = [];

  const megabytes = (bytes) => `${(bytes / 1e6).toFixed(bytes < 1e7 ? 1 : 0)} MB`;

  const row = (entry) => {
    const item = document.createElement("li");
    const name = document.createElement("span");
    name.textContent = `${entry.file.name} (${megabytes(entry.file.size)})`;
    item.append(name);
    const away = document.createElement("button");
    away.type = "button";
    away.textContent = "Remove";
    away.setAttribute("aria-label", `Remove ${entry.file.name}`);
    away.addEventListener("click", () => {
      chosen.splice(chosen.indexOf(entry), 1);
      item.remove();
      ask();
    });
    item.append(away);
    entry.item = item;
    entry.away = away;
    list.append(item);
  };

  // Several files at once: each was its own cut, with its own speed and teeth.
  const own = [["cut.speed", "Speed", "decimal"], ["cutter.teeth", "Teeth", "numeric"]]
    .filter(([name]) => form.elements[name]);
  const ask = () => {
    const several = chosen.length > 1 && own.length > 0;
    for (const entry of chosen) {
      if (several && !entry.own) {
        entry.own = document.createElement("div");
        entry.own.className = "own";
        for (const [name, label, keys] of own) {
          const field = document.createElement("label");
          const input = document.createElement("input");
          input.inputMode = keys;
          input.autocomplete = "off";
          input.dataset.name = name;
          input.setAttribute("aria-label", `${entry.file.name}: ${label}`);
          field.append(label, input);
          entry.own.append(field);
        }
        entry.item.append(entry.own);
      }
      if (!entry.own) continue;
      const inputs = [...entry.own.querySelectorAll("input")];
      entry.own.hidden = !several && !inputs.some((input) => input.value.trim());
      for (const input of inputs)
        input.placeholder = form.elements[input.dataset.name].value.trim() || "as above";
    }
    if (ownHint) ownHint.hidden = !several;
  };
  form.addEventListener("input", ask);

  const say = (entry, text, refused) => {
    let line = entry.item.querySelector("p");
    if (!line) entry.item.append((line = document.createElement("p")));
    line.textContent = text;
    line.className = refused ? "wrong" : "help";
    entry.item.classList.toggle("refused", Boolean(refused));
  };

  const add = (files) => {
    for (const file of files) {
      const entry = { file };
      row(entry);
      if (!file.size) say(entry, "It is empty: copy it again from the phone.", true);
      else if (file.size > mostBytes) say(entry, `It is larger than ${megabytes(mostBytes)}: send a shorter recording.`, true);
      else if (chosen.length >= mostFiles) say(entry, `More than ${mostFiles} at once: send it afterwards.`, true);
      else chosen.push(entry);
    }
    ask();
  };

  inputs[0].multiple = true; // without this script all would be sent with one speed
  for (const input of inputs) {
    input.addEventListener("change", () => {
      add(input.files);
      input.value = "";
    });
  }

  let depth = 0;
  const carries = (event) => event.dataTransfer && [...event.dataTransfer.types].includes("Files");
  addEventListener("dragenter", (event) => {
    if (!carries(event)) return;
    event.preventDefault();
    depth += 1;
    drop.hidden = false;
  });
  addEventListener("dragover", (event) => carries(event) && event.preventDefault());
  addEventListener("dragleave", (event) => {
    if (carries(event) && (depth -= 1) <= 0) drop.hidden = true;
  });
  addEventListener("drop", (event) => {
    if (!carries(event)) return;
    event.preventDefault();
    depth = 0;
    drop.hidden = true;
    add(event.dataTransfer.files);
    go.focus();
  });
  addEventListener("paste", (event) => event.clipboardData?.files.length && add(event.clipboardData.files));

  const wait = (seconds) => new Promise((done) => setTimeout(done, seconds * 1000));

  const together = "together" in form.dataset;

  const send = (entries) => new Promise((done) => {
    const body = new FormData();
    // Fields first: the page checks them before it takes a byte of the file.
    for (const [name, value] of new FormData(form)) if (typeof value === "string") body.append(name, value);
    const [{ own: stated, item }] = entries;
    if (stated && !stated.hidden)
      for (const input of stated.querySelectorAll("input")) if (input.value.trim()) body.set(input.dataset.name, input.value);
    for (const { file } of entries) body.append("file", file, file.name);
    const bar = item.querySelector("progress") || document.createElement("progress");
    bar.max = entries.reduce((sum, { file }) => sum + file.size, 0);
    bar.value = 0;
    bar.setAttribute("aria-label", `Sending ${entries.map(({ file }) => file.name).join(", ")}`);
    item.append(bar);
    const request = new XMLHttpRequest();
    request.open("POST", form.action);
    request.setRequestHeader("Accept", "application/json");
    request.responseType = "json";
    request.upload.addEventListener("progress", (event) => (bar.value = Math.min(event.loaded, bar.max)));
    const end = (answer) => {
      bar.remove();
      done(answer);
    };
    request.addEventListener("load", () => end({ status: request.status, after: Number(request.getResponseHeader("Retry-After")), ...(request.response || {}) }));
    request.addEventListener("error", () => end({ status: 0 }));
    request.send(body);
  });

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!chosen.length) {
      inputs[0].focus();
      let none = document.getElementById("none-chosen");
      if (!none) {
        none = document.createElement("li");
        none.id = "none-chosen";
        none.className = "wrong refused";
        list.append(none);
      }
      none.textContent = "Choose a file, film the cut, or drop a recording here.";
      return;
    }
    document.getElementById("none-chosen")?.remove();
    go.disabled = true;
    go.textContent = "Sending";
    const where = [];
    const parcels = together ? [[...chosen]] : chosen.map((entry) => [entry]);
    for (const entries of parcels) {
      const tell = (text, refused) => entries.forEach((entry) => say(entry, text, refused));
      for (const entry of entries) entry.away.hidden = true;
      let answer = await send(entries);
      for (let tries = 0; answer.status === 503 && tries < 40; tries += 1) {
        tell("Busy just now: it is sent again by itself. Keep this page open.");
        await wait(answer.after || 10);
        answer = await send(entries);
      }
      if (answer.kept?.length) {
        where.push(...answer.kept);
        for (const entry of entries) {
          const why = (answer.refused || []).find((line) => line.startsWith(`${entry.file.name}: `));
          if (!why) chosen.splice(chosen.indexOf(entry), 1);
          else entry.away.hidden = false;
          say(entry, why || "Sent.", why);
        }
      } else {
        const why = answer.refused?.[0] || "The page cannot be reached: see that it still runs, and press Listen again.";
        tell(why, true);
        for (const entry of entries) entry.away.hidden = false;
      }
    }
    go.disabled = false;
    go.textContent = goText;
    if (!chosen.length && where.length) location.assign(where.length === 1 ? where[0] : form.dataset.many);
  });
})();
