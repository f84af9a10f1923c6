// The ruler of seasons: steps through the days of work, each with the ground as it was and the acres beside it.
PARTS.push((sheet) => {
  const data = sheet.place.ruler,
    line = document.getElementById("ruler");
  if (!data || !line) return;
  const { map, place, svg, INK } = sheet,
    last = data.steps.length - 1,
    NONE = -1;
  const PART = data.stages.indexOf("other"),
    $ = (selector, from = document) => from.querySelector(selector);
  let at = last;

  // --- the figures of a step: those of the step before, and what changed ---
  const reached = { step: NONE, units: new Map() };
  function figures(step) {
    if (step < reached.step) {
      reached.step = NONE;
      reached.units = new Map();
    }
    while (reached.step < step) {
      reached.step += 1;
      data.steps[reached.step].units.forEach(([unit, ...pairs]) => {
        if (!pairs.length) return reached.units.delete(unit);
        const acres = data.stages.map(() => 0);
        for (let i = 0; i < pairs.length; i += 2) acres[pairs[i]] = pairs[i + 1];
        reached.units.set(unit, acres);
      });
    }
    return reached.units;
  }
  const sum = (acres, stages) => stages.reduce((total, stage) => total + acres[stage], 0);
  const whole = (acres) => acres.reduce((total, part) => total + part, 0);
  const decimal = new Intl.NumberFormat("en-US", { minimumFractionDigits: 1, maximumFractionDigits: 1 });
  const tenths = (acres) => decimal.format(acres);
  const isOpen = (acres) => acres.every((part, stage) => stage === PART || part === 0);

  // --- shapes, read out of the file once the page stands, or when the reader first moves the time ---
  const rings = (steps) => {
    const points = [];
    let lon = 0,
      lat = 0;
    for (let i = 0; i < steps.length; i += 2)
      points.push(L.latLng((lat += steps[i + 1]) / 1e6, (lon += steps[i]) / 1e6));
    return points;
  };
  const polygons = (parts) => parts.map((polygon) => polygon.map(rings));
  let shapes = null,
    oldUnits = null;
  function readShapes() {
    if (shapes) return;
    const read = JSON.parse(data.shapes);
    shapes = read.pieces.map(([unit, course, parts], number) => ({
      number,
      square: sheet.squareOfUnit.get(data.units[unit][0]) ?? "", // of a unit that is no more
      course,
      polygons: polygons(parts),
      ofDark: null,
    }));
    shapes.forEach(({ square, course }) => {
      changed.set(square, Math.max(changed.get(square) ?? 0, course.at(-2)));
    });
    oldUnits = read.old;
  }
  // From its last change on, the ground of a square is as the page opened with it.
  const changed = new Map(),
    isAsNow = (square, step) => !(changed.get(square) > step);
  // The ground of a step by square and stage, where it is not as now.
  function groundOf(step) {
    const found = new Map();
    shapes.forEach((shape) => {
      if (isAsNow(shape.square, step)) return;
      let stage = NONE;
      for (let k = 0; k < shape.course.length && shape.course[k] <= step; k += 2) stage = shape.course[k + 1];
      if (stage === NONE) return;
      const key = `${stage} ${shape.square}`;
      if (!found.has(key)) found.set(key, { stage: data.stages[stage], members: [] });
      found.get(key).members.push(shape);
    });
    return found;
  }
  function lonlatOf(shape) {
    shape.ofDark ??= shape.polygons.map((polygon) => polygon.map((ring) => ring.map((p) => [p.lng, p.lat])));
    return shape.ofDark;
  }
  // Shared edges must stay shared: nothing is smoothed away, and ground drawn twice by a hair is no hole.
  const lay = (drawn, pane, style) =>
    L.polygon(drawn, {
      ...style,
      smoothFactor: 0,
      noClip: true,
      fillRule: "nonzero",
      interactive: false,
      pane,
      renderer: sheet.renderers[pane],
    }).addTo(map);

  // --- the ground: layers of the step shown, by what they show, so that those that stay the same stay ---
  const opening = new Map(sheet.opening.fills.map(({ layer }, i) => [`opened ${i}`, layer]));
  sheet.opening.patches.forEach((layer, key) => opening.set(key, layer));
  opening.set("units", sheet.opening.outlines);
  let laid = opening,
    oldMarks = [];
  function drawGround(step) {
    readShapes();
    const old = oldUnits.find((one) => one.first <= step && step <= one.last),
      next = new Map();
    const keep = (key, draw) => next.set(key, laid.get(key) || draw());
    if (step === last) {
      opening.forEach((layer, key) => next.set(key, layer.addTo(map)));
      sheet.darken(sheet.darkOf(place.pieces));
    } else {
      sheet.opening.fills.forEach(({ square, layer }, i) => {
        if (isAsNow(square, step)) next.set(`opened ${i}`, layer.addTo(map));
      });
      const dark = sheet.darkOf(place.pieces.filter(({ unit }) => isAsNow(sheet.squareOfUnit.get(unit), step)));
      groundOf(step).forEach(({ stage, members }, key) => {
        const style = { stroke: false, fillColor: `url(#stage-${stage})`, fillOpacity: 1 },
          drawn = () => members.flatMap((shape) => shape.polygons);
        keep(`stage ${key} ${members.map((shape) => shape.number)}`, () => lay(drawn(), "fills", style));
        if (place.dark.includes(stage)) dark.push(...members.flatMap(lonlatOf));
      });
      // What grows on other ground was there before the work began: it is drawn as long as the units are.
      if (!old)
        sheet.opening.fills.forEach(({ pattern, layer }, i) => {
          if (pattern.startsWith("cover-")) next.set(`opened ${i}`, layer.addTo(map).bringToFront());
        });
      if (old)
        keep(`units ${old.first}`, () =>
          L.layerGroup(sheet.passes("unit").map((style) => lay(old.shapes.flatMap(polygons), "edges", style))).addTo(
            map,
          ),
        );
      else next.set("units", opening.get("units").addTo(map));
      sheet.drawPatches((i) => data.patches[i] <= step, laid).forEach((layer, key) => next.set(key, layer.addTo(map)));
      sheet.darken(dark);
    }
    laid.forEach((layer, key) => {
      if (next.get(key) !== layer) layer.remove();
    });
    const isOther = ![...next.keys()].some((key) => key.startsWith("units") && laid.has(key)); // units drawn otherwise
    laid = next;
    // Over the units lie the patches, first their rims of paper, then their dashes.
    for (const pass of isOther ? ["patch 0", "patch 1"] : ["patch 1"])
      laid.forEach((layer, key) => {
        if (key.startsWith(pass)) layer.bringToFront();
      });
    oldMarks.forEach((one) => {
      one.off = true;
    });
    if (old) {
      old.marks =
        old.marks || old.units.map(([name, [lon, lat]]) => sheet.mark([lat, lon], sheet.written(name), "unitname", 6));
      oldMarks = old.marks;
      oldMarks.forEach((one) => {
        one.off = false;
      });
    }
    place.patches.forEach((patch, i) =>
      patch.marks.forEach((one, k) => {
        const isOver = patch.until !== null && data.patches[patch.until] <= step; // by later work
        if (one) one.off = data.patches[i] > step || (patch.until !== null && isOver !== (k === 0));
      }),
    );
    place.units.forEach((unit) =>
      unit.marks.forEach((one) => {
        one.off = step !== last && (one.kind.startsWith("order") || Boolean(old));
      }),
    );
    sheet.hush();
  }

  // --- the words and the table ---
  const first = new Map(); // what the page opened with, node by node
  function write(element, ...content) {
    if (!element) return;
    if (!first.has(element)) first.set(element, [...element.childNodes]);
    element.replaceChildren(...content);
  }
  const restore = () => first.forEach((nodes, element) => element.replaceChildren(...nodes));
  const h1 = $("h1"),
    asof = $(".place .asof"),
    caption = $("#account caption"),
    method = $("footer .method");
  const also =
    $(".also") ||
    $(".beneath").insertAdjacentElement(
      "afterbegin",
      Object.assign(document.createElement("p"), { className: "also", hidden: true }),
    );
  const alsoHidden = also.hidden;
  const openedSays = new Map(place.units.map((unit) => [unit.id, unit.says]));
  const index = new Map(data.units.map(([id], i) => [id, i]));
  const words = (acres) => {
    const parts = acres
      .map((part, stage) => [part, stage])
      .filter(([part]) => part >= 0.05)
      .sort((a, b) => b[0] - a[0] || a[1] - b[1]);
    const text = parts.map(([part, stage]) => `${data.words[stage]} ${tenths(part)}`).join(", ");
    return text ? `${text[0].toUpperCase()}${text.slice(1)} acres.` : `${tenths(whole(acres))} acres.`;
  };
  function bar(template, acres) {
    const node = template.cloneNode(false),
      height = node.viewBox.baseVal.height - 1.2,
      room = node.viewBox.baseVal.width - 2;
    const length = Math.max(3, room * Math.min(1, whole(acres) / Math.max(data.largest, 1e-9)));
    let x = 0.6;
    [...acres.keys()].reverse().forEach((stage) => {
      if (!acres[stage]) return;
      const width = (acres[stage] / whole(acres)) * length;
      svg(
        "rect",
        { x, y: 0.6, width, height, fill: `url(#stage-${data.stages[stage]})`, stroke: INK, "stroke-width": 0.8 },
        node,
      );
      x += width;
    });
    return node;
  }
  // A row is written only where its figures are not those that stand there; of a large place most rows stay.
  const opened = new Map(),
    shown = new Map(),
    keyOf = (acres) => (acres ? acres.join() : "");
  function readOpened() {
    if (opened.size) return;
    const units = figures(last);
    place.units.forEach((unit) => opened.set(unit.id, keyOf(units.get(index.get(unit.id)))));
  }
  function writeRow(unit, acres) {
    const isOld = oldUnits.some((one) => one.first <= at && at <= one.last),
      key = `${isOld ? "old " : ""}${keyOf(acres)}`;
    if ((shown.get(unit.id) ?? opened.get(unit.id)) === key) return;
    shown.set(unit.id, key);
    const { row } = sheet.byId.get(unit.id),
      [total, treated, remain] = row.querySelectorAll("td.fig"),
      cell = $(".barcell", row);
    if (key === opened.get(unit.id))
      return [total, treated, remain, cell].forEach((one) => first.has(one) && one.replaceChildren(...first.get(one)));
    const open = acres && isOpen(acres);
    if (!acres) {
      [total, treated, remain].forEach((one) => write(one, "–"));
      return write(cell);
    }
    // The spread of a walk belongs to the outline as it is now.
    if (isOld) write(total, tenths(whole(acres)));
    else if (first.has(total)) total.replaceChildren(...first.get(total));
    write(treated, open ? "–" : tenths(sum(acres, data.treated)));
    write(remain, open ? "–" : tenths(sum(acres, data.remaining)));
    if (!first.has(cell)) first.set(cell, [...cell.childNodes]);
    cell.replaceChildren(
      bar(
        first.get(cell).find((node) => node.nodeName === "svg"),
        acres,
      ),
    );
  }
  const saysThen = (unit, acres, when) =>
    !acres
      ? `${unit.name}: not a unit of its own ${when}`
      : isOpen(acres)
        ? `${unit.name}: ${tenths(whole(acres))} acres, not cedar ground ${when}`
        : `${unit.name}: ${tenths(sum(acres, data.treated))} acres treated, ${tenths(sum(acres, data.remaining))} remaining of ${tenths(whole(acres))} ${when}`;
  // The words under a row are written when they are read: at a step those of the unit picked, of others when they are.
  function tell(unit) {
    if (at === last) return;
    const one = data.steps[at],
      when = one.n === null ? one.when : `by ${one.when}`,
      day = one.n === null ? null : iso(one.n),
      acres = figures(at).get(index.get(unit.id)),
      { about } = sheet.byId.get(unit.id);
    write(
      $(".state", about),
      acres
        ? `${when[0].toUpperCase()}${when.slice(1)}: ${isOpen(acres) ? "not counted as cedar ground." : words(acres)}`
        : `Not a unit of its own ${when}.`,
    );
    about.querySelectorAll("li[data-day]").forEach((item) => {
      item.hidden = day === null || item.dataset.day > day;
    });
    about.querySelectorAll(".worklines").forEach((list) => {
      list.hidden = ![...list.querySelectorAll("li")].some((item) => !item.hidden);
    });
  }
  document.addEventListener("picked", ({ detail }) => tell(place.units.find((unit) => unit.id === detail)));
  const iso = (n) => {
    // a day number of the proleptic calendar, 1 = January 1 of the year 1
    const date = new Date(0);
    date.setUTCDate(date.getUTCDate() + n - 719163);
    return `${String(date.getUTCFullYear()).padStart(4, "0")}-${String(date.getUTCMonth() + 1).padStart(2, "0")}-${String(date.getUTCDate()).padStart(2, "0")}`;
  };
  function writeWords(step) {
    readOpened();
    const one = data.steps[step],
      units = figures(step),
      when = one.n === null ? one.when : `by ${one.when}`;
    h1.style.minHeight = `${Math.max(parseFloat(h1.style.minHeight) || 0, h1.offsetHeight)}px`; // the ruler stays under the thumb
    also.style.minHeight = also.hidden ? "" : `${Math.max(parseFloat(also.style.minHeight) || 0, also.offsetHeight)}px`;
    document.body.classList.toggle("then", step !== last);
    if (step === last) {
      restore();
      shown.clear();
      also.hidden = alsoHidden;
      place.units.forEach((unit) => {
        unit.says = openedSays.get(unit.id);
      });
      document.querySelectorAll("li[data-day], .worklines").forEach((item) => {
        item.hidden = false;
      });
      document.querySelectorAll("li[data-stage]").forEach((item) => {
        item.hidden = false;
      });
      document.querySelectorAll("li[data-then]").forEach((item) => item.remove());
    } else {
      write(h1, one.head);
      write(also, one.also);
      also.hidden = !one.also && alsoHidden;
      write(asof, one.n === null ? one.when : `as of ${one.when}`);
      write(
        caption,
        `Acres ${one.n === null ? one.when : `as of ${one.when}`}. The order of work and the reasons are those of now.`,
      );
      write(method);
      method.append(...first.get(method).map((node) => node.cloneNode(true)));
      method.childNodes.forEach((node) => {
        // the figures shown follow from the log up to this day only
        if (node.nodeType === Node.TEXT_NODE)
          node.data = node.data.replace(
            `up to ${data.steps[last].when}`,
            one.n === null ? "before its first line" : `up to ${one.when}`,
          );
      });
      place.units.forEach((unit) => {
        const acres = units.get(index.get(unit.id));
        writeRow(unit, acres);
        unit.says = saysThen(unit, acres, when);
        if (sheet.byId.get(unit.id).row.classList.contains("chosen")) tell(unit);
      });
      write($("#treated"), tenths(sum(one.all, data.treated)));
      write($("#remaining"), tenths(sum(one.all, data.remaining)));
      write($("#treated").previousElementSibling, tenths(whole(one.all)));
      writeLegend(one.all);
    }
    place.units.forEach((unit) => unit.paths.forEach((path) => path.setAttribute("aria-label", unit.says)));
    write($("#ruler-said"), step === last && one.n !== null ? `Now. ${one.said}` : one.said);
  }
  function writeLegend(all) {
    const list = $(".legend .stages");
    data.stages.forEach((stage, i) => {
      let item = $(`li[data-stage="${stage}"]`, list) || $(`li[data-then="${stage}"]`, list);
      if (!item && all[i] > 0) {
        // a stage that no ground is in any more
        item = document.createElement("li");
        item.dataset.then = stage;
        const swatch = $("svg", list).cloneNode(true),
          name = document.createElement("span");
        $("rect", swatch).setAttribute("fill", `url(#stage-${stage})`);
        name.append(`${data.words[i]} `, document.createElement("small"));
        item.append(swatch, name);
        const after = data.stages
          .slice(i + 1)
          .map((next) => $(`li[data-stage="${next}"], li[data-then="${next}"]`, list))
          .find(Boolean);
        list.insertBefore(item, after || null);
      }
      if (!item) return;
      item.hidden = !(all[i] > 0);
      write($("small", item), `${tenths(all[i])} ac`);
    });
  }

  // --- the ruler itself: days at their distance, yet never too near to be told apart ---
  const days = data.steps.map((step) => (step.n === null ? data.seasons[0][1] : step.n));
  let spots = [],
    thumb = null,
    label = null,
    hint = null,
    ticks = [];
  // Acres worked month by month, or season by season where months would be too narrow, as columns along the ruler.
  const monthAt = (n, ahead) => {
    const [year, month] = iso(n).split("-").map(Number);
    return Date.UTC(year, month - 1 + ahead, 1) / 864e5 + 719163;
  };
  let columns = [];
  function drawColumns(node, place, base, tallest) {
    const isWide = (place(days[last]) - place(days[0])) / ((days[last] - days[0]) / 30.4) >= 5,
      bins = new Map();
    data.steps.forEach(({ n, acres }, step) => {
      if (n === null || !acres) return;
      const [from, until] = isWide
        ? [monthAt(n, 0), monthAt(n, 1) - 1]
        : data.seasons.find(([, one, other]) => one <= n && n <= other).slice(1);
      const bin = bins.get(from) ?? { from, until, acres: 0, step };
      bin.acres += acres;
      bins.set(from, bin);
    });
    const most = Math.max(...[...bins.values()].map((bin) => bin.acres));
    columns = [...bins.values()].map((bin) => {
      const a = place(bin.from),
        width = Math.max(3, place(bin.until + 1) - a - 1),
        height = Math.max(2, (bin.acres / most) * tallest);
      const rect = svg(
        "rect",
        { x: Math.max(0, Math.min(a, place(days[last]) - 3)), y: base - height, width, height },
        node,
      );
      return { rect, step: bin.step };
    });
  }
  function drawRuler() {
    const width = line.clientWidth,
      left = 9,
      right = width - 9;
    const k = parseFloat(getComputedStyle(document.documentElement).fontSize) / 16,
      base = 41 * k; // letters may be set larger
    if (width < 60) return;
    h1.style.minHeight = also.style.minHeight = "";
    const span = Math.max(1, days[last] - days[0]),
      gap = Math.min(11, (right - left) / Math.max(1, last));
    spots = days.map((day) => left + ((day - days[0]) / span) * (right - left));
    for (let i = 1; i <= last; i++) spots[i] = Math.max(spots[i], spots[i - 1] + gap);
    spots[last] = Math.min(spots[last], right);
    for (let i = last - 1; i >= 0; i--) spots[i] = Math.min(spots[i], spots[i + 1] - gap);
    const place = (day) => {
      // between the ticks on either side of a day
      if (day <= days[0]) return left;
      if (day >= days[last]) return right;
      let i = 1;
      while (i < last && days[i] < day) i++;
      const a = days[i - 1],
        b = days[i];
      return b > a ? spots[i - 1] + ((spots[i] - spots[i - 1]) * (day - a)) / (b - a) : spots[i];
    };
    line.replaceChildren();
    const node = svg("svg", { viewBox: `0 0 ${width} ${66 * k}`, "aria-hidden": "true", focusable: "false" }, line);
    svg("path", { d: `M${left - 4},${base}H${right + 4}`, stroke: INK, "stroke-width": 1.4 }, node);
    drawColumns(node, place, base, 20 * k);
    data.seasons.forEach(([name, from, until]) => {
      const a = place(from),
        b = place(until + 1);
      svg(
        "path",
        {
          d: `M${a + 1.5},${base + 3}V${base + 8}H${b - 1.5}V${base + 3}`,
          fill: "none",
          stroke: INK,
          "stroke-width": 0.9,
        },
        node,
      );
      const text = svg("text", { x: (a + b) / 2, y: base + 8 + 16 * k, "text-anchor": "middle" }, node);
      text.textContent = `season ${name}`;
      for (const shorter of [name, `’${name.slice(2)}`]) {
        if (text.getComputedTextLength() <= b - a - 4) break;
        text.textContent = shorter;
      }
      if (text.getComputedTextLength() > b - a - 4) text.remove();
    });
    // Days too close to be told apart have no ticks: the columns tell them.
    ticks =
      gap < 4
        ? []
        : spots.map((x) => svg("path", { d: `M${x},${base}V${base - 7}`, stroke: INK, class: "tick" }, node));
    thumb = svg(
      "path",
      {
        d: `M0,${base + 1}V${base - 15}M-6,${base - 20}H6L0,${base - 11}Z`,
        stroke: INK,
        "stroke-width": 2,
        fill: INK,
        "stroke-linejoin": "round",
      },
      node,
    );
    hint = svg("text", { x: 0, y: 13 * k, class: "rulerhint" }, node);
    label = svg("text", { y: 13 * k, class: "rulerday" }, node);
    point();
  }
  function point() {
    const one = data.steps[at],
      value = at === last ? `now, ${one.value}` : one.value;
    for (const [key, text] of [
      ["valuemax", last],
      ["valuenow", at],
      ["valuetext", value],
    ])
      line.setAttribute(`aria-${key}`, text);
    [
      ["earlier", at === 0],
      ["later", at === last],
      ["now", at === last],
    ].forEach(([id, isOff]) => {
      document.getElementById(id).setAttribute("aria-disabled", String(isOff));
    });
    if (!thumb) return;
    columns.forEach(({ rect, step }) => rect.setAttribute("class", step <= at ? "column" : "column later"));
    ticks.forEach((tick, i) => tick.setAttribute("stroke-width", i <= at ? 2.2 : 0.9));
    thumb.setAttribute("transform", `translate(${spots[at]} 0)`);
    label.textContent = at === last ? `now, ${one.when}` : one.when;
    const half = label.getComputedTextLength() / 2,
      width = line.clientWidth;
    hint.textContent = at === last ? "drag to see an earlier day" : "";
    if (hint.getComputedTextLength() + 2 * half + 16 > width) hint.textContent = at === last ? "drag to go back" : "";
    if (hint.getComputedTextLength() + 2 * half + 16 > width) hint.textContent = "";
    label.setAttribute("x", Math.max(0, Math.min(width - 2 * half, spots[at] - half)));
  }

  function go(step) {
    const to = Math.max(0, Math.min(last, step));
    if (to === at) return;
    at = to;
    const stood = line.getBoundingClientRect().top,
      frame = $(".frame");
    frame.style.setProperty("--floor", `${frame.offsetHeight}px`); // a legend grown shorter takes nothing from the map
    document.body.classList.toggle("then", at !== last); // before marks are weighed: numerals have no size on earlier days
    drawGround(at);
    writeWords(at);
    point();
    scrollBy(0, line.getBoundingClientRect().top - stood); // the ruler stays under the hand
    // For other parts: the day shown (null before any work), and whether it is now.
    document.dispatchEvent(
      new CustomEvent("stepped", {
        detail: { day: data.steps[at].n === null ? null : iso(data.steps[at].n), isNow: at === last },
      }),
    );
  }
  const season = (way) => {
    // to the first step of the next season, or of this one and those before
    const of = (step) => data.seasons.findIndex(([, from, until]) => days[step] >= from && days[step] <= until);
    let step = at + way;
    while (step > 0 && step < last && of(step) === of(at)) step += way;
    return step;
  };
  line.addEventListener("keydown", (event) => {
    const to = {
      ArrowLeft: at - 1,
      ArrowDown: at - 1,
      ArrowRight: at + 1,
      ArrowUp: at + 1,
      Home: 0,
      End: last,
      PageDown: season(-1),
      PageUp: season(1),
    }[event.key];
    if (to === undefined || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    go(to);
  });
  let wanted = null;
  function follow(event) {
    const x = event.clientX - line.getBoundingClientRect().left;
    const nearest = spots.reduce((best, spot, i) => (Math.abs(spot - x) < Math.abs(spots[best] - x) ? i : best), 0);
    if (wanted === null)
      requestAnimationFrame(() => {
        const step = wanted;
        wanted = null;
        go(step);
      });
    wanted = nearest;
  }
  line.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    line.setPointerCapture(event.pointerId);
    follow(event);
  });
  line.addEventListener("pointermove", (event) => {
    if (line.hasPointerCapture(event.pointerId)) follow(event);
  });
  const press = (id, to) => document.getElementById(id).addEventListener("click", () => go(to()));
  press("earlier", () => at - 1);
  press("later", () => at + 1);
  press("now", () => last);
  $("#ruler-said").textContent = data.steps[last].n === null ? data.steps[last].said : `Now. ${data.steps[last].said}`;
  first.set($("#ruler-said"), [...$("#ruler-said").childNodes]);
  new ResizeObserver(drawRuler).observe(line); // comes once at first, when the page has been laid out
  point();
  (window.requestIdleCallback ?? setTimeout)(() => {
    readShapes();
    readOpened();
  });
});
