"use strict";
/* Two canvas layers over typed arrays: the ground in three greys, and the trees on it. */
const CELL_ZOOM = 15, CELL_STEPS = 65536;

function colours() {
  const style = getComputedStyle(document.documentElement);
  return new Proxy({}, { get: (_, name) => style.getPropertyValue(`--${name}`).trim() });
}

class Trees {
  constructor(columns, words) {
    Object.assign(this, columns);
    this.words = words;
    this.size = columns.rating.length;
    this.cellOf = new Map();
    this.bounds = null;
    let from = 0;
    for (let c = 0; c < this.cells.length; c += 3) {
      const x = this.cells[c], y = this.cells[c + 1], end = this.cells[c + 2];
      this.cellOf.set(`${x}/${y}`, { x, y, from, end });
      from = end;
    }
    this.list = [...this.cellOf.values()];
    this.shown = new Uint8Array(this.size).fill(1);
    this.number = new Uint32Array(this.id.length);
    let number = 0;
    for (let i = 0; i < this.number.length; i++) this.number[i] = number += Unpack.signed(this.id[i]);
    this.texts = words.ids.text === undefined ? null : words.ids.text.split("\n");
  }

  idOf(i) {
    if (this.texts) return this.texts[i];
    const { prefix, width, odd } = this.words.ids;
    return odd[i] ?? prefix + String(this.number[i]).padStart(width, "0");
  }

  /* Place on the square map, 0 to 1. */
  world(i) {
    const cell = this.cellAt(i), scale = 2 ** CELL_ZOOM;
    return [(cell.x + this.x[i] / CELL_STEPS) / scale, (cell.y + this.y[i] / CELL_STEPS) / scale];
  }

  cellAt(i) {
    let low = 0, high = this.list.length - 1;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.list[middle].end > i) high = middle; else low = middle + 1;
    }
    return this.list[low];
  }

  latLng(i) { return fromWorld(...this.world(i)); }

  extent(rows = null) {
    let west = 2, north = 2, east = -1, south = -1;
    const take = (x, y) => { west = Math.min(west, x); east = Math.max(east, x); north = Math.min(north, y); south = Math.max(south, y); };
    if (rows) for (const i of rows) take(...this.world(i));
    else for (const cell of this.list) {
      const scale = 2 ** CELL_ZOOM;
      for (let i = cell.from; i < cell.end; i++) take((cell.x + this.x[i] / CELL_STEPS) / scale, (cell.y + this.y[i] / CELL_STEPS) / scale);
    }
    return L.latLngBounds(fromWorld(west, south), fromWorld(east, north));
  }

  /* Calls `visit(i, x, y)` for trees in a box of the square map; x, y on that map. */
  within(west, north, east, south, visit) {
    const scale = 2 ** CELL_ZOOM;
    const cell = (c) => {
      for (let i = c.from; i < c.end; i++) {
        const x = (c.x + this.x[i] / CELL_STEPS) / scale, y = (c.y + this.y[i] / CELL_STEPS) / scale;
        if (x >= west && x <= east && y >= north && y <= south) visit(i, x, y);
      }
    };
    const x0 = Math.floor(west * scale), x1 = Math.floor(east * scale), y0 = Math.floor(north * scale), y1 = Math.floor(south * scale);
    if ((x1 - x0 + 1) * (y1 - y0 + 1) < this.list.length) {
      for (let x = x0; x <= x1; x++) for (let y = y0; y <= y1; y++) { const c = this.cellOf.get(`${x}/${y}`); if (c) cell(c); }
    } else for (const c of this.list) if (c.x >= x0 && c.x <= x1 && c.y >= y0 && c.y <= y1) cell(c);
  }

  nearest(latlng, zoom, reach) {
    const [x, y] = toWorld(latlng), far = reach / (256 * 2 ** zoom);
    let best = -1, least = far * far;
    this.within(x - far, y - far, x + far, y + far, (i, tx, ty) => {
      if (!this.shown[i]) return;
      const d = (tx - x) ** 2 + (ty - y) ** 2;
      if (d < least) { least = d; best = i; }
    });
    return best;
  }
}

