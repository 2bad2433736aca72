"use strict";
// The zoomable picture: play line, marking a stretch, reading values; the player stays the browser's.
(() => {
  const scope = document.getElementById("scope");
  const canvas = document.getElementById("canvas");
  const context = canvas.getContext("2d");
  const player = document.getElementById("player");
  const readout = document.getElementById("readout");
  const from = document.getElementById("from");
  const to = document.getElementById("to");
  const loop = document.getElementById("loop");
  const playButton = document.getElementById("play");
  const data = scope.dataset;
  const duration = Number(data.duration);
  const offset = Number(data.offset);
  const tooth = Number(data.tooth);
  const passes = JSON.parse(data.passes);
  const top = Number(data.rate) / 2;
  const getTile = window.chatterTiles(scope);
  const whole = () => ({ from: 0, to: duration, low: 40, high: top });
  let view = whole();
  let tile = null;
  let mark = null; // {from, to} in seconds
  let pending = null;
  const left = 58;
  const below = 30;
  const above = 26;

  const size = () => {
    const box = canvas.getBoundingClientRect();
    const ratio = Math.min(2, devicePixelRatio || 1);
    const [w, h] = [Math.round(box.width * ratio), Math.round(box.height * ratio)];
    if (canvas.width !== w || canvas.height !== h) [canvas.width, canvas.height] = [w, h];
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    return { w: box.width, h: box.height, pw: box.width - left, ph: box.height - below - above };
  };
  const now = () => player.currentTime + offset;
  const xOf = (t, s) => left + ((t - view.from) / (view.to - view.from)) * s.pw;
  const tOf = (x, s) => view.from + ((x - left) / s.pw) * (view.to - view.from);
  const yOf = (hz, s) => above + s.ph * (1 - Math.log(hz / view.low) / Math.log(view.high / view.low));
  const hzOf = (y, s) => view.low * (view.high / view.low) ** (1 - (y - above) / s.ph);
  const clamp = (v, a, b) => Math.max(a, Math.min(b, v));

  const timeText = (t, digits = 1) => {
    if (duration <= 120) return `${t.toFixed(digits)} s`;
    const minutes = Math.floor(t / 60);
    return `${minutes}:${(t - 60 * minutes).toFixed(digits).padStart(digits ? 3 + digits : 2, "0")}`;
  };
  const hertz = (hz) => (hz >= 1000 ? `${+(hz / 1000).toPrecision(3)} kHz` : `${+hz.toPrecision(3)} Hz`);

  const marks = (span, count) => {
    const raw = span / count;
    const unit = 10 ** Math.floor(Math.log10(raw));
    return unit * [1, 2, 5, 10].find((m) => m * unit >= raw);
  };

  const draw = () => {
    const s = size();
    context.clearRect(0, 0, s.w, s.h);
    context.fillStyle = "#11161b";
    context.fillRect(0, 0, s.w, s.h);
    context.save();
    context.beginPath();
    context.rect(left, above, s.pw, s.ph);
    context.clip();
    if (tile) {
      const x0 = xOf(tile.from, s);
      const y0 = yOf(tile.high, s);
      context.imageSmoothingEnabled = true;
      context.drawImage(tile.canvas, x0, y0, xOf(tile.to, s) - x0, yOf(tile.low, s) - y0);
    }
    if (mark) {
      context.fillStyle = "rgba(8, 10, 14, .62)";
      const [a, b] = [xOf(mark.from, s), xOf(mark.to, s)];
      context.fillRect(left, above, Math.max(0, a - left), s.ph);
      context.fillRect(b, above, Math.max(0, s.w - b), s.ph);
      context.strokeStyle = "#ffffff";
      context.lineWidth = 2;
      context.strokeRect(a, above + 1, b - a, s.ph - 2);
    }
    context.restore();
    axes(s);
    passBars(s);
    const x = xOf(now(), s);
    if (x >= left && x <= s.w) {
      context.strokeStyle = "#000";
      context.lineWidth = 4;
      line(x, 0, x, s.h - below);
      context.strokeStyle = "#ffe14d";
      context.lineWidth = 2;
      line(x, 0, x, s.h - below);
    }
    canvas.setAttribute("aria-valuenow", now().toFixed(1));
    canvas.setAttribute("aria-valuetext", `${timeText(now())}${mark ? `; marked ${timeText(mark.from)} to ${timeText(mark.to)}` : ""}`);
  };
  const line = (x0, y0, x1, y1) => {
    context.beginPath();
    context.moveTo(x0, y0);
    context.lineTo(x1, y1);
    context.stroke();
  };
  const axes = (s) => {
    context.font = "14px system-ui, sans-serif";
    context.fillStyle = "#e9ecee";
    context.strokeStyle = "rgba(233, 236, 238, .28)";
    context.lineWidth = 1;
    context.textBaseline = "middle";
    context.textAlign = "right";
    let last = Infinity;
    for (let decade = 10; decade < 1e5; decade *= 10) {
      for (const m of [1, 2, 5]) {
        const hz = m * decade;
        if (hz < view.low || hz > view.high) continue;
        const y = yOf(hz, s);
        if (last - y < 22 || y < above + 8) continue;
        last = y;
        context.fillText(hz >= 1000 ? `${hz / 1000} k` : String(hz), left - 8, y);
        line(left - 5, y, left, y);
      }
    }
    context.fillText("Hz", left - 8, above + 2 - 14 + 4);
    context.textBaseline = "top";
    context.textAlign = "center";
    const step = marks(view.to - view.from, Math.max(2, s.pw / 90));
    const digits = Math.max(0, Math.ceil(-Math.log10(step) - 1e-9));
    for (let t = Math.ceil(view.from / step) * step; t <= view.to + 1e-9; t += step) {
      const x = xOf(t, s);
      if (x > s.w - 22) break;
      line(x, s.h - below, x, s.h - below + 5);
      context.fillText(timeText(t, digits), Math.max(x, left + 14), s.h - below + 9);
    }
  };
  const passBars = (s) => {
    context.textBaseline = "middle";
    context.textAlign = "left";
    for (const one of passes) {
      const a = clamp(xOf(one.from, s), left, s.w);
      const b = clamp(xOf(one.to, s), left, s.w);
      if (b - a < 2) continue;
      context.fillStyle = "#2c3640";
      context.fillRect(a, 2, b - a - 1, above - 5);
      context.fillStyle = "#ffffff";
      context.save();
      context.beginPath();
      context.rect(a, 0, b - a - 2, above);
      context.clip();
      context.fillText(b - a > 100 ? `${one.n} ${one.name}` : String(one.n), a + 6, above / 2);
      context.restore();
    }
  };

  const refresh = () => {
    draw();
    pending?.abort();
    const control = new AbortController();
    pending = control;
    setTimeout(async () => {
      if (control.signal.aborted) return;
      const s = size();
      const columns = clamp(Math.round(s.pw), 8, 1200);
      const rows = clamp(Math.round(s.ph), 8, 400);
      try {
        const made = await getTile(view, columns, rows, control.signal);
        if (!control.signal.aborted) {
          tile = made;
          scope.dataset.shown = `${view.from.toFixed(2)}-${view.to.toFixed(2)}`;
          draw();
        }
      } catch (wrong) {
        if (wrong.name !== "AbortError") readout.textContent = "The picture cannot be had just now; the sound still plays.";
      }
    }, 60);
  };
  const zoom = (factor, t = (view.from + view.to) / 2) => {
    const span = clamp((view.to - view.from) * factor, Math.min(0.05, duration), duration);
    const start = clamp(t - ((t - view.from) / (view.to - view.from)) * span, 0, duration - span);
    view = { ...view, from: start, to: start + span };
    refresh();
  };
  const shift = (share) => {
    const span = view.to - view.from;
    const start = clamp(view.from + share * span, 0, duration - span);
    view = { ...view, from: start, to: start + span };
    refresh();
  };
  const seek = (t) => {
    player.currentTime = Math.max(0, clamp(t, 0, duration) - offset);
    draw();
  };
  const setMark = (a, b, write = true) => {
    mark = b - a >= 0.05 ? { from: clamp(a, 0, duration), to: clamp(b, 0, duration) } : null;
    history.replaceState(null, "", mark ? `#mark=${mark.from.toFixed(2)}-${mark.to.toFixed(2)}` : location.pathname + location.search);
    if (write) {
      from.value = mark ? mark.from.toFixed(2) : "";
      to.value = mark ? mark.to.toFixed(2) : "";
    }
    from.closest(".span").classList.toggle("set", Boolean(mark));
    if (mark) readout.textContent = `Marked ${timeText(mark.from)} to ${timeText(mark.to)}, ${(mark.to - mark.from).toFixed(1)} s. "Listen again" below judges only this.`;
    draw();
  };
  const seconds = (text) => {
    const parts = text.trim().replace(",", ".").split(":").map(Number);
    return text.trim() && parts.every(Number.isFinite) ? parts.reduce((sum, p) => 60 * sum + p, 0) : NaN;
  };
  const fromFields = () => {
    const [a, b] = [seconds(from.value), seconds(to.value)];
    if (Number.isFinite(a) && Number.isFinite(b)) setMark(a, b, false);
    else if (mark || from.value || to.value) {
      mark = null;
      from.closest(".span").classList.remove("set");
      draw();
    }
  };
  const read = (x, y) => {
    const s = size();
    if (x < left || y < above || y > s.h - below) return;
    const [t, hz] = [tOf(x, s), hzOf(y, s)];
    let text = `${timeText(t, 2)}, ${hertz(hz)}`;
    if (tile && t >= tile.from && t < tile.to && hz >= tile.low && hz < tile.high) {
      const column = Math.floor(((t - tile.from) / (tile.to - tile.from)) * tile.columns);
      const row = Math.floor((Math.log(hz / tile.low) / Math.log(tile.high / tile.low)) * tile.rows);
      const above = Math.round(window.chatterLevel(tile, row, column, scope) - Number(data.low));
      text += above > 0 ? `, ${above} dB above the quiet of this picture` : ", quiet";
    }
    if (tooth) text += `, ${(hz / tooth).toFixed(2)} x tooth passing`;
    readout.textContent = text;
  };

  const touches = new Map();
  let drag = null;
  const at = (event) => {
    const box = canvas.getBoundingClientRect();
    return { x: event.clientX - box.left, y: event.clientY - box.top };
  };
  canvas.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    canvas.setPointerCapture(event.pointerId);
    touches.set(event.pointerId, at(event));
    const t = tOf(at(event).x, size());
    drag = touches.size === 1 ? { x: at(event).x, t, moved: false } : null;
  });
  canvas.addEventListener("pointermove", (event) => {
    const p = at(event);
    if (touches.size === 2 && touches.has(event.pointerId)) {
      const other = [...touches].find(([id]) => id !== event.pointerId)[1];
      const before = Math.abs(touches.get(event.pointerId).x - other.x);
      const after = Math.abs(p.x - other.x);
      if (before > 10 && after > 10) zoom(before / after, tOf((p.x + other.x) / 2, size()));
      touches.set(event.pointerId, p);
      return;
    }
    if (drag) {
      if (Math.abs(p.x - drag.x) > 6) drag.moved = true;
      if (drag.moved) {
        const t = tOf(clamp(p.x, left, size().w), size());
        setMark(Math.min(drag.t, t), Math.max(drag.t, t));
      }
      return;
    }
    read(p.x, p.y);
  });
  const lift = (event) => {
    touches.delete(event.pointerId);
    if (drag && !drag.moved && event.type === "pointerup") {
      seek(drag.t);
      player.play().catch(() => {});
      read(at(event).x, at(event).y);
    }
    drag = null;
  };
  canvas.addEventListener("pointerup", lift);
  canvas.addEventListener("pointercancel", lift);
  canvas.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !event.shiftKey && Math.abs(event.deltaX) <= Math.abs(event.deltaY) && document.activeElement !== canvas) return; // the page scrolls until the picture is in use
    event.preventDefault();
    if (Math.abs(event.deltaX) > Math.abs(event.deltaY) || event.shiftKey) shift((event.deltaX || event.deltaY) / 600);
    else zoom(Math.exp(event.deltaY / 400), tOf(at(event).x, size()));
  }, { passive: false });
  canvas.addEventListener("keydown", (event) => {
    const step = (view.to - view.from) / 50;
    const does = {
      ArrowLeft: () => seek(now() - step), ArrowRight: () => seek(now() + step),
      PageUp: () => shift(-0.5), PageDown: () => shift(0.5),
      Home: () => seek(0), End: () => seek(duration),
      " ": () => toggle(), "+": () => zoom(0.5, now()), "=": () => zoom(0.5, now()), "-": () => zoom(2, now()),
      0: () => fit(), "[": () => setMark(now(), mark ? Math.max(mark.to, now() + 0.1) : duration),
      "]": () => setMark(mark ? Math.min(mark.from, now() - 0.1) : 0, now()), Escape: () => clear(),
    }[event.key];
    if (!does || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    does();
  });
  const toggle = () => (player.paused ? player.play().catch(() => {}) : player.pause());
  const fit = () => {
    view = { ...whole(), high: view.high };
    refresh();
  };
  const clear = () => {
    setMark(0, 0);
    readout.textContent = "The whole recording is judged.";
  };
  const tick = () => {
    if (loop.checked && mark && !player.paused && (now() >= mark.to || now() < mark.from - 0.1)) seek(mark.from);
    draw();
    if (!player.paused) requestAnimationFrame(tick);
  };
  player.addEventListener("play", () => {
    playButton.textContent = "Pause";
    if (loop.checked && mark && (now() < mark.from || now() >= mark.to)) seek(mark.from);
    requestAnimationFrame(tick);
  });
  player.addEventListener("pause", () => (playButton.textContent = "Play"));
  for (const name of ["seeked", "timeupdate", "loadedmetadata"]) player.addEventListener(name, draw);
  playButton.addEventListener("click", toggle);
  document.getElementById("in").addEventListener("click", () => {
    const span = view.to - view.from;
    if (mark) view = { ...view, from: (mark.from + mark.to - span) / 2, to: (mark.from + mark.to + span) / 2 };
    zoom(0.5); // on the middle, which is now that of the mark
  });
  document.getElementById("out").addEventListener("click", () => zoom(2));
  document.getElementById("left").addEventListener("click", () => shift(-0.5));
  document.getElementById("right").addEventListener("click", () => shift(0.5));
  document.getElementById("fit").addEventListener("click", fit);
  document.getElementById("clear").addEventListener("click", clear);
  document.getElementById("band").addEventListener("change", (event) => {
    view = { ...view, high: Math.min(top, Number(event.target.value) || top), low: Number(event.target.value) === 300 ? 20 : 40 };
    refresh();
  });
  from.addEventListener("input", fromFields);
  to.addEventListener("input", fromFields);
  new ResizeObserver(refresh).observe(canvas);
  const marked = location.hash.match(/^#mark=([\d.]+)-([\d.]+)$/); // marked before a reload
  if (marked) setMark(Number(marked[1]), Number(marked[2]));
  else fromFields();
  refresh();
})();
