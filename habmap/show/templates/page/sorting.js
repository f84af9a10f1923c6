// Sorting the account: a head pressed once sorts, twice turns it round, a third time goes back to the order of work.
PARTS.push((sheet) => {
  const table = document.querySelector("#account table"),
    bodies = [...table.tBodies];
  if (!bodies.length) return;
  const pairs = [...table.querySelectorAll("tr.unit")].map((row) => {
    const button = row.querySelector("button");
    return { row, about: document.getElementById(button.getAttribute("aria-controls")) };
  });
  const home = bodies.map((body) => [body, [...body.rows]]);
  // What is read off a row is what stands there now: the time on the ruler may have changed it.
  const figure =
    (column) =>
    ({ row }) =>
      parseFloat(row.querySelectorAll("td.fig")[column].textContent.replace(/,/g, ""));
  const name = ({ row }) => row.querySelector("th button").textContent.trim();
  const heads = [...table.tHead.rows[0].cells].slice(0, 5).map((cell, i) => ({
    cell,
    isText: i === 1,
    downFirst: i > 1,
    read: i === 0 ? ({ row }) => parseFloat(row.querySelector("td.no").textContent) : i === 1 ? name : figure(i - 2),
    word: ["number in the order of work", "name", "acres", "acres treated", "acres remaining"][i],
  }));
  const told = document.createElement("p");
  told.className = "sortedby";
  told.setAttribute("role", "status");
  table.before(told);
  let by = null,
    down = false;
  function arrange() {
    if (!by)
      return home.forEach(([body, rows]) => {
        body.hidden = false;
        body.append(...rows);
      });
    const found = pairs.map((pair, i) => ({ pair, i, value: by.read(pair) }));
    const isNone = (value) => !by.isText && Number.isNaN(value);
    found.sort((a, b) => {
      // what has no figure comes last, whichever way
      if (isNone(a.value) || isNone(b.value)) return isNone(a.value) - isNone(b.value) || a.i - b.i;
      const way = by.isText ? a.value.localeCompare(b.value, "en", { numeric: true }) : a.value - b.value;
      return (down ? -way : way) || a.i - b.i;
    });
    const [first, ...rest] = bodies;
    first.replaceChildren(...found.flatMap(({ pair }) => [pair.row, pair.about]));
    rest.forEach((body) => {
      body.replaceChildren();
      body.hidden = true;
    });
  }
  function show() {
    const inside = document.activeElement;
    arrange();
    if (inside && inside !== document.activeElement) inside.focus({ preventScroll: true });
    heads.forEach((head) => {
      if (head === by) head.cell.setAttribute("aria-sort", down ? "descending" : "ascending");
      else head.cell.removeAttribute("aria-sort");
      head.mark.setAttribute("d", head !== by ? "" : down ? "M1,2H9L5,9Z" : "M1,8H9L5,1Z");
    });
    told.textContent = by
      ? `Sorted by ${by.word}, ${by.isText ? (down ? "Z to A" : "A to Z") : down ? "largest first" : "smallest first"}.`
      : "";
  }
  heads.forEach((head) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "sort";
    button.append(...head.cell.childNodes);
    const node = sheet.svg("svg", { viewBox: "0 0 10 10", "aria-hidden": "true", focusable: "false" }, button);
    head.mark = sheet.svg("path", { d: "", fill: "currentColor" }, node);
    head.cell.append(button);
    button.addEventListener("click", () => {
      if (by !== head) [by, down] = [head, head.downFirst];
      else if (down === head.downFirst) down = !down;
      else by = null;
      show();
    });
  });
  document.addEventListener("stepped", () => {
    if (by) show();
  });
});
