"use strict";
/* The thread of one tree: seen, fungus, wood left, holds or fails, whom it meets, what it would do,
   rating, what to do. Everything comes from the run's facts; where a link is missing it says so. */
const PART_WORDS = ["roots", "butt", "stem", "branch"];
const STEP_WORDS = {
  failure: ["improbable", "possible", "probable", "imminent"],
  impact: ["very low", "low", "medium", "high"],
  likelihood: ["unlikely", "somewhat likely", "likely", "very likely"],
  consequence: ["negligible", "minor", "significant", "severe"],
  rating: ["low", "moderate", "high", "extreme"],
};
const NOT_RATED = 5;
const STATUS_WORDS = { stump: "a stump", vacant: "a vacant site", removed: "a removed tree", habitat_pole: "a habitat pole" };
const KNOTS = [
  ["seen", "Seen", "Nothing is recorded for this tree. Look at the root flare, the butt and the crown."],
  ["fungus", "Which fungus", "No fungus is named here. A photograph of the underside and of the place where it sits helps most."],
  ["wood", "Wood left", "Nothing tells how much sound wood is left. Sounding the butt is the first step."],
  ["failure", "Holds or fails", "No rule has spoken: there is no evidence to judge by."],
  ["target", "Whom it meets", "No target is recorded within reach. Check who is under the crown, and how often."],
  ["consequence", "What it would do", "Not judged without a part that may fail and a target that it may reach."],
  ["rating", "Rating", "Not rated. Not inspected is not low."],
  ["action", "What to do, by when", "No action follows from this run."],
];

class Thread {
  constructor(trees, facts, factTexts, evidence, evidenceTexts, extras, fungi) {
    Object.assign(this, { trees, facts, factTexts, evidence, evidenceTexts, extras, fungi });
    this.drawn = new Set(factTexts.drawn);
    const count = facts.count.length;
    this.start = new Uint32Array(count + 1);
    for (let s = 0; s < count; s++) this.start[s + 1] = this.start[s] + facts.count[s];
    this.evidenceOf = new Map();
    for (let k = 0; k < evidence.tree.length; k++) this.evidenceOf.set(evidence.tree[k], k);
    this.decayOf = Thread.grouped(evidence.decay_tree.length, (k) => evidence.decay_tree[k]);
    this.shellsOf = Thread.grouped(evidence.shell_tree.length, (k) => evidence.shell_tree[k]);
    this.leanOf = new Map(Array.from(evidence.lean_tree, (tree, k) => [tree, evidence.lean_side[k]]));
    this.workOf = Thread.grouped(extras.work.length, (k) => extras.work[k][0]);
    this.pageOf = new Map(extras.pages);
    this.choicesOf = Thread.grouped(extras.choices.length, (k) => extras.choices[k][0]);
  }

  static grouped(count, key) {
    const made = new Map();
    for (let k = 0; k < count; k++) { const at = key(k); if (made.has(at)) made.get(at).push(k); else made.set(at, [k]); }
    return made;
  }

  /* Decay of the worst part, or of the part most decayed. */
  decay(i) {
    const rows = this.decayOf.get(i);
    if (!rows) return null;
    const e = this.evidence, k = this.evidenceOf.get(i);
    const share = (value) => (value === 255 ? null : value / 250);
    const worst = rows.find((row) => k !== undefined && e.decay_part[row] === e.part[k] && e.share[row] !== 255);
    const row = worst ?? rows.reduce((best, r) => (e.share[r] !== 255 && (e.share[best] === 255 || e.share[r] > e.share[best]) ? r : best));
    return { share: share(e.share[row]), low: share(e.low[row]), high: share(e.high[row]), opening: share(e.opening[row]), part: PART_WORDS[e.decay_part[row]] };
  }

  render(i, close) {
    const t = this.trees, rating = t.rating[i], flags = t.flags[i], decay = this.decay(i);
    const made = [el("header", {}, el("div", {}, el("p", { class: "kicker" }, `Tree ${t.idOf(i)}`), el("h2", { id: "thread-title", tabindex: "-1" }, t.words.species[t.species[i]] || "Species not recorded")),
      el("button", { class: "press close", type: "button", "aria-label": "Close this tree", on: { click: close } }, "×"))];
    if (flags & 8) made.push(el("p", { class: "danger" }, "Make safe first: keep people out from under this tree until a qualified person has been there."));
    if (flags & 4) made.push(el("p", { class: "danger" }, "Do not climb, and do not stand under the crown. Use a lift or a crane, or fell from the ground, by people qualified for it."));
    made.push(el("p", { class: "aid" }, "Screening aid. Not inspected is not low."));
    made.push(this.face(i, rating, decay));
    if (this.pageOf.has(i)) made.push(el("p", {}, el("a", { class: "page", href: this.pageOf.get(i) }, "This tree's own page, with every source")));
    if (rating === NOT_RATED) { // no tree stands there: what to sound or to test is no question
      made.push(el("p", {}, `Not rated: the inventory calls this ${STATUS_WORDS[t.words.status[t.status[i]]] || "no tree"}.`));
      const fungi = this.fungi.of(i);
      if (fungi.length) made.push(el("p", { class: "danger" }, "A fungus was seen here: go and see what stands, and whether it is this tree."), ...this.fungi.render(fungi));
      return made;
    }
    const knots = el("ol", { class: "knots" });
    for (const [link, title, missing] of KNOTS) knots.append(this.knot(i, link, title, missing, decay));
    made.push(knots);
    made.push(el("p", { class: "quiet" }, "A screening and planning aid for qualified people, as far as the evidence goes. Local codes and licensed practice come first."));
    return made;
  }