function fromWorld(x, y) {
  return L.latLng(Math.atan(Math.sinh(Math.PI * (1 - 2 * y))) * 180 / Math.PI, 360 * x - 180);
}
function toWorld(latlng) {
  const s = Math.sin(latlng.lat * Math.PI / 180);
  return [latlng.lng / 360 + 0.5, 0.5 - Math.log((1 + s) / (1 - s)) / (4 * Math.PI)];
}

const CanvasTiles = L.GridLayer.extend({
  createTile(coords) {
    const size = this.getTileSize(), dense = Math.min(window.devicePixelRatio || 1, 2);
    const tile = L.DomUtil.create("canvas", "leaflet-tile");
    tile.width = size.x * dense; tile.height = size.y * dense;
    const pen = tile.getContext("2d");
    pen.scale(dense, dense);
    const scale = size.x * 2 ** coords.z;
    this.options.paint(pen, { scale, left: coords.x * size.x, top: coords.y * size.y, size: size.x, zoom: coords.z });
    return tile;
  },
});

/* Draws one pass of shapes: rings of one owner as one path, so that holes stay holes. */
function tracePass(pen, tile, shapes, wanted, pad) {
  const { scale, left, top, size } = tile;
  const west = (left - pad) / scale, north = (top - pad) / scale, east = (left + size + pad) / scale, south = (top + size + pad) / scale;
  const { points, start, box } = shapes;
  pen.beginPath();
  let any = false;
  for (let l = 0; l < shapes.lines; l++) {
    if (!wanted(l)) continue;
    const b = 4 * l;
    if (box[b] > east || box[b + 2] < west || box[b + 1] > south || box[b + 3] < north) continue;
    any = true;
    for (let p = start[l]; p < start[l + 1]; p++) {
      const x = points[2 * p] * scale - left, y = points[2 * p + 1] * scale - top;
      if (p === start[l]) pen.moveTo(x, y); else pen.lineTo(x, y);
    }
  }
  return any;
}

