"use strict";
/* The fungi of a tree: candidates with how sure they are, what spoke for the first, rot and parts,
   age, what to look at next, whom to ask. One block a fruiting fungus; its sightings add up. */
const FUNGUS_SHOWN = 3, FUNGUS_MOST = 12;
const FUNGUS_UNSURE = "unsure";
const FUNGUS_PARTS = [["branch", "branches"], ["stem", "stem"], ["butt", "butt"], ["roots", "roots"]];

class Fungi {
  constructor(columns, texts, trees) {
    Object.assign(this, { columns, texts, trees });
    const count = columns.tree.length;
    this.start = new Uint32Array(count + 1);
    this.bodyOf = new Map();
    for (let b = 0; b < count; b++) {
      this.start[b + 1] = this.start[b] + columns.seen[b];
      for (let s = this.start[b]; s < this.start[b + 1]; s++) this.bodyOf.set(columns.sighting[s], b);
    }
    this.onTree = Thread.grouped(count, (b) => columns.tree[b]);
  }

  /* The fungi on a tree, the most serious first. */
  of(i) {
    const c = this.columns;
    return [...(this.onTree.get(i) || [])].sort((a, b) => c.serious[b] - c.serious[a] || c.p1[b] - c.p1[a] || a - b);
  }

  share(name, b) { return this.columns[name][b] / this.texts.steps; }

  static often(share) {
    if (share >= 0.995) return "more than 99 in 100";
    if (share < 0.005) return "less than 1 in 100";
    if (share >= 0.095 && share < 0.95) return `about ${Math.floor(share * 10 + 0.5)} in 10`;
    return `about ${Math.floor(share * 100 + 0.5)} in 100`;
  }

  /* Never 100 %, never 0 %: nobody is that sure. */
  static percent(share) { return share >= 0.995 ? "> 99 %" : share < 0.005 ? "< 1 %" : `${Math.floor(100 * share + 0.5)} %`; }

  plain(code) { return this.texts.taxa[code].join(""); }
  name(code) { const [latin, beside] = this.texts.taxa[code]; return el("span", {}, latin ? el("i", { lang: "la" }, latin) : "", beside); }

  /* One line for a sighting: the first candidate, and how sure it is. */
  best(key) {
    const b = this.bodyOf.get(key);
    return b === undefined ? "" : `most likely ${this.plain(this.columns.taxon1[b])}, ${Fungi.often(this.share("p1", b))}`;
  }

  /* An expert is asked, it may not rot this tree, or another fungus is more likely than the first. */
  unsure(b) {
    const c = this.columns, said = this.texts.evidences[c.evidence[b]];
    return c.expert[b] === 1 || said === "unsure" || 2 * c.p1[b] < this.texts.steps || !this.texts.taxa[c.taxon1[b]][0];
  }

  /* What can be chosen in the filter: name and number of trees, by name; last, those in doubt. */
  choices() {
    const counts = new Map(), doubt = new Set(), c = this.columns;
    for (const [i, rows] of this.onTree) {
      if (i >= this.trees.size) continue;
      for (const code of new Set(rows.map((b) => c.taxon1[b]))) counts.set(code, (counts.get(code) || 0) + 1);
      if (rows.some((b) => this.unsure(b))) doubt.add(i);
    }
    const named = [...counts].map(([code, count]) => [String(code), this.plain(code), count]).sort((a, b) => (a[1] < b[1] ? -1 : 1));
    return doubt.size ? [...named, [FUNGUS_UNSURE, "fungus unsure", doubt.size]] : named;
  }

  /* Trees with this choice; null is any tree. */
  chosen(choice) {
    if (!choice) return null;
    const found = new Set(), code = Number(choice);
    for (const [i, rows] of this.onTree) if (rows.some((b) => (choice === FUNGUS_UNSURE ? this.unsure(b) : this.columns.taxon1[b] === code))) found.add(i);
    return found;
  }

