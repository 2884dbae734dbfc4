"use strict";
/* The map of the council page: the table's rows as marks; nothing that the table does not say. */
async function start() {
  if (!Unpack.possible) { document.getElementById("sorry").hidden = false; document.getElementById("frame").hidden = true; return; }
  const [columns, words, ground] = await Promise.all([Unpack.columns("block-trees"), Unpack.document("block-words"), Unpack.columns("block-ground")]);
  const trees = new Trees(columns, words), card = document.getElementById("card");
  const layer = treeLayer(trees);
  groundLayer(Unpack.shapes(ground), words.groundNames).addTo(map);
  layer.addTo(map);
  map.scrollWheelZoom.disable(); // the page scrolls; plus and minus zoom
  L.control.zoom({ position: "topright" }).addTo(map);
  L.control.scale({ position: "bottomright", imperial: true }).addTo(map);
  map.fitBounds(trees.extent(), { padding: [32, 32], maxZoom: 17, animate: false });
  let marker = null;
  const choose = (i, zoom) => {
    const row = document.getElementById(`tree-${trees.row[i]}`), cells = row.querySelectorAll("td");
    marker?.remove();
    marker = L.marker(trees.latLng(i), { icon: L.divIcon({ className: "chosen", iconSize: [34, 34] }), interactive: false, keyboard: false }).addTo(map);
    card.replaceChildren(
      el("p", { class: "head" }, el("span", {}, row.querySelector("th").firstChild.textContent), el("span", { class: "rating" }, Mark.rating(trees.rating[i], 24), RATING_WORDS[trees.rating[i]])),
      el("p", { class: "quiet" }, cells[1].textContent), el("p", {}, cells[2].textContent), el("p", {}, cells[3].textContent.trim()),
      el("p", {}, el("a", { href: `#tree-${trees.row[i]}` }, "Read it in the table")));
    card.hidden = false;
    if (zoom) { map.setView(trees.latLng(i), Math.max(map.getZoom(), 16), { animate: false }); document.getElementById("frame").scrollIntoView({ block: "center" }); }
  };
  map.on("click", (event) => {
    const i = trees.nearest(event.latlng, map.getZoom(), 20);
    if (i >= 0) choose(i, false); else { card.hidden = true; marker?.remove(); }
  });
  const place = new Map(Array.from(trees.row, (row, i) => [row, i]));
  for (const button of document.querySelectorAll(".locate")) {
    button.hidden = false;
    button.addEventListener("click", () => choose(place.get(Number(button.dataset.row)), true));
  }
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => layer.redraw());
  window.soundwood = { trees };
  document.documentElement.dataset.ready = "yes";
}

start();