function groundLayer(shapes, names) {
  const [MINOR, MAJOR, PATH, WATER, PARK, BUILDING, WARD] = [0, 1, 2, 3, 4, 5, 6];
  const labels = new Map();
  const paint = (pen, tile) => {
    const c = colours(), z = tile.zoom;
    const pass = (kind) => tracePass(pen, tile, shapes, (l) => shapes.kind[l] === kind, 40);
    const fill = (kind, colour) => { if (pass(kind)) { pen.fillStyle = colour; pen.fill("evenodd"); } };
    const line = (kind, colour, width, dash = []) => {
      if (!pass(kind)) return;
      pen.strokeStyle = colour; pen.lineWidth = width; pen.setLineDash(dash); pen.stroke(); pen.setLineDash([]);
    };
    pen.lineJoin = pen.lineCap = "round";
    fill(PARK, c["map-soft"]);
    fill(WATER, c["map-mid"]);
    if (z >= 15) fill(BUILDING, c["map-mid"]);
    const grow = 2 ** (z - 16), major = Math.max(1.6, 11 * grow), minor = Math.max(0.9, 7 * grow);
    if (z >= 14) { line(MINOR, c["map-mid"], minor + 1.5); line(MAJOR, c["map-mid"], major + 1.5); }
    if (z >= 15) line(PATH, c["map-strong"], Math.max(1, 2 * grow), [4, 3]);
    line(MINOR, c["map-strong"], minor);
    line(MAJOR, z < 14 ? c["map-mid"] : c["map-strong"], major);
    pen.lineCap = "butt";
    line(WARD, c["map-text"], 1, [2, 5]);
    if (z >= 15) write(pen, tile, c);
  };
  const write = (pen, tile, c) => {
    if (!labels.has(tile.zoom)) labels.set(tile.zoom, place(tile.zoom));
    pen.font = `${tile.zoom >= 17 ? 12 : 11}px ${c.body}`;
    pen.textAlign = "center"; pen.textBaseline = "middle"; pen.lineWidth = 3; pen.lineJoin = "round";
    for (const [x, y, angle, text, half] of labels.get(tile.zoom)) {
      const px = x - tile.left, py = y - tile.top;
      if (px < -half || py < -half || px > tile.size + half || py > tile.size + half) continue;
      pen.save(); pen.translate(px, py); pen.rotate(angle);
      pen.strokeStyle = c["map-strong"]; pen.strokeText(text, 0, 0);
      pen.fillStyle = c["map-text"]; pen.fillText(text, 0, 0); pen.restore();
    }
  };
  /* One name on the longest stretch of each line that is long enough, spaced, the same in all tiles. */
  const place = (zoom) => {
    const scale = 256 * 2 ** zoom, found = [], taken = new Map();
    for (let l = 0; l < shapes.lines; l++) {
      const text = names[shapes.owner[l]], kind = shapes.kind[l];
      if (!text || kind === BUILDING || kind === WARD) continue;
      const room = 6.4 * text.length;
      let x = 0, y = 0, angle = 0, longest = 0;
      if (kind === WATER || kind === PARK) {
        const b = 4 * l;
        x = (shapes.box[b] + shapes.box[b + 2]) / 2; y = (shapes.box[b + 1] + shapes.box[b + 3]) / 2;
        longest = shapes.box[b + 2] - shapes.box[b];
      } else for (let p = shapes.start[l]; p + 1 < shapes.start[l + 1]; p++) {
        const dx = shapes.points[2 * p + 2] - shapes.points[2 * p], dy = shapes.points[2 * p + 3] - shapes.points[2 * p + 1];
        const far = Math.hypot(dx, dy);
        if (far <= longest) continue;
        longest = far; x = shapes.points[2 * p] + dx / 2; y = shapes.points[2 * p + 1] + dy / 2;
        angle = Math.atan2(dy, dx);
      }
      if (longest * scale < room) continue;
      if (angle > Math.PI / 2) angle -= Math.PI; else if (angle < -Math.PI / 2) angle += Math.PI;
      const px = x * scale, py = y * scale, others = taken.get(text) || [];
      if (others.some(([ox, oy]) => Math.hypot(ox - px, oy - py) < 280)) continue;
      others.push([px, py]); taken.set(text, others);
      found.push([px, py, angle, text, room / 2 + 8]);
    }
    return found;
  };
  return new CanvasTiles({ paint, pane: "tilePane", zIndex: 1 });
}

function zoneLayer(shapes, names) {
  const TAGGED = 0, labels = new Map(), surveyed = shapes.kind.some((kind) => kind !== TAGGED);
  /* Names that do not run into each other: surveyed zones first, then the larger ones. */
  const place = (zoom) => {
    const scale = 256 * 2 ** zoom, found = [], taken = new Map(), b = shapes.box;
    const wide = (l) => (b[4 * l + 2] - b[4 * l]) * (b[4 * l + 3] - b[4 * l + 1]);
    const order = Array.from({ length: shapes.lines }, (_, l) => l).filter((l) => names[shapes.owner[l]] && (zoom >= 17 || shapes.kind[l] !== TAGGED));
    order.sort((p, q) => shapes.kind[q] - shapes.kind[p] || wide(q) - wide(p) || p - q);
    for (const l of order) {
      const text = names[shapes.owner[l]], half = 3.4 * text.length + 6;
      const x = (b[4 * l] + b[4 * l + 2]) / 2 * scale, y = b[4 * l + 1] * scale - 5, cells = [];
      for (let cx = Math.floor((x - half) / 48); cx <= Math.floor((x + half) / 48); cx++) for (let cy = Math.floor((y - 14) / 24); cy <= Math.floor(y / 24); cy++) cells.push(`${cx}/${cy}`);
      if (cells.some((cell) => taken.has(cell))) continue;
      for (const cell of cells) taken.set(cell, l);
      found.push([x, y, text, half]);
    }
    return found;
  };
  const paint = (pen, tile) => {
    const c = colours();
    const pass = (wanted) => tracePass(pen, tile, shapes, wanted, 4);
    pen.strokeStyle = pen.fillStyle = c.zone;
    if (pass((l) => shapes.area[l] === 1 && shapes.kind[l] !== TAGGED)) { pen.globalAlpha = 0.07; pen.fill("evenodd"); pen.globalAlpha = 1; }
    if (tile.zoom >= (surveyed ? 16 : 15) && pass((l) => shapes.kind[l] === TAGGED)) { pen.globalAlpha = 0.45; pen.lineWidth = 0.8; pen.stroke(); pen.globalAlpha = 1; }
    if (pass((l) => shapes.kind[l] !== TAGGED)) { pen.lineWidth = 1.5; pen.setLineDash([6, 3]); pen.stroke(); pen.setLineDash([]); }
    if (tile.zoom < 16) return;
    if (!labels.has(tile.zoom)) labels.set(tile.zoom, place(tile.zoom));
    pen.font = `600 11px ${c.body}`; pen.textAlign = "center"; pen.lineWidth = 3; pen.lineJoin = "round"; pen.strokeStyle = c["map-strong"];
    for (const [wx, wy, text, half] of labels.get(tile.zoom)) {
      const x = wx - tile.left, y = wy - tile.top;
      if (x < -half || y < -20 || x > tile.size + half || y > tile.size + 20) continue;
      pen.strokeText(text, x, y); pen.fillText(text, x, y);
    }
  };
  return new CanvasTiles({ paint, pane: "tilePane", zIndex: 2 });
}

