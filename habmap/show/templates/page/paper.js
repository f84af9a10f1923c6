// Paper that is light, for bright sun, or dark. Until a word is picked, the page's style follows what the screen asks for.
PARTS.push(() => {
  const holder = document.getElementById("paper"),
    buttons = [...holder.querySelectorAll("button")];
  const dark = matchMedia("(prefers-color-scheme: dark)"),
    more = matchMedia("(prefers-contrast: more)");
  const tell = () => {
    const now = document.documentElement.dataset.paper || (more.matches ? "sun" : dark.matches ? "dark" : "light");
    buttons.forEach((button) => button.setAttribute("aria-pressed", String(button.dataset.paper === now)));
  };
  buttons.forEach((button) =>
    button.addEventListener("click", () => {
      document.documentElement.dataset.paper = button.dataset.paper;
      tell();
    }),
  );
  [dark, more].forEach((wish) => wish.addEventListener("change", tell));
  // On a narrow screen the sentence and the land come first; the papers stand under the map.
  const narrow = matchMedia("(max-width: 58.75em)"),
    top = holder.parentElement,
    margin = document.querySelector(".margin");
  const stand = () => (narrow.matches ? margin.after(holder) : top.append(holder));
  narrow.addEventListener("change", stand);
  stand();
  holder.hidden = false;
  tell();
});
