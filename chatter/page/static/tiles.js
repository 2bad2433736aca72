"use strict";
// Pictures of a stretch and band of the recording, asked from the page and kept for a while.
window.chatterTiles = (scope) => {
  const lowest = Number(scope.dataset.lowest);
  const step = Number(scope.dataset.step);
  const low = Number(scope.dataset.low);
  const high = Number(scope.dataset.high);
  const hex = scope.dataset.palette;
  const colours = Array.from({ length: hex.length / 6 }, (_, i) => [0, 2, 4].map((j) => parseInt(hex.slice(6 * i + j, 6 * i + j + 2), 16)));
  const kept = new Map();

  const paint = (levels, columns, rows) => {
    const canvas = document.createElement("canvas");
    canvas.width = columns;
    canvas.height = rows;
    const context = canvas.getContext("2d");
    const image = context.createImageData(columns, rows);
    const last = colours.length - 1;
    for (let r = 0; r < rows; r += 1) {
      const to = (rows - 1 - r) * columns;
      for (let c = 0; c < columns; c += 1) {
        const db = lowest + step * levels[r * columns + c];
        const colour = colours[Math.max(0, Math.min(last, Math.round(((db - low) / (high - low)) * last)))];
        const at = 4 * (to + c);
        image.data[at] = colour[0];
        image.data[at + 1] = colour[1];
        image.data[at + 2] = colour[2];
        image.data[at + 3] = 255;
      }
    }
    context.putImageData(image, 0, 0);
    return canvas;
  };

  // view: {from, to, low, high}; the answer has the picture and its levels as well
  return async (view, columns, rows, signal) => {
    const query = new URLSearchParams({ from: view.from.toFixed(4), to: view.to.toFixed(4), low: view.low.toFixed(1), high: view.high.toFixed(1), columns, rows });
    const key = query.toString();
    if (!kept.has(key)) {
      const answer = await fetch(`${scope.dataset.tile}?${key}`, { signal });
      if (!answer.ok) throw new Error(`tile ${answer.status}`);
      const levels = new Uint8Array(await answer.arrayBuffer());
      kept.set(key, { ...view, columns, rows, levels, canvas: paint(levels, columns, rows) });
      if (kept.size > 24) kept.delete(kept.keys().next().value);
    }
    return kept.get(key);
  };
};
window.chatterLevel = (tile, row, column, scope) =>
  Number(scope.dataset.lowest) + Number(scope.dataset.step) * tile.levels[row * tile.columns + column];
