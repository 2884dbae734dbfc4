"use strict";
/* Reads the packed blocks of the page: one line of JSON that says how, then deflated bytes. */
const Unpack = {
  possible: typeof DecompressionStream === "function",

  async block(id) {
    const place = document.getElementById(id);
    const text = place.textContent;
    place.textContent = "";
    const cut = text.indexOf("\n");
    const plain = atob(text.slice(cut + 1).trim());
    const packed = new Uint8Array(plain.length);
    for (let i = 0; i < plain.length; i++) packed[i] = plain.charCodeAt(i);
    const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
    return { head: JSON.parse(text.slice(0, cut)), bytes: new Uint8Array(await new Response(stream).arrayBuffer()) };
  },

  async document(id) {
    const { bytes } = await Unpack.block(id);
    return JSON.parse(new TextDecoder().decode(bytes));
  },

  async columns(id) {
    const { head, bytes } = await Unpack.block(id);
    const made = { head };
    let at = 0;
    for (const [name, kind, width, size] of head.columns) {
      made[name] = Unpack.column(bytes, at, kind, width, size);
      at += width * size;
    }
    return made;
  },

  column(bytes, at, kind, width, size) {
    if (width === 1) return bytes.subarray(at, at + size);
    const Kind = kind === "i" ? Int32Array : width === 2 ? Uint16Array : Uint32Array;
    const values = new Kind(size);
    for (let plane = 0; plane < width; plane++) {
      const from = at + plane * size;
      const shift = 8 * plane;
      for (let i = 0; i < size; i++) values[i] |= bytes[from + i] << shift;
    }
    return values;
  },

  signed(value) { return (value >>> 1) ^ -(value & 1); },

  /* Shapes: running sums of steps become places on the square map, 0 to 1. */
  shapes(columns) {
    const count = columns.dx.length, lines = columns.length.length;
    const points = new Float64Array(2 * count);
    const [lowX, lowY] = columns.head.low, step = columns.head.step;
    let x = 0, y = 0;
    for (let i = 0; i < count; i++) {
      x += Unpack.signed(columns.dx[i]);
      y += Unpack.signed(columns.dy[i]);
      points[2 * i] = (x + lowX) * step;
      points[2 * i + 1] = (y + lowY) * step;
    }
    const start = new Uint32Array(lines + 1), owner = new Int32Array(lines), box = new Float64Array(4 * lines);
    let at = 0, who = 0;
    for (let l = 0; l < lines; l++) {
      start[l] = at;
      who += Unpack.signed(columns.owner[l]);
      owner[l] = who;
      const end = at + columns.length[l];
      let west = 2, north = 2, east = -1, south = -1;
      for (; at < end; at++) {
        west = Math.min(west, points[2 * at]); east = Math.max(east, points[2 * at]);
        north = Math.min(north, points[2 * at + 1]); south = Math.max(south, points[2 * at + 1]);
      }
      box.set([west, north, east, south], 4 * l);
    }
    start[lines] = at;
    return { points, start, owner, box, kind: columns.kind, area: columns.area, lines };
  },
};
