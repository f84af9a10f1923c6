// Photo points: a wedge on the map opens its pictures; a heading below the account finds its wedge.
PARTS.push(({ map, place, INK, PAPER, svg, letGo, hush }) => {
  const slate = map.createPane("photos");
  slate.style.zIndex = 630; // above the numerals: it can be picked
  const taken = place.photos.map((point) => point.days.length); // how many of its pictures there were on the day shown
  const wedges = place.photos.map((point, i) => {
    const [lon, lat] = point.at,
      node = svg("svg", { width: 36, height: 36, viewBox: "-18 -18 36 36", "aria-hidden": "true" });
    // the camera stands at the dot; the wedge opens where it looked
    const drawn =
      point.turn === null ? "M-7,0A7,7 0 1 1 7,0A7,7 0 1 1 -7,0Z" : "M0,0L-7.5,-15A16.8,16.8 0 0 1 7.5,-15Z";
    const turned = point.turn === null ? {} : { transform: `rotate(${point.turn})` };
    svg(
      "path",
      { d: drawn, fill: "none", stroke: PAPER, "stroke-width": 5, "stroke-linejoin": "round", ...turned },
      node,
    );
    svg(
      "path",
      { d: drawn, fill: PAPER, stroke: INK, "stroke-width": 1.6, "stroke-linejoin": "round", ...turned },
      node,
    );
    svg("circle", { r: 3, fill: INK, stroke: PAPER, "stroke-width": 1 }, node);
    const wedge = L.marker([lat, lon], {
      pane: "photos",
      keyboard: true,
      riseOnHover: true,
      icon: L.divIcon({ className: "photopoint", html: node, iconSize: [36, 36], iconAnchor: [18, 18] }),
    }).addTo(map);
    const button = wedge.getElement();
    button.setAttribute("role", "button");
    button.setAttribute("aria-label", point.says);
    wedge.on("click", (event) => {
      L.DomEvent.stop(event);
      look(i, false, taken[i]);
    });
    button.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      event.stopPropagation();
      look(i, true, taken[i]);
    });
    return wedge;
  });
  // The map of an earlier day shows the points and the pictures that there were then.
  document.addEventListener("stepped", ({ detail: { day, isNow } }) =>
    place.photos.forEach((point, i) => {
      const button = wedges[i].getElement();
      taken[i] = isNow ? point.days.length : point.days.filter((one) => day !== null && one <= day).length;
      button.hidden = taken[i] === 0;
      button.setAttribute("aria-label", taken[i] < point.days.length ? point.first : point.says);
    }),
  );
  if (wedges.length) hush(); // what a wedge covers is not written
  function look(i, byKey, count) {
    letGo();
    const row = document.getElementById(`photo-${i + 1}`),
      note = document.createElement("div"),
      title = document.createElement("h2");
    title.textContent = row.querySelector("h3").textContent;
    note.className = "photonote";
    note.append(title);
    const isAll = count === place.photos[i].days.length;
    row.querySelectorAll(isAll ? ".pair, .between" : ".pair").forEach((part) => note.append(part.cloneNode(true)));
    note.querySelectorAll("figure").forEach((figure, k) => {
      if (k >= count) figure.remove();
    });
    const room = map.getSize(),
      popup = L.popup({
        maxWidth: Math.min(520, room.x - 50),
        minWidth: Math.min(count === 1 ? 240 : 460, room.x - 50),
        maxHeight: Math.max(150, room.y - 70),
        offset: [0, -8],
      });
    popup.setLatLng(wedges[i].getLatLng()).setContent(note).openOn(map);
    const node = popup.getElement(),
      close = node.querySelector(".leaflet-popup-close-button");
    node.addEventListener("keydown", (event) => {
      if (event.key === "Escape") {
        event.stopPropagation();
        map.closePopup(popup);
      }
    });
    if (!byKey) return;
    close.focus();
    popup.on("remove", () =>
      (wedges[i].getElement().hidden ? row.querySelector("button") : wedges[i].getElement()).focus(),
    );
  }
  document.querySelectorAll(".photos [data-photo]").forEach((button) =>
    button.addEventListener("click", () => {
      const i = Number(button.dataset.photo);
      map.panInside(wedges[i].getLatLng(), { padding: [60, 60], animate: false });
      document.querySelector(".frame").scrollIntoView({ block: "center" });
      look(i, true, place.photos[i].days.length); // the list tells every day
    }),
  );
});
