"use strict";
/* List and map in step, the thread beside them; first what needs a person now. */
const MOST_ROWS = 60;
const byId = (id) => document.getElementById(id);

async function start() {
  if (!Unpack.possible) { byId("sorry").hidden = false; byId("main").hidden = true; return; }
  const [columns, words, ground, facts, factTexts, evidence, extras, zones, fungusColumns, fungusTexts] = await Promise.all([
    Unpack.columns("block-trees"), Unpack.document("block-words"), Unpack.columns("block-ground"),
    Unpack.columns("block-facts"), Unpack.document("block-said"), Unpack.columns("block-evidence"),
    Unpack.document("block-extras"), Unpack.columns("block-zones"), Unpack.columns("block-fungi"), Unpack.document("block-fungusTexts"),
  ]);
  const trees = new Trees(columns, words);
  const fungi = new Fungi(fungusColumns, fungusTexts, trees);
  const thread = new Thread(trees, facts, factTexts, evidence, extras.evidence, extras, fungi);
  const page = new Page(trees, thread, extras, Unpack.shapes(ground), Unpack.shapes(zones));
  page.open();
  window.soundwood = { trees, page };
  document.documentElement.dataset.ready = "yes";
}

/* What a link says; a link with broken escapes is taken as it stands. */
function asText(escaped) {
  try { return decodeURIComponent(escaped); } catch { return escaped; }
}

/* Which boxes of the map, in pixels, are taken. */
class Room {
  constructor() { this.taken = []; }
  static box(x, y, wide, high) { return [x - wide / 2, y - high / 2, x + wide / 2, y + high / 2]; }
  take(...box) { this.taken.push(Room.box(...box)); }
  covered([west, north, east, south]) {
    let sum = 0;
    for (const [w, n, e, o] of this.taken) sum += Math.max(0, Math.min(east, e) - Math.max(west, w)) * Math.max(0, Math.min(south, o) - Math.max(north, n));
    return sum;
  }

  /* Takes the first free spot for a label of a line, or the one that covers least. */
  spot(from, to, wide, high) {
    const dx = to.x - from.x, dy = to.y - from.y, along = Math.atan2(dy, dx), spots = [];
    if (Math.hypot(dx, dy) > wide) for (const part of [0.5, 0.6, 0.4, 0.7, 0.3, 0.8]) spots.push([from.x + part * dx, from.y + part * dy]);
    for (const far of [14, 24, 36, 50, 66]) for (const turn of [0, 1, -1, 2, -2, 3, -3, 4]) {
      const angle = along + turn * Math.PI / 4, x = Math.cos(angle), y = Math.sin(angle);
      spots.push([to.x + x * (far + wide / 2), to.y + y * (far + high / 2)]);
    }
    let best = spots[0], least = Infinity;
    for (const one of spots) {
      const much = this.covered(Room.box(...one, wide, high));
      if (much < least) { least = much; best = one; }
      if (!much) break;
    }
    this.take(...best, wide, high);
    return L.point(...best);
  }
}

class Page {
  constructor(trees, thread, extras, ground, zones) {
    Object.assign(this, { trees, thread, extras, chosen: -1, marker: null, tab: "now" });
    this.layer = treeLayer(trees, { label: true });
    this.zones = zoneLayer(zones, extras.zoneNames);
    this.ground = groundLayer(ground, extras.groundNames);
    this.sightings = L.layerGroup();
    this.picked = { rating: new Set([0, 1, 2, 3, 4, 5]), action: 0, ward: 0, quarter: 0, evidence: false };
    this.fungus = "";
  }

