// Where to cut next: a line of heavy dots around it, on the ground of now only.
PARTS.push(({ map, place, many, mark, settle, INK, PAPER }) => {
  if (!place.bite) return;
  const around = [place.bite.shape];
  const drawn = [
    many(around, "edges", { className: "bite", fill: false, color: PAPER, weight: 7, opacity: 0.95 }),
    many(around, "edges", {
      className: "bite dots",
      fill: false,
      color: INK,
      weight: 4,
      dashArray: "0.1 7",
      lineCap: "round",
    }),
  ];
  const name = mark([place.bite.at[1], place.bite.at[0]], "cut next", "day", 4.2);
  settle();
  document.addEventListener("stepped", ({ detail: { isNow } }) => {
    drawn.forEach((layer) => {
      if (isNow) layer.addTo(map);
      else layer.remove();
    });
    name.off = !isNow;
    settle();
  });
});