  /* A sighting that no tree is known for: what was seen, and what it is found to be. */
  sighting(s, k, close, choose) {
    const found = s.candidates.filter(([key]) => key === s.key[k]), listed = found.filter(([, tree]) => tree >= 0);
    const t = this.trees, open = s.match[k] === "ambiguous" && listed.length > 0;
    const who = ([, tree, share, apart, named]) => el("li", {}, tree < 0 ? el("span", {}, "A tree that is not in the inventory") : el("button", { type: "button", class: "plain", on: { click: () => choose(tree) } }, `Tree ${t.idOf(tree)}`),
      el("span", { class: "quiet" }, [tree < 0 ? "" : t.words.species[t.species[tree]], apart === null ? "" : `${apart} m from the point`, named ? "named by the sighting" : ""].filter(Boolean).join(", ")), el("strong", {}, Fungi.often(share)));
    const which = open ? [el("h3", {}, "Which tree is it on?"), el("p", {}, "By place, name and host of the tree, and the fungus together. Until somebody has looked, each tree carries this sighting by its share; none of them is cut for it."), el("ul", { class: "which" }, found.map(who))] : [];
    const b = this.fungi.bodyOf.get(s.key[k]);
    return [el("header", {}, el("div", {}, el("p", { class: "kicker" }, "Sighting without a known tree"), el("h2", { id: "thread-title", tabindex: "-1" }, s.name[k] === "not named" ? "Told without a name" : `Told as ${s.name[k]}`)),
      el("button", { class: "press close", type: "button", "aria-label": "Close this sighting", on: { click: close } }, "×")),
    el("p", { class: "aid" }, "Screening aid. Not inspected is not low."),
    el("p", {}, `${capital(spaced(s.match[k]))}${s.note[k] ? `: ${spaced(s.note[k])}` : ""}. ${s.accuracy[k] ? `Placed to ${Math.round(s.accuracy[k])} m.` : "No accuracy was told."}${open ? "" : " No tree is rated by it until somebody says which one it is."}`),
    ...which,
    ...(b === undefined ? [el("p", { class: "quiet" }, "Nothing was found out about this fungus.")] : this.fungi.render([b]))];
  }

  face(i, rating, decay) {
    const t = this.trees, looked = this.evidenceOf.has(i) ? dayOf(this.evidence.looked[this.evidenceOf.get(i)]) : "";
    const list = el("dl");
    const say = (term, ...value) => list.append(el("div", {}, el("dt", {}, term), el("dd", {}, ...value)));
    say("Rating", el("span", { class: "rating" }, Mark.rating(rating), RATING_WORDS[rating]));
    if (t.dbh[i]) say("Diameter at breast height", `${t.dbh[i]} cm`);
    say("Place", [t.words.street[t.street[i]], t.words.ward[t.ward[i]]].filter(Boolean).join(", ") || "not recorded");
    if (t.shares[i]) say("Point", `one of ${t.shares[i].toLocaleString("en")} with this point in the inventory: drawn apart, distances unsure`);
    if (looked) say("Last looked at", dayWords(looked));
    if (t.words.status[t.status[i]] !== "standing") say("Status", spaced(t.words.status[t.status[i]]));
    const e = this.evidence, lean = this.leanOf.get(i) ?? null;
    const shells = decay ? (this.shellsOf.get(i) || []).filter((k) => PART_WORDS[e.shell_part[k]] === decay.part).map((k) => [e.shell_side[k], e.shell_share[k] / 250]) : [];
    if (shells.length) say("Measured shells", `${shells.length}, north is up`);
    return el("div", { class: "facing" }, Mark.section(rating, decay, decay ? 148 : 96, { shells, lean }), list);
  }

  knot(i, link, title, missing, decay) {
    const fungi = link === "fungus" ? this.fungi.of(i) : []; // what their drawing says is not said twice
    const rows = this.rows(i, link).filter((row) => !fungi.length || !this.drawn.has(this.facts.said[row]));
    const known = rows.length + fungi.length > 0, item = el("li", { class: known ? "" : "missing", "data-link": link });
    const head = el("h3", {}, title), k = this.evidenceOf.get(i);
    if (k !== undefined && STEP_WORDS[link]) {
      const value = link === "rating" ? this.trees.rating[i] : this.evidence[link][k];
      if (value >= 1 && value <= 4) head.append(el("span", { class: "rating" }, Mark.steps(value, STEP_WORDS[link]), STEP_WORDS[link][value - 1]));
    }
    if (link === "target" && k !== undefined && this.evidence.impact[k]) head.append(el("span", { class: "rating" }, Mark.steps(this.evidence.impact[k], STEP_WORDS.impact), STEP_WORDS.impact[this.evidence.impact[k] - 1]));
    item.append(head);
    if (!known) item.append(el("p", { class: "quiet" }, missing));
    const [told, folded] = this.weighed(rows, k);
    for (const row of told) item.append(this.fact(row));
    if (folded.length) item.append(el("details", {}, el("summary", {}, `${folded.length} more of this kind`), folded.map((row) => this.fact(row))));
    item.append(...this.fungi.render(fungi));
    if (link === "wood" && decay && decay.share !== null) item.append(Thread.span(decay));
    if (link === "action") item.append(...this.plan(i));
    item.append(this.behind(rows));
    return item;
  }