  open() {
    this.ground.addTo(map); this.zones.addTo(map); this.layer.addTo(map); this.sightings.addTo(map);
    L.control.zoom({ position: "topright" }).addTo(map);
    L.control.scale({ position: "bottomright", imperial: true }).addTo(map);
    this.fit();
    this.legend(); this.filters(); this.needs(); this.wire();
    this.view();
    if (window.matchMedia("(max-width: 760px)").matches) byId("key").open = false;
    const asked = asText(location.hash.replace(/^#tree=/, ""));
    if (asked && location.hash.startsWith("#tree=")) { const i = this.find(asked); if (i >= 0) this.choose(i, true); else this.unknown(asked); }
  }

  /* A link to a tree that this run does not hold is not met with silence. */
  unknown(asked) {
    byId("find").value = asked;
    byId("hits").replaceChildren(el("li", {}, el("p", { class: "quiet none-found", role: "status" }, "No tree with this id in this run.")));
  }

  /* Where nearly all trees are: a tree put down far away by a slip does not shrink the city. */
  fit() {
    const t = this.trees, certain = [], xs = [], ys = [];
    for (let i = 0; i < t.size; i++) if (!(t.flags[i] & 128)) certain.push(i);
    for (const i of certain) { const [x, y] = t.world(i); xs.push(x); ys.push(y); }
    xs.sort((a, b) => a - b); ys.sort((a, b) => a - b);
    const cut = Math.floor(xs.length / 500), last = xs.length - 1 - cut;
    const bounds = xs.length ? L.latLngBounds(fromWorld(xs[cut], ys[last]), fromWorld(xs[last], ys[cut])) : t.extent();
    map.fitBounds(bounds, { padding: [24, 24], maxZoom: 18, animate: false });
  }

  wire() {
    map.on("moveend", () => this.view());
    map.on("click", (event) => { const i = this.trees.nearest(event.latlng, map.getZoom(), 16); if (i >= 0) this.choose(i); else this.close(); });
    for (const name of ["now", "view"]) {
      byId(`tab-${name}`).addEventListener("click", () => this.show(name));
      byId(`tab-${name}`).addEventListener("keydown", (event) => {
        if (event.key === "ArrowLeft" || event.key === "ArrowRight") { const other = name === "now" ? "view" : "now"; this.show(other); byId(`tab-${other}`).focus(); }
      });
      byId(`pane-${name}`).addEventListener("keydown", (event) => this.step(event));
    }
    byId("toggle-filters").addEventListener("click", () => this.toggleFilters());
    byId("print").addEventListener("click", () => window.print());
    byId("find").addEventListener("input", () => this.search());
    byId("find").addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); byId("hits").querySelector("button")?.click(); } });
    byId("show-sightings").addEventListener("change", () => this.drawSightings());
    byId("show-zones").addEventListener("change", (event) => (event.target.checked ? this.zones.addTo(map) : this.zones.remove()));
    byId("grip").addEventListener("click", () => this.sheet());
    let closed = []; // paper cannot be unfolded: all is printed but the values that nobody opened
    window.addEventListener("beforeprint", () => { closed = [...document.querySelectorAll("details:not([open], .behind)")]; for (const fold of closed) fold.open = true; });
    window.addEventListener("afterprint", () => { for (const fold of closed) fold.open = false; });
    document.addEventListener("keydown", (event) => { if (event.key === "Escape") { byId("hits").replaceChildren(); this.close(); } });
    window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { this.ground.redraw(); this.zones.redraw(); this.layer.redraw(); });
  }

  sheet(state) {
    const side = byId("side"), open = state ?? !side.classList.contains("open");
    side.classList.toggle("open", open);
    byId("grip").setAttribute("aria-expanded", String(open));
    byId("grip").textContent = open ? "Show the map" : "Show the list";
  }

  toggleFilters() {
    const form = byId("filters");
    form.hidden = !form.hidden;
    byId("toggle-filters").setAttribute("aria-expanded", String(!form.hidden));
    if (!form.hidden) { this.sheet(true); form.querySelector("input").focus(); this.close(); }
  }

  show(name) {
    this.tab = name;
    for (const other of ["now", "view"]) {
      byId(`tab-${other}`).setAttribute("aria-selected", String(other === name));
      byId(`tab-${other}`).tabIndex = other === name ? 0 : -1;
      byId(`pane-${other}`).hidden = other !== name;
    }
    if (name === "view" && this.inView) this.listView();
  }

  /* Arrow keys walk the list. */
  step(event) {
    if (event.key !== "ArrowDown" && event.key !== "ArrowUp") return;
    const all = [...event.currentTarget.querySelectorAll(".rows button")], at = all.indexOf(document.activeElement);
    const next = all[at + (event.key === "ArrowDown" ? 1 : -1)];
    if (next) { event.preventDefault(); next.focus(); }
  }

  legend() {
    const counts = [0, 0, 0, 0, 0, 0];
    for (const rating of this.trees.rating) counts[rating]++;
    this.counts = counts;
    const rows = [4, 3, 2, 1, 0, 5].filter((r) => counts[r]).map((r) =>
      el("div", {}, Mark.rating(r, 24), `${capital(RATING_WORDS[r])}: ${counts[r].toLocaleString("en")}`));
    rows.push(el("div", { class: "quiet" }, "A hole in the mark: evidence is in. Low is not a promise; not assessed is not low."));
    byId("legend").replaceChildren(...rows);
  }

  filters() {
    const form = byId("filters"), t = this.trees, box = el("fieldset", {}, el("legend", {}, "Rating"));
    for (const r of [4, 3, 2, 1, 0, 5]) if (this.counts[r]) {
      box.append(el("label", {}, el("input", { type: "checkbox", checked: true, on: { change: (event) => { event.target.checked ? this.picked.rating.add(r) : this.picked.rating.delete(r); this.apply(); } } }),
        Mark.rating(r), RATING_WORDS[r], el("span", { class: "quiet" }, this.counts[r].toLocaleString("en"))));
    }
    const picks = el("div", { class: "picks" });
    for (const [name, label] of [["action", "Action"], ["ward", "Ward"], ["quarter", "Quarter"]]) {
      const texts = t.words[name];
      const select = el("select", { on: { change: (event) => { this.picked[name] = Number(event.target.value); this.apply(); } } }, el("option", { value: 0 }, "any"));
      texts.forEach((text, code) => { if (code) select.append(el("option", { value: code }, name === "action" ? spaced(text) : text)); });
      picks.append(el("label", {}, label, select));
    }
    const fungus = el("select", { on: { change: (event) => { this.fungus = event.target.value; this.apply(); } } }, el("option", { value: "" }, "any"));
    for (const [value, label, count] of this.thread.fungi.choices()) fungus.append(el("option", { value }, `${label} (${count.toLocaleString("en")})`));
    picks.append(el("label", {}, "Fungus, most likely", fungus));
    form.replaceChildren(box, picks,
      el("label", {}, el("input", { type: "checkbox", on: { change: (event) => { this.picked.evidence = event.target.checked; this.apply(); } } }), "Only trees with evidence"),
      el("p", { class: "quiet", id: "shown", "aria-live": "polite" }, `${many(t.size, "tree", "trees")} shown.`),
      el("button", { class: "press", type: "button", on: { click: () => { this.toggleFilters(); this.show("view"); } } }, "Show the trees"));
    form.addEventListener("submit", (event) => event.preventDefault());
  }

  apply() {
    const t = this.trees, p = this.picked, wanted = this.thread.fungi.chosen(this.fungus), rating = [0, 1, 2, 3, 4, 5].map((r) => p.rating.has(r));
    let count = 0;
    for (let i = 0; i < t.size; i++) {
      const keep = rating[t.rating[i]] && (!p.action || t.action[i] === p.action) && (!p.ward || t.ward[i] === p.ward)
        && (!p.quarter || t.quarter[i] === p.quarter) && (!wanted || wanted.has(i)) && (!p.evidence || (t.flags[i] & 2));
      t.shown[i] = keep ? 1 : 0;
      count += t.shown[i];
    }
    byId("shown").textContent = count ? `${many(count, "tree", "trees")} shown.` : "No tree is like that.";
    this.layer.redraw(); this.view(); this.show("view");
  }

  row(i, sentence, urgent = false) {
    const t = this.trees, action = t.words.action[t.action[i]];
    return el("li", {}, el("button", { type: "button", class: urgent ? "urgent" : "", "data-tree": i, on: { click: () => this.choose(i, true) } },
      Mark.section(t.rating[i], this.thread.decay(i), 48),
      el("span", {},
        el("span", { class: "head" }, el("span", {}, t.idOf(i)), el("span", {}, RATING_WORDS[t.rating[i]])),
        el("span", { class: "sub" }, Page.lines(sentence || [t.words.species[t.species[i]] || "species not recorded", t.words.street[t.street[i]]].filter(Boolean).join(", ")),
          action && action !== "none" ? el("span", { class: "act" }, Mark.action(action, this.extras.paths, 16), spaced(action), t.words.quarter[t.quarter[i]] ? `, ${t.words.quarter[t.quarter[i]]}` : "") : ""))));
  }

  /* What to photograph and what to look at next stand on lines of their own. */
  static lines(sentence) {
    return sentence.split(/(?=Send photographs of |Look next: )/).map((part) => el("span", { class: "line" }, part.trim()));
  }

  needs() {
    const pane = byId("pane-now"), groups = [[], [], [], []];
    for (const row of this.extras.reviews.rows) groups[row[0]].push(row);
    const counts = this.extras.reviews.counts;
    byId("count-now").textContent = counts[0].toLocaleString("en");
    byId("count-now").classList.toggle("now", counts[0] > 0);
    pane.replaceChildren();
    if (!this.extras.reviews.all) pane.append(el("p", {}, "Nothing in this run needs a person now. That is no promise about trees that nobody has looked at."));
    ["Now", "This week", "This quarter", "When there is time"].forEach((title, urgency) => {
      if (!counts[urgency]) return;
      const shown = groups[urgency].slice(0, MOST_ROWS);
      pane.append(el("h2", {}, `${title}: ${counts[urgency].toLocaleString("en")}`), el("ul", { class: "rows" }, shown.map((row) => this.review(row, urgency === 0))));
      if (shown.length < counts[urgency]) pane.append(el("p", { class: "quiet" }, `${(counts[urgency] - shown.length).toLocaleString("en")} more are in review.csv.`));
    });
  }

  review([, tree, sighting, sentence, more, where], urgent) {
    if (tree >= 0 && tree < this.trees.size) return this.row(tree, sentence, urgent);
    const at = this.extras.sightings.key.indexOf(sighting);
    const go = () => { if (at >= 0) { if (this.extras.sightings.tree[at] >= 0) this.choose(this.extras.sightings.tree[at]); else this.chooseSighting(at); this.sheet(false); } };
    return el("li", {}, el("button", { type: "button", class: urgent ? "urgent" : "", on: { click: go } },
      el("span", { class: "none", "aria-hidden": "true" }, at >= 0 ? "?" : "!"),
      el("span", {}, el("span", { class: "head" }, el("span", {}, at >= 0 ? this.extras.sightings.name[at] : more ? "Set aside" : "Not on the map"), el("span", {}, at >= 0 ? spaced(this.extras.sightings.match[at]) : where)),
        el("span", { class: "sub" }, Page.lines(sentence), more ? el("span", { class: "line" }, more) : ""))));
  }

  /* The trees in view: counted at once, listed only when the list is looked at. */
  view() {
    const t = this.trees, b = map.getBounds(), [west, south] = toWorld(b.getSouthWest()), [east, north] = toWorld(b.getNorthEast());
    const order = [1, 2, 3, 4, 5, 0], tally = new Uint32Array(6 * 256), found = [];
    t.within(west, north, east, south, (i) => { if (t.shown[i]) { found.push(i); tally[order[t.rating[i]] * 256 + t.harm[i]]++; } });
    byId("count-view").textContent = found.length.toLocaleString("en");
    this.inView = { found, tally, order };
    if (this.tab === "view") this.listView();
    this.drawSightings();
  }

  /* Worst first: a tally by weight says from which weight on the list is full. */
  listView() {
    const t = this.trees, { found, tally, order } = this.inView, pane = byId("pane-view");
    const weight = (i) => order[t.rating[i]] * 256 + t.harm[i];
    let least = tally.length, room = MOST_ROWS;
    while (least > 0 && room > 0) room -= tally[--least];
    const rows = found.filter((i) => weight(i) >= least).sort((a, c) => weight(c) - weight(a) || a - c).slice(0, MOST_ROWS);
    pane.replaceChildren();
    if (!found.length) pane.append(el("p", {}, "No tree of this kind in this part of the map."));
    pane.append(el("ul", { class: "rows" }, rows.map((i) => this.row(i))));
    if (found.length > rows.length) pane.append(el("p", { class: "quiet" }, `${(found.length - rows.length).toLocaleString("en")} more in this view, lower in order. Zoom in, or filter.`));
    this.mark();
  }

  drawSightings() {
    this.sightings.clearLayers();
    if (!byId("show-sightings").checked || map.getZoom() < 16) return;
    const s = this.extras.sightings, bounds = map.getBounds().pad(0.2), c = colours(), at = new Map();
    s.key.forEach((key, k) => {
      if (!bounds.contains([s.lat[k], s.lon[k]])) return;
      at.set(key, k);
      const place = [s.lat[k], s.lon[k]], open = s.match[k] === "ambiguous" || s.match[k] === "unmatched";
      if (s.accuracy[k]) this.sightings.addLayer(L.circle(place, { radius: s.accuracy[k], color: c.accent, weight: 1.2, opacity: s.accuracy[k] > 60 ? 0.5 : 1, dashArray: "4 3", fillOpacity: s.accuracy[k] > 60 ? 0 : 0.06, interactive: false }));
      const words = [s.name[k], this.thread.fungi.best(key), dayWords(s.on[k]), spaced(s.match[k]) + (s.note[k] ? `: ${spaced(s.note[k])}` : ""), s.accuracy[k] ? `placed to ${Math.round(s.accuracy[k])} m` : "no accuracy told"].filter(Boolean);
      const text = el("div", {}, words.map((word) => el("div", {}, word)));
      const point = L.circleMarker(place, { radius: open ? 4 : 3, color: c.accent, weight: open ? 2 : 1.5, fillColor: c.card, fillOpacity: 1, bubblingMouseEvents: false }).bindTooltip(text);
      point.on("click", () => { if (s.tree[k] >= 0) this.choose(s.tree[k]); else this.chooseSighting(k); });
      this.sightings.addLayer(point);
    });
    const labels = [];
    for (const [key, tree, share] of s.candidates) {
      const k = at.get(key);
      if (k === undefined || (s.tree[k] >= 0 && s.tree[k] !== tree)) continue;
      const open = s.tree[k] < 0, numbered = open && (k === this.openSighting || map.getZoom() >= 19);
      if (tree >= 0) this.sightings.addLayer(L.polyline([[s.lat[k], s.lon[k]], this.trees.latLng(tree)], { color: c.accent, weight: 1 + 3 * share, opacity: 0.75, dashArray: open ? "2 5" : null, interactive: false }));
      if (!numbered || s.match[k] !== "ambiguous") continue;
      const from = map.latLngToLayerPoint([s.lat[k], s.lon[k]]), to = tree >= 0 ? map.latLngToLayerPoint(this.trees.latLng(tree)) : from;
      labels.push({ from, to, share, text: tree >= 0 ? Fungi.percent(share) : `not listed: ${Fungi.percent(share)}` });
    }
    this.place(labels, [...at.values()]);
  }

  /* Labels of lines meet neither each other nor marks and ids: on the line where it is long enough, else beside its end. */
  place(labels, sightings) {
    if (!labels.length) return;
    const room = new Room(), s = this.extras.sightings, t = this.trees, zoom = map.getZoom(), b = map.getBounds();
    for (const k of sightings) { const p = map.latLngToLayerPoint([s.lat[k], s.lon[k]]); room.take(p.x, p.y, 12, 12); }
    t.within(...toWorld(b.getNorthWest()), ...toWorld(b.getSouthEast()), (i) => {
      const p = map.latLngToLayerPoint(t.latLng(i)), r = radius(zoom, t.rating[i], t.size), wide = 8 * t.idOf(i).length;
      room.take(p.x, p.y, 2 * r, 2 * r);
      if (t.shown[i] && (t.rating[i] === 3 || t.rating[i] === 4)) room.take(p.x + r + 8 + wide / 2, p.y, wide, 16);
    });
    for (const { from, to, text } of labels.sort((a, c) => c.share - a.share)) {
      const spot = room.spot(from, to, 8 * text.length + 16, 22);
      this.sightings.addLayer(L.tooltip(map.layerPointToLatLng(spot), { permanent: true, direction: "center", offset: [0, 0], className: "share", interactive: false, content: text }));
    }
  }

  panel(i, parts) {
    this.chosen = i;
    const panel = byId("thread"), first = panel.hidden;
    panel.replaceChildren(...parts);
    panel.hidden = false;
    panel.scrollTop = 0;
    document.querySelector(".desk").classList.add("reading");
    if (first) {
      map.invalidateSize({ animate: false });
      if (map.getSize().x < 640) byId("key").open = false;
    }
  }

  /* A sighting that no tree is known for has a panel of its own. */
  chooseSighting(k) {
    const s = this.extras.sightings;
    this.marker?.remove();
    byId("show-sightings").checked = true;
    this.openSighting = k;
    this.panel(-1, this.thread.sighting(s, k, () => this.close(), (tree) => this.choose(tree)));
    const narrow = window.matchMedia("(max-width: 760px)").matches, here = L.latLng(s.lat[k], s.lon[k]), near = s.candidates.filter(([key, tree]) => key === s.key[k] && tree >= 0);
    const frame = near.length ? L.latLngBounds([here, ...near.map(([, tree]) => this.trees.latLng(tree))]) : here.toBounds(2 * Math.min(s.accuracy[k] || 30, 60));
    map.fitBounds(frame, { animate: false, maxZoom: 20, paddingTopLeft: [80, 40], paddingBottomRight: [80, narrow ? map.getSize().y * 0.8 : 60] });
    history.replaceState(null, "", location.pathname + location.search);
    this.drawSightings();
    this.mark();
    byId("thread-title").focus({ preventScroll: true });
  }

  choose(i, move = false) {
    this.panel(i, this.thread.render(i, () => this.close()));
    const place = this.trees.latLng(i);
    if (move || !map.getBounds().contains(place)) map.setView(place, Math.max(map.getZoom(), 17), { animate: false });
    if (window.matchMedia("(max-width: 760px)").matches) map.panBy([0, map.getSize().y * 0.33], { animate: false });
    this.marker?.remove();
    this.marker = L.marker(place, { icon: L.divIcon({ className: "chosen", iconSize: [36, 36] }), interactive: false, keyboard: false }).addTo(map);
    history.replaceState(null, "", `#tree=${encodeURIComponent(this.trees.idOf(i))}`);
    this.mark();
    byId("thread-title").focus({ preventScroll: true });
  }

  mark() {
    for (const button of document.querySelectorAll(".rows button[data-tree]")) {
      if (Number(button.dataset.tree) === this.chosen) button.setAttribute("aria-current", "true"); else button.removeAttribute("aria-current");
    }
  }

  close() {
    if (byId("thread").hidden) return;
    const was = this.chosen;
    this.chosen = -1;
    byId("thread").hidden = true;
    document.querySelector(".desk").classList.remove("reading");
    this.marker?.remove();
    history.replaceState(null, "", location.pathname + location.search);
    map.invalidateSize({ animate: false });
    this.mark();
    document.querySelector(`.rows button[data-tree="${was}"]`)?.focus({ preventScroll: true });
  }

  find(id) { for (let i = 0; i < this.trees.size; i++) if (this.trees.idOf(i) === id) return i; return -1; }

  /* The id asked for, then ids of which it is the number, then those that begin so, then the rest. */
  ids(asked, most) {
    const t = this.trees, found = [[], [], [], []], number = /^[0-9]+$/.test(asked) && new RegExp(`(?:^|[^0-9])0*${asked.replace(/^0+(?=.)/, "")}$`);
    for (let i = 0; i < t.size; i++) {
      const id = t.idOf(i).toLowerCase(), at = id.indexOf(asked);
      if (at < 0) continue;
      const rank = id === asked ? 0 : number && number.test(id) ? 1 : at === 0 ? 2 : 3;
      if (found[rank].length < most) found[rank].push(i);
    }
    return found.flat().slice(0, most);
  }

  search() {
    const t = this.trees, asked = byId("find").value.trim().toLowerCase(), hits = byId("hits");
    hits.replaceChildren();
    if (asked.length < 2) return;
    const streets = [];
    t.words.street.forEach((street, code) => { if (code && streets.length < 6 && street.toLowerCase().includes(asked)) streets.push([street, "street", () => this.goStreet(code)]); });
    const found = this.ids(asked, 12 - streets.length).map((i) => [t.idOf(i), t.words.street[t.street[i]] || "tree", () => this.choose(i, true)]);
    found.push(...streets);
    if (!found.length) hits.append(el("li", {}, el("p", { class: "quiet none-found" }, "No tree id and no street like that.")));
    for (const [text, more, run] of found) {
      hits.append(el("li", {}, el("button", { type: "button", on: { click: () => { hits.replaceChildren(); run(); } } }, text, el("span", { class: "quiet" }, `  ${more}`))));
    }
  }

  goStreet(code) {
    const rows = [];
    for (let i = 0; i < this.trees.size; i++) if (this.trees.street[i] === code) rows.push(i);
    map.fitBounds(this.trees.extent(rows), { padding: [32, 32], maxZoom: 18, animate: false });
    this.show("view");
    this.sheet(true);
  }
}

start();