  render(rows) {
    const made = rows.slice(0, FUNGUS_SHOWN).map((b, at) => this.one(b, at, rows.length));
    const rest = rows.slice(FUNGUS_SHOWN, FUNGUS_MOST);
    if (rest.length) made.push(el("details", {}, el("summary", {}, `${many(rows.length - FUNGUS_SHOWN, "more fungus", "more fungi")} on this tree`), rest.map((b, at) => this.one(b, at + FUNGUS_SHOWN, rows.length)),
      rows.length > FUNGUS_MOST ? el("p", {}, `${(rows.length - FUNGUS_MOST).toLocaleString("en")} more, less serious, are in the layers for a GIS.`) : ""));
    return made;
  }

  one(b, at, count) {
    const c = this.columns, t = this.texts, said = t.evidences[c.evidence[b]], first = this.share("p1", b);
    const box = el("section", { class: "fungus", "aria-label": count > 1 ? `Fungus ${at + 1} of ${count}` : "The fungus" });
    if (count > 1) box.append(el("p", { class: "kicker" }, `Fungus ${at + 1} of ${count}`));
    box.append(el("h4", {}, first >= 0.5 ? "Most likely " : "Unsure: perhaps ", this.name(c.taxon1[b])));
    box.append(el("p", { class: "quiet" }, this.seen(b)));
    if (said === "unsure") box.append(el("p", { class: "doubt" }, "Whether it rots this tree is unsure: see how it is attached, and to what."));
    if (said === "no") box.append(el("p", { class: "doubt" }, "As it was seen it grows on the ground: it says nothing of this tree's wood, neither good nor bad."));
    box.append(this.bars(b), this.why(b));
    if (said !== "no") box.append(this.rot(b));
    const age = this.age(b);
    if (age) box.append(el("p", {}, age));
    box.append(...this.next(b));
    return box;
  }

  seen(b) {
    const c = this.columns, from = this.start[b], count = c.seen[b];
    if (count === 1) return c.day[from] ? `One sighting, ${dayWords(dayOf(c.day[from]))}.` : "One sighting; its day is not known.";
    const told = Array.from(c.day.slice(from, from + Math.min(count, 4)), (day) => (day ? dayWords(dayOf(day)) : "an unknown day"));
    return `${count.toLocaleString("en")} sightings add up: ${[...new Set(told)].join("; ")}${count > 4 ? `; and ${(count - 4).toLocaleString("en")} that are no newer` : ""}.`;
  }

  /* Three candidates, a fungus that no list holds, and all the rest: together they are one. */
  bars(b) {
    const list = el("ul", { class: "bars", "aria-label": "Which fungus, and how sure" }), other = this.share("other", b);
    let left = 1 - other;
    for (const place of [1, 2, 3]) {
      const code = this.columns[`taxon${place}`][b], share = this.share(`p${place}`, b);
      if (!this.texts.taxa[code][0]) continue;
      left -= share;
      if (place > 1 && share < 0.0005) continue;
      list.append(this.bar(this.name(code), share));
    }
    if (left >= 0.005) list.append(this.bar("any other of the listed fungi", left, true));
    list.append(this.bar("another fungus, in no list here", other, true));
    return list;
  }

  bar(label, share, rest = false) {
    const fill = el("i");
    fill.style.width = `${100 * share}%`;
    return el("li", { class: rest ? "rest" : "" }, el("span", { class: "label" }, label), el("span", { class: "gauge", "aria-hidden": "true" }, fill), el("span", { class: "odds" }, `${Fungi.percent(share)}, ${Fungi.often(share)}`));
  }

  why(b) {
    const c = this.columns, t = this.texts, speaks = t.said[c.for[b]], against = t.said[c.against[b]], second = this.share("p2", b);
    const beside = second > 0 && c.taxon2[b] ? [" rather than ", this.name(c.taxon2[b])] : [];
    if (!speaks && !against) return el("p", {}, "Nothing that was seen tells ", this.name(c.taxon1[b]), " from ", this.name(c.taxon2[b]), ": how often each is found decides.");
    return el("p", {}, speaks ? `${capital(speaks)} for ` : "Little that was seen speaks for ", this.name(c.taxon1[b]), beside, ".", against ? ` ${capital(against)} against it.` : "");
  }

