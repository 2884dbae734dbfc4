"use strict";
/* Small helpers: elements with text that stays text, the marks, and words. */
const SVG = "http://www.w3.org/2000/svg";
const RATING_WORDS = ["not assessed", "low", "moderate", "high", "extreme", "not rated"];
const RATING_NAMES = ["not-assessed", "low", "moderate", "high", "extreme"];

function el(tag, options = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(options)) {
    if (name === "on") for (const [event, run] of Object.entries(value)) made.addEventListener(event, run);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value);
  }
  for (const child of children.flat()) if (child !== null && child !== undefined && child !== "") made.append(child);
  return made;
}

function svg(tag, options = {}, ...children) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(options)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

const Mark = {
  wall: 36, ground: 46,

  groundParts(rating) {
    if (rating === 5) return [svg("circle", { r: 14, fill: "none", stroke: "var(--map-text)", "stroke-width": 5 })];
    const parts = [svg("circle", { r: Mark.ground, fill: `var(--rating-${RATING_NAMES[rating]})` })];
    const ring = (r, dash) => svg("circle", dash ? { r, class: "outline", "stroke-dasharray": dash } : { r, class: "outline" });
    if (rating === 0) parts.push(ring(Mark.ground, "9 7"));
    if (rating >= 2) parts.push(ring(Mark.ground));
    if (rating >= 3) parts.push(ring(Mark.ground + 6));
    if (rating >= 4) for (let a = 0; a < 360; a += 45) parts.push(svg("path", { d: "M0 -52V-60", class: "outline", transform: `rotate(${a})` }));
    return parts;
  },

  rating(rating, size = 20) {
    return svg("svg", { class: "ground", width: size, height: size, viewBox: "-60 -60 120 120", "aria-hidden": "true" }, ...Mark.groundParts(rating));
  },

  /* The stem section: solid where nine in ten estimates leave wood, lighter over the range. */
  section(rating, decay, size = 80, { shells = [], lean = null } = {}) {
    const parts = Mark.groundParts(rating);
    if (!decay || decay.share === null) parts.push(svg("circle", { r: Mark.wall, class: "unknown" }));
    else {
      const low = decay.low ?? decay.share, high = decay.high ?? decay.share, gap = 100 * (decay.opening ?? 0);
      parts.push(svg("circle", { r: Mark.wall + 2.5, class: "hole" }));
      const annulus = (inner, outer, kind) => {
        const options = { r: Mark.wall * (inner + outer) / 2, class: kind, "stroke-width": Mark.wall * Math.max(outer - inner, 0) };
        if (gap) Object.assign(options, { pathLength: 100, "stroke-dasharray": `${100 - gap} ${gap}`, transform: `rotate(${90 + 1.8 * gap})` });
        parts.push(svg("circle", options));
      };
      annulus(low, high, "maybe");
      annulus(high, 1, "wood");
      parts.push(svg("circle", { r: Mark.wall * decay.share, class: "median" }));
    }
    for (const [side, share] of shells) parts.push(svg("path", { d: `M0 ${-Mark.wall - 3}V${-Mark.wall * (1 - share)}`, class: "shell", transform: `rotate(${side})` }));
    if (lean !== null) parts.push(svg("path", { d: "M-4 -52L0 -59L4 -52Z", class: "lean", transform: `rotate(${lean})` }));
    const title = svg("title", {});
    title.textContent = Mark.words(rating, decay);
    return svg("svg", { class: "section", role: "img", width: size, height: size, viewBox: "-60 -60 120 120" }, title, ...parts);
  },

  words(rating, decay) {
    const start = `Rating: ${RATING_WORDS[rating]}.`;
    if (!decay || decay.share === null) return `${start} Nobody has estimated how much sound wood is left.`;
    const range = decay.low === null ? "" : `, ${percent(decay.low)} to ${percent(decay.high)} in 8 of 10 estimates`;
    const opening = decay.opening ? ` Open on ${percent(decay.opening)} of the girth.` : "";
    return `${start} About ${percent(decay.share)} of the diameter is decayed${range}.${opening}`;
  },

  action(action, paths, size = 18) {
    return svg("svg", { class: "action", width: size, height: size, viewBox: "0 0 24 24", "aria-hidden": "true" },
      svg("path", { d: paths[action] || paths.none, fill: "none", stroke: "currentColor", "stroke-width": 1.8, "stroke-linecap": "round", "stroke-linejoin": "round" }));
  },

  steps(value, words) {
    const bar = el("span", { class: "steps", "aria-hidden": "true" });
    for (let i = 1; i <= words.length; i++) bar.append(el("span", { class: i <= value ? "on" : "" }));
    return bar;
  },
};

function percent(share) { return `${Math.round(100 * share)} %`; }
function spaced(text) { return (text || "").replaceAll("_", " "); }
function many(count, one, more) { return `${count.toLocaleString("en")} ${count === 1 ? one : more}`; }
function dayWords(text) {
  if (!text) return "";
  const [year, month, day] = text.split("-").map(Number);
  const months = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"];
  return `${day} ${months[month - 1]} ${year}`;
}
function dayOf(number) { return number ? new Date(number * 86400000).toISOString().slice(0, 10) : ""; }
