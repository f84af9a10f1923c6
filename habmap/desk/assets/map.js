// The map in the desk: an outline that was drawn goes into the form beside it.
(() => {
  const form = document.getElementById("drawn");
  form.addEventListener("submit", () => {
    document.getElementById("drawn-ground").value = document.getElementById("pencil-text").value;
  });

  // --- where a place is asked for, the pencil is ready for one tap, and its form stands beside it ---
  const spot = document.getElementById("spot");
  if (spot) {
    document.getElementById("pencil-kit").prepend(spot);
    document.body.classList.add("spotting");
    const open = document.getElementById("pencil-open");
    const begin = () => (document.body.dataset.drawn === "yes" ? open.click() : setTimeout(begin, 50));
    begin();
  }

  // --- a unit that is picked can be logged: its row tells where, and so does its note on the map ---
  for (const row of document.querySelectorAll("tr.unit")) {
    const telling = row.nextElementSibling.querySelector(".telling"),
      said = document.createElement("p"),
      link = document.createElement("a");
    link.href = `${form.dataset.log}?unit=${encodeURIComponent(row.dataset.unit)}`;
    link.textContent = `log work in ${row.dataset.unit}`;
    said.append(link);
    telling.append(said);
  }
})();