  /* Rot and the parts it works in: a tree whose four parts are as dark as they are probable. */
  rot(b) {
    const t = this.texts, sure = this.share("sure", b), kind = t.rots[this.columns.rot[b]];
    const box = el("div", { class: "rot" }), list = el("ul", { "aria-label": "Parts that it rots" });
    for (const [part, word] of FUNGUS_PARTS) {
      const share = this.share(part, b);
      list.append(el("li", {}, el("span", {}, capital(word)), el("span", { class: "odds" }, Fungi.often(share))));
    }
    box.append(Fungi.tree(FUNGUS_PARTS.map(([part]) => this.share(part, b))), el("div", {}, el("p", {}, el("strong", {}, capital(kind)), `, ${Fungi.often(sure)}. Where it works:`), list));
    return el("div", {}, box, el("p", {}, `A fungus that may fell or break a tree (action code R4 or R5): ${Fungi.often(this.share("serious", b))}.`));
  }

  /* Crown, stem, butt and roots of one tree, shaded by probability; the numbers stand beside it. */
  static tree([branch, stem, butt, roots]) {
    const shade = (d, share) => svg("path", { d, fill: "var(--bark)", "fill-opacity": share, stroke: "var(--ink)", "stroke-width": 1.4, "stroke-linejoin": "round" });
    return svg("svg", { class: "parts", width: 76, height: 116, viewBox: "0 0 76 116", "aria-hidden": "true" },
      shade("M38 4C24 2 16 11 17 19C6 20 2 32 9 40C6 51 18 58 27 53C32 58 44 58 49 53C58 58 70 51 67 40C74 32 70 20 59 19C60 11 52 2 38 4Z", branch),
      shade("M33 55H43L44 80H32Z", stem),
      shade("M32 80H44C45 88 47 92 51 96H25C29 92 31 88 32 80Z", butt),
      shade("M25 96H51C56 99 64 100 72 108C62 104 56 106 50 104C48 107 49 110 46 113C44 109 41 107 38 106C35 107 32 109 30 113C27 110 28 107 26 104C20 106 14 104 4 108C12 100 20 99 25 96Z", roots),
      svg("path", { d: "M2 96H24M52 96H74", stroke: "var(--muted)", "stroke-width": 1, "stroke-dasharray": "3 3" }));
  }

  age(b) {
    const years = this.columns.years[b], running = this.columns.running[b];
    if (years <= 1) return "";
    return `It has been there for at least ${years} years${running > 1 && running >= years ? `: seen ${running} years running` : ", by its layers"}.`;
  }

  next(b) {
    const c = this.columns, t = this.texts, made = [];
    if (c.look[b]) {
      const look = t.looks[c.look[b]], with_ = look.needs && look.needs !== "none" ? `, with a ${look.needs}` : "";
      made.push(el("p", { class: "look" }, el("strong", {}, "Look next. "), look.look, look.minutes ? el("span", { class: "quiet" }, ` About ${many(Number(look.minutes), "minute", "minutes")}${with_}.`) : ""));
    } else made.push(el("p", { class: "quiet" }, "By the figures no single further look would tell much more."));
    if (c.apart[b]) made.push(el("p", { class: "apart" }, el("strong", {}, "Easily mistaken: "), this.name(c.taxon1[b]), " and ", this.name(c.taxon2[b]), `. ${capital(t.apart[c.apart[b]])}${/[.!?]$/.test(t.apart[c.apart[b]]) ? "" : "."}`));
    if (c.expert[b]) made.push(el("div", { class: "expert" }, el("p", {}, el("strong", {}, "Send photographs to somebody who knows:")), el("ol", {}, t.photographs.map((what) => el("li", {}, what)))));
    return made;
  }
}
