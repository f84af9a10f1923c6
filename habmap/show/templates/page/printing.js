// Paper: one page, the map taking the room that the words leave; of a long list the rows that fit, and the sum of the rest.
PARTS.push(({ map, place, box, whole, drawIn, letGo }) => {
  const INCH = 96,
    ROOM = 9.85 * INCH, // Letter less half-inch margins; A4 is longer
    LEAST = 2.25 * INCH; // of a map beside the list
  const table = document.querySelector("#account table"),
    foot = table.querySelector("tfoot");
  const legend = document.querySelector(".legend"),
    ground = document.querySelector(".ground"),
    after = legend.nextSibling;
  const tall = (selector) => document.querySelector(selector).getBoundingClientRect().height;
  const said = (row) =>
    [...row.querySelectorAll("td.fig")].map((cell) => (cell.firstChild ? cell.firstChild.textContent.trim() : ""));
  const figure = (text) => (text === "–" || text === "" ? null : Number(text.replaceAll(",", "")));
  const exact = new Map(Object.entries(place.printing));

  // A row's acres as its cells say them, with all decimals where those are still the ones the page was opened with.
  function figures(row) {
    const known = exact.get(row.dataset.unit);
    return said(row)
      .map(figure)
      .map((shown, i) => (known && shown !== null && Math.abs(known[i] - shown) < 0.0501 ? known[i] : shown));
  }
  function restOf(rows) {
    const sums = rows.map(figures).reduce((sum, line) => sum.map((value, i) => value + (line[i] || 0)), [0, 0, 0]);
    const body = document.createElement("tbody"),
      row = body.insertRow(),
      name = document.createElement("th");
    body.className = "rest";
    row.insertCell().className = "no";
    name.scope = "row";
    name.className = "name";
    name.textContent = `and ${rows.length.toLocaleString("en-US")} more`;
    row.append(name);
    sums.forEach((sum) => {
      const cell = row.insertCell();
      cell.className = "fig";
      cell.textContent = sum.toLocaleString("en-US", { minimumFractionDigits: 1, maximumFractionDigits: 1 });
    });
    row.insertCell().className = "barcell";
    const where = body.insertRow().insertCell();
    where.colSpan = 6;
    where.textContent = `The page on screen lists all ${place.units.length.toLocaleString("en-US")} units.`;
    return body;
  }
  // Rows leave from the last one up until what stays, with the line that sums them, has room.
  function shorten(room) {
    const rows = [...table.querySelectorAll("tr.unit")],
      gone = [];
    if (tall("#account") <= room) return;
    const heights = new Map(rows.map((row) => [row, row.getBoundingClientRect().height]));
    const rest = restOf(rows);
    foot.before(rest);
    let over = tall("#account") - room;
    while (over > 0 && rows.length > 1) {
      const row = rows.pop(),
        group = row.parentElement;
      gone.unshift(row);
      row.classList.add("offpage");
      over -= heights.get(row);
      if ([...group.querySelectorAll("tr.unit")].every((one) => one.classList.contains("offpage"))) {
        const heading = group.querySelector("tr.heading");
        if (heading) over -= heading.getBoundingClientRect().height;
        group.classList.add("offpage");
      }
    }
    rest.replaceWith(restOf(gone));
  }
  function lengthen() {
    table.querySelectorAll(".offpage").forEach((one) => one.classList.remove("offpage"));
    table.querySelectorAll("tbody.rest").forEach((one) => one.remove());
  }
  function toPaper() {
    if (document.body.classList.contains("printing")) return;
    document.body.classList.add("printing");
    letGo();
    const frame = document.querySelector(".frame");
    frame.style.height = `${INCH}px`;
    const corners = [box.getNorthWest(), box.getSouthEast()].map((corner) => map.project(corner, 16));
    const wanted = () =>
      (frame.clientWidth * (corners[1].y - corners[0].y)) / (corners[1].x - corners[0].x) + 0.6 * INCH;
    // Words above and under what stands side by side; what stands under the map, with the legend or without.
    const room = () => ROOM - (tall("body") - tall(".spread")),
      below = () => tall(".ground") - tall(".frame"),
      smallest = Math.min(wanted(), LEAST);
    // Beside a list twice as tall, the map of wide ground would leave the paper below it empty: it goes over the list.
    const isOver = Math.min(tall("#account"), room()) > 2 * (wanted() + below());
    document.body.classList.toggle("over", isOver);
    if (isOver) frame.style.height = `${Math.min(wanted(), 2.9 * INCH)}px`;
    document.querySelector("footer").before(legend); // as wide as the page it takes a few lines only
    // A list that is longer than what that leaves gives up its bars, and gets the legend's room: it stands under the map.
    const isLonger = () => !isOver && tall("#account") > room();
    document.body.classList.toggle("tight", isLonger());
    if (isLonger()) {
      ground.insertBefore(legend, after);
      if (room() - below() < smallest) document.querySelector("footer").before(legend);
    }
    shorten(room() - (isOver ? tall(".ground") : 0));
    if (!isOver) frame.style.height = `${Math.max(smallest, Math.min(wanted(), room() - below()))}px`;
    drawIn();
    map.invalidateSize({ animate: false });
    whole();
    if (document.body.classList.contains("then") || !document.querySelector(".seasons")) return;
    document.body.classList.add("roomy"); // the account by season, where it leaves all else its room
    document.body.classList.toggle("roomy", tall("body") <= ROOM);
  }
  function toScreen() {
    document.body.classList.remove("printing", "roomy", "over", "tight");
    lengthen();
    ground.insertBefore(legend, after);
    document.querySelector(".frame").style.height = "";
    map.invalidateSize({ animate: false });
    whole();
  }
  addEventListener("beforeprint", toPaper);
  addEventListener("afterprint", toScreen);
});