  /* In a long knot: what came first, and what decides, stand; the rest is folded, not dropped. */
  weighed(all, k) {
    const said = new Set(), rows = all.filter((row) => !said.has(this.facts.said[row]) && said.add(this.facts.said[row]));
    if (rows.length <= 4) return [rows, []];
    const worst = k === undefined ? "" : STEP_WORDS.failure[this.evidence.failure[k] - 1];
    const decides = (row, at) => {
      const values = this.factTexts.values[this.facts.said[row]] || {};
      return at < 2 || values.passed === true || values.failure === worst || Object.keys(values).length <= 1;
    };
    return [rows.filter(decides), rows.filter((row, at) => !decides(row, at))];
  }

  rows(i, link) {
    const set = this.trees.facts[i], code = this.extras.links.indexOf(link), found = [];
    for (let row = this.start[set]; row < this.start[set + 1]; row++) if (this.facts.link[row] === code) found.push(row);
    return found;
  }

  fact(row) {
    const assumed = this.facts.assumed[row] ? el("span", { class: "assumed" }, " Assumed.") : "";
    return el("p", {}, this.factTexts.sentences[this.facts.said[row]], assumed);
  }

  /* Everything behind the sentences of one knot, folded away until it is asked for. */
  behind(rows) {
    const made = el("details", { class: "behind" });
    let sourced = false;
    for (const row of rows) {
      const said = this.facts.said[row], source = this.factTexts.sources[this.facts.source[row]];
      const values = Object.entries(this.factTexts.values[said] || {}).filter(([, value]) => typeof value === "number"); // words are in the sentence
      if (!values.length && !source) continue;
      const list = el("dl");
      for (const [name, value] of values) {
        const [word, unit] = this.factTexts.names[name];
        list.append(el("dt", {}, word), el("dd", {}, `${Thread.value(value)} ${unit}`.trim()));
      }
      if (source) { list.append(el("dt", {}, "source"), el("dd", {}, source)); sourced = true; }
      if (rows.length > 1) made.append(el("p", { class: "of" }, this.factTexts.sentences[said]));
      made.append(list);
    }
    if (!made.children.length) return "";
    made.prepend(el("summary", {}, sourced ? "Values and sources" : "Values"));
    return made;
  }

  static value(value) {
    return Number(value.toPrecision(3)).toLocaleString("en", { maximumFractionDigits: 20 });
  }

  static span(decay) {
    const bar = el("span", { class: "span", "aria-hidden": "true" });
    const place = (node, from, to) => { node.style.left = `${100 * from}%`; if (to !== undefined) node.style.width = `${100 * (to - from)}%`; bar.append(node); };
    if (decay.low !== null && decay.high !== null) place(el("i"), decay.low, decay.high);
    place(el("b"), decay.share);
    const range = decay.low === null ? "" : ` (${percent(decay.low)} to ${percent(decay.high)})`;
    return el("div", { class: "measure" }, bar, `${percent(decay.share)} of the ${decay.part}'s diameter decayed${range}`);
  }

  plan(i) {
    const made = [], list = el("ul", { class: "plan" });
    for (const k of this.workOf.get(i) || []) {
      const [, action, deadline, quarter, day, crew, reason] = this.extras.work[k];
      const when = quarter ? `planned for ${quarter}${day ? `, ${dayWords(day)}` : ""}, crew ${crew}` : `not scheduled: ${reason || "no reason given"}`;
      list.append(el("li", { class: "act" }, Mark.action(action, this.extras.paths), el("span", {}, `${capital(spaced(action))}: ${when}.${deadline ? (action === "retain_monitor" && deadline < this.extras.asOf ? ` Due since ${deadline.slice(0, 4)}.` : ` Due by ${dayWords(deadline)}.`) : ""}`)));
    }
    if (list.children.length) made.push(list);
    const others = (this.choicesOf.get(i) || []).map((k) => this.extras.choices[k]);
    if (others.length) {
      const weighed = el("dl");
      for (const [, action, left, chosen] of others) weighed.append(el("dt", {}, `${spaced(action)}${chosen ? " (chosen)" : ""}`), el("dd", {}, action === "make_safe" ? "keeps people out while the tree stays as it is" : `rating afterwards: ${RATING_WORDS[left]}`));
      made.push(el("details", {}, el("summary", {}, "What was weighed"), weighed));
    }
    return made;
  }
}

function capital(text) { return text.charAt(0).toUpperCase() + text.slice(1); }
