// Reading by ear and key: the words of the map open by their link and tell of the day shown.
PARTS.push(({ place }) => {
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
