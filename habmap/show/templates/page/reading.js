// Reading by ear and key: what opens over the map says its name, can be scrolled by key, and gives the focus back.
PARTS.push(({ map, place }) => {
  let before = null,
    open = null;
  map.on("popupopen", ({ popup }) => {
    const holder = popup.getElement(),
      text = holder.querySelector(".leaflet-popup-content"),
      title = holder.querySelector("h2");
    before = open?.getElement()?.contains(document.activeElement) ? before : document.activeElement;
    open = popup;
    for (const [key, value] of [
      ["role", "dialog"],
      ["aria-label", title ? title.textContent : "Note"],
      ["tabindex", "0"],
    ])
      text.setAttribute(key, value);
    const close = holder.querySelector(".leaflet-popup-close-button");
    if (close) close.setAttribute("aria-label", "close");
    text.focus({ preventScroll: true });
  });
  map.on("popupclose", ({ popup }) => {
    if (popup !== open) return;
    const holder = popup.getElement(),
      here = document.activeElement;
    open = null;
    if (before?.isConnected && (here === document.body || holder?.contains(here)))
      before.focus({ preventScroll: true });
  });
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !open || event.defaultPrevented) return;
    event.preventDefault();
    map.closePopup(open);
  });
  // A link that leads to the words of the map opens them.
  const words = document.getElementById("words");
  if (words)
    document.querySelectorAll("a[href='#words-open']").forEach((link) =>
      link.addEventListener("click", () => {
        words.open = true;
      }),
    );
  if (!words) return;
  // On an earlier day the words tell of that day too: the sentence, and each unit as its ground would say it.
  const list = words.querySelector("ul"),
    opened = [...list.children],
    title = words.querySelector("summary"),
    name = title.textContent;
  document.addEventListener("stepped", ({ detail: { isNow } }) => {
    const also = document.querySelector(".also"),
      said = [document.querySelector("h1"), also].filter((one) => one && !one.hidden).map((one) => one.textContent);
    const lines = isNow
      ? opened
      : [...said, ...place.units.map((unit) => `${unit.says}.`)].map((text) =>
          Object.assign(document.createElement("li"), { textContent: text }),
        );
    title.textContent = isNow ? name : `The map in words, ${document.querySelector(".place .asof").textContent}`;
    list.replaceChildren(...lines);
  });
});