/* Radius of a mark in pixels: by zoom, larger where trees are few, larger for the worse ratings. */
function radius(zoom, rating, size) {
  const base = [1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1.3, 1.8, 2.6, 4.2, 5.6, 7, 8.5, 10][Math.min(zoom, 20)];
  const few = size < 2000 ? 1.5 : size < 20000 ? 0.9 : 0;
  return base + few + [0, 0, 0.4, 1.6, 2.4, -0.6][rating] * Math.max(1, Math.min(1.4, base / 3));
}

/* Marks shrink where they would cover each other: by rating, the share of the inhabited ground that
   they would take at a zoom. Below 1 they lose their outlines, which would run together. */
function crowding(trees) {
  const counts = [0, 0, 0, 0, 0, 0];
  for (const rating of trees.rating) counts[rating]++;
  return (zoom, rating) => {
    const ground = trees.list.length * (256 * 2 ** (zoom - CELL_ZOOM)) ** 2;
    const wanted = counts[rating] * Math.PI * (radius(zoom, rating, trees.size) + [0.5, 0, 1, 4, 6, 0][rating]) ** 2;
    return Math.min(1, Math.sqrt(0.12 * ground / (wanted || 1)));
  };
}

function treeLayer(trees, options = {}) {
  const EVIDENCE = 2, crowd = crowding(trees);
  const paint = (pen, tile) => {
    const c = colours(), { scale, left, top, size, zoom } = tile;
    const pad = 16, rows = [[], [], [], [], [], []];
    trees.within((left - pad) / scale, (top - pad) / scale, (left + size + pad) / scale, (top + size + pad) / scale,
      (i, x, y) => { if (trees.shown[i]) rows[trees.rating[i]].push(i, x * scale - left, y * scale - top); });
    for (const rating of [5, 0, 1, 2, 3, 4]) if (rows[rating].length) drawRating(pen, rows[rating], rating, radius(zoom, rating, trees.size), c, crowd(zoom, rating));
    if (options.label && zoom >= 18) for (const rating of [3, 4]) label(pen, rows[rating], radius(zoom, rating, trees.size), c);
  };
  const discs = (list, r) => {
    const path = new Path2D();
    for (let k = 0; k < list.length; k += 3) { path.moveTo(list[k + 1] + r, list[k + 2]); path.arc(list[k + 1], list[k + 2], r, 0, 6.2832); }
    return path;
  };
  const squares = (pen, list, r) => { for (let k = 0; k < list.length; k += 3) pen.fillRect(list[k + 1] - r, list[k + 2] - r, 2 * r, 2 * r); };
  const drawRating = (pen, list, rating, full, c, fit) => {
    const r = Math.max(Math.min(full, rating >= 3 ? 1.8 : 0.9), full * fit), outlined = fit > 0.7;
    if (rating === 5) { pen.strokeStyle = c["map-text"]; pen.globalAlpha = 0.6; pen.lineWidth = 1; if (r > 2) pen.stroke(discs(list, Math.max(1.4, r * 0.45))); pen.globalAlpha = 1; return; }
    const colour = c[`rating-${RATING_NAMES[rating]}`];
    if (r < 2.2) { pen.fillStyle = rating === 0 ? c["map-text"] : colour; pen.globalAlpha = rating === 0 ? 0.45 * Math.max(0.3, fit) : 1; squares(pen, list, r * 0.8); pen.globalAlpha = 1; return; }
    const disc = discs(list, r);
    pen.fillStyle = colour; pen.fill(disc);
    pen.strokeStyle = rating === 0 ? c["map-text"] : c.outline;
    if (rating === 0) {
      pen.lineWidth = r > 4.6 ? 1 : 0.8; pen.globalAlpha = r > 4.6 ? 1 : 0.55;
      pen.setLineDash(r > 4.6 ? [2.5, 2] : []); pen.stroke(disc); pen.setLineDash([]);
      if (r > 4.6) hatch(pen, list, r);
      pen.globalAlpha = 1;
    }
    if (rating >= 2 && outlined) { pen.lineWidth = r > 5 ? 1.4 : 1; pen.stroke(disc); }
    if (rating >= 3 && outlined) pen.stroke(discs(list, r + 2.4));
    if (rating >= 4 && outlined) ticks(pen, list, r);
    if (r > 3.4 && outlined) rings(pen, list, r, c);
  };
  const hatch = (pen, list, r) => {
    const a = r * 0.66, path = new Path2D();
    for (let k = 0; k < list.length; k += 3) { path.moveTo(list[k + 1] - a, list[k + 2] + a); path.lineTo(list[k + 1] + a, list[k + 2] - a); }
    pen.lineWidth = 0.8; pen.stroke(path);
  };
  const ticks = (pen, list, r) => {
    const path = new Path2D(), inner = r + 2.4, outer = r + 5.6;
    for (let k = 0; k < list.length; k += 3) for (let a = 0; a < 6.28; a += Math.PI / 4) {
      path.moveTo(list[k + 1] + inner * Math.cos(a), list[k + 2] + inner * Math.sin(a));
      path.lineTo(list[k + 1] + outer * Math.cos(a), list[k + 2] + outer * Math.sin(a));
    }
    pen.lineWidth = 1.4; pen.stroke(path);
  };
  /* Trees with evidence keep the ring: the hole says that wood was looked for. */
  const rings = (pen, list, r, c) => {
    const seen = [];
    for (let k = 0; k < list.length; k += 3) if (trees.flags[list[k]] & EVIDENCE) seen.push(list[k], list[k + 1], list[k + 2]);
    if (!seen.length) return;
    pen.fillStyle = c.card; pen.fill(discs(seen, r * 0.42));
  };
  const label = (pen, list, r, c) => {
    pen.font = `600 12px ${c.body}`; pen.textBaseline = "middle"; pen.textAlign = "left"; pen.lineWidth = 3; pen.lineJoin = "round";
    for (let k = 0; k < list.length; k += 3) {
      const text = trees.idOf(list[k]), x = list[k + 1] + r + 8;
      pen.strokeStyle = c["map-strong"]; pen.strokeText(text, x, list[k + 2]);
      pen.fillStyle = c.ink; pen.fillText(text, x, list[k + 2]);
    }
  };
  if (!map.getPane("trees")) {
    map.createPane("trees").style.zIndex = 450;
    map.getPane("trees").style.pointerEvents = "none"; // clicks are looked up by place
  }
  return new CanvasTiles({ paint, pane: "trees" });
}
