// Photo points: a wedge on the map opens its pictures large, as a press on one of them does; a heading finds its wedge.
PARTS.push(({ map, place, INK, PAPER, svg, hush, bringIntoView, goBack }) => {
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
      open(i, taken[i]);
    });
    button.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      event.stopPropagation();
      open(i, taken[i]);
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
  // --- large: both pictures as big as the window holds them; one pressed once more fills it ---
  const look = document.getElementById("look");
  if (!look) return;
  const rows = place.photos.map((_, i) => document.getElementById(`photo-${i + 1}`)),
    button = (name) => document.getElementById(`look-${name}`);
  let at = 0;
  function show(i, count) {
    at = i;
    const isAll = count === place.photos[i].days.length,
      parts = [...rows[i].querySelectorAll(isAll ? ".pair, .between" : ".pair")].map((part) => part.cloneNode(true));
    document.getElementById("look-title").textContent = rows[i].querySelector("h3").textContent;
    look.querySelector(".looked").replaceChildren(...parts);
    look.querySelectorAll("figure").forEach((figure, k) => {
      if (k >= count) figure.remove();
    });
    large(null);
    button("before").disabled = next(-1) === undefined;
    button("next").disabled = next(1) === undefined;
  }
  const next = (way) => {
    // the nearest point that way of which there are pictures on the day shown
    for (let i = at + way; i >= 0 && i < taken.length; i += way) if (taken[i]) return i;
    return undefined;
  };
  function large(figure) {
    look.classList.toggle("one", figure !== null);
    look.querySelectorAll("figure").forEach((one) => one.classList.toggle("large", one === figure));
    look.querySelectorAll(".picture").forEach((one) => one.setAttribute("aria-pressed", String(figure !== null)));
  }
  function open(i, count) {
    show(i, count);
    look.showModal();
  }
  const turn = (way) => {
    const i = next(way);
    if (i === undefined) return;
    show(i, taken[i]);
  };
  look.addEventListener("click", (event) => {
    const picture = event.target.closest(".picture");
    if (picture) large(look.classList.contains("one") ? null : picture.closest("figure"));
    else if (event.target === look) look.close(); // beside what it shows
  });
  look.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (way) turn(way);
    else if (event.key !== "Escape") return;
    else if (look.classList.contains("one")) large(null);
    else look.close();
    event.preventDefault();
    event.stopPropagation();
  });
  button("before").addEventListener("click", () => turn(-1));
  button("next").addEventListener("click", () => turn(1));
  button("close").addEventListener("click", () => look.close());
  addEventListener("beforeprint", () => look.close());
  rows.forEach((row, i) => {
    row.querySelectorAll(".picture").forEach(
      (picture) => picture.addEventListener("click", () => open(i, place.photos[i].days.length)), // the list tells every day
    );
    row.querySelector("[data-photo]").addEventListener("click", () => {
      const spot = wedges[i].getElement();
      bringIntoView(L.latLngBounds([wedges[i].getLatLng(), wedges[i].getLatLng()]));
      document.querySelector(".frame").scrollIntoView({ block: "center" });
      spot.focus({ preventScroll: true });
      spot.addEventListener("blur", goBack, { once: true });
    });
  });
});
