// Draws the ground worked by hand: corner by corner, in one stroke, or by keys; measures it; saves it for the log.
PARTS.push(({ map, place, svg, partsOf, letGo, INK, PAPER }) => {
  const rules = place.pencil,
    { FINE, gridOf, measured, acresOf, meets, meeting, crossing } = outlines(rules);
  const by = (name) => document.getElementById(`pencil-${name}`);

  const written = (acres) =>
    !acres
      ? "0 acres"
      : `${acres.toLocaleString("en-US", { minimumFractionDigits: acres < 0.1 ? 3 : 2, maximumFractionDigits: acres < 0.1 ? 3 : 2 })} acres`;
  const feet = (m) => `${Math.round(m / rules.mPerFt).toLocaleString("en-US")} ft`;

  // --- what is drawn ---
  let corners = [],
    closed = false,
    drawing = false,
    way = "corners",
    rubbed = null,
    cross = null,
    picked = null,
    stroke = null,
    fileName = "";
  const slate = document.createElement("div");
  slate.className = "pencil-slate";
  slate.hidden = true;
  map.getContainer().append(slate);
  const sheet = svg("svg", { "aria-hidden": "true", focusable: "false" }, slate);
  const tally = document.createElement("p"); // the same sum on the map itself, where the eye is
  tally.className = "tally";
  tally.setAttribute("aria-hidden", "true");
  slate.append(tally);
  const say = (words) => {
    by("says").textContent = words;
  };
  const toCorner = (at) => {
    const { lat, lng } = map.containerPointToLatLng(at);
    return [Math.round(lng * FINE), Math.round(lat * FINE)];
  };
  const toPoint = ([lon, lat]) => map.latLngToContainerPoint([lat / FINE, lon / FINE]);
  const same = (a, b) => a[0] === b[0] && a[1] === b[1];
  const fault = () => (corners.length < 3 ? null : crossing(corners, true));
  const LEAST_ACRES = 0.001; // 44 square feet: less is a slip of the hand
  const isWhole = () => closed && !fault() && acresOf(corners) >= LEAST_ACRES;

  function inked(d, width, dash) {
    svg(
      "path",
      { d, fill: "none", stroke: PAPER, "stroke-width": width + 3, "stroke-linejoin": "round", opacity: 0.9 },
      sheet,
    );
    svg(
      "path",
      {
        d,
        fill: "none",
        stroke: INK,
        "stroke-width": width,
        "stroke-linejoin": "round",
        ...(dash ? { "stroke-dasharray": dash } : {}),
      },
      sheet,
    );
  }
  function draw() {
    slate.hidden = !drawing && !corners.length;
    if (slate.hidden) return;
    sheet.replaceChildren();
    const points = (stroke || corners).map(toPoint),
      path = (list) => `M${list.map((p) => `${p.x.toFixed(1)},${p.y.toFixed(1)}`).join("L")}`;
    if (points.length > 1) {
      if (!closed && points.length > 2) inked(path([points[points.length - 1], points[0]]), 1.5, "7 5");
      inked(path(points) + (closed ? "Z" : ""), 2.6);
    }
    if (drawing && !stroke) {
      const small = points.length > 24;
      points.forEach((p, i) => {
        if (i === 0 && !closed && points.length > 2)
          svg(
            "circle",
            { cx: p.x, cy: p.y, r: 12, fill: "none", stroke: INK, "stroke-width": 1.5, class: "first" },
            sheet,
          );
        svg(
          "circle",
          {
            cx: p.x,
            cy: p.y,
            r: small ? 3 : 6,
            fill: i === picked ? INK : PAPER,
            stroke: INK,
            "stroke-width": 2,
            class: "corner",
          },
          sheet,
        );
      });
    }
    const wrong = stroke ? null : fault();
    if (drawing && wrong) {
      const { x, y } = toPoint(wrong);
      inked(`M${x - 9},${y - 9}l18,18m0,-18l-18,18`, 2.6);
    }
    if (drawing && cross) inked(`M${cross.x - 22},${cross.y}h17m10,0h17M${cross.x},${cross.y - 22}v17m0,10v17`, 2.2);
    tell();
  }
  function tell() {
    // the acres, in words and figures; the file and its line once the outline is whole
    const ring = stroke || corners,
      sum = by("sum"),
      beside = document.createElement("small");
    const wrong = stroke ? null : fault(),
      { m2, m } = ring.length > 2 ? measured(ring) : { m2: 0, m: 0 };
    sum.textContent = wrong ? "No acres " : `${written(Math.abs(m2) / rules.m2PerAcre)} `;
    beside.textContent = wrong
      ? crossing(corners, false)
        ? "while the outline crosses itself"
        : "while the dashed edge crosses the outline"
      : ring.length > 2
        ? `inside an edge of ${feet(m)}, ${stroke ? "so far" : `${ring.length} corners`}`
        : ring.length === 1
          ? "1 corner set"
          : `${ring.length} corners set`;
    sum.append(beside);
    tally.textContent = wrong ? "It crosses itself" : sum.firstChild.textContent.trim();
    tally.hidden = !drawing;
    by("keep").hidden = !isWhole();
  }
  function changed() {
    // a new outline: a new file name, so that an older file is never taken for it
    const now = new Date(),
      two = (n) => String(n).padStart(2, "0");
    const day = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
    fileName = `ground-worked-${day}-${two(now.getHours())}${two(now.getMinutes())}${two(now.getSeconds())}.geojson`;
    by("text").value = isWhole() ? fileText(day) : "";
    line();
    draw();
  }
  function fileText(day) {
    // RFC 7946: WGS 84 lon/lat, first corner again at the end, the outer ring against the clock
    const ring = (measured(corners).m2 < 0 ? [...corners].reverse() : corners).map(([lon, lat]) => [
      lon / FINE,
      lat / FINE,
    ]);
    return `${JSON.stringify({
      type: "FeatureCollection",
      features: [
        {
          type: "Feature",
          properties: {
            place: rules.place,
            drawn_on: day,
            acres: Number(acresOf(corners).toFixed(6)),
            made_by: "drawn by hand on the map page of habmap",
          },
          geometry: { type: "Polygon", coordinates: [[...ring, ring[0]]] },
        },
      ],
    })}\n`;
  }
  function line() {
    const practice = by("practice"),
      more = practice.selectedOptions[0].dataset.more;
    by("line").textContent =
      `habmap log ${practice.value || "PRACTICE"} --date ${by("day").value || "YYYY-MM-DD"} --patch ${fileName}${more ? ` ${more}` : ""}`;
  }

  // --- what a person does ---
  const CROSSES = "The outline crosses itself where the small cross stands, so it is not taken: ";
  const mend = () => say(`${CROSSES}drag a corner, take corners back, or start over.`);
  const sumWords = () =>
    corners.length < 3 ? "" : fault() ? " The outline crosses itself now." : ` ${written(acresOf(corners))}.`;
  const wanted = document.getElementById("spot"); // where the desk asks for one place, no outline is drawn
  function put(corner) {
    corners = [corner];
    changed();
    for (const [name, value] of [
      ["lon", corner[0]],
      ["lat", corner[1]],
    ])
      wanted.querySelector(`[data-${name}]`).value = String(value / FINE);
    wanted.hidden = false;
    const unit = unitAt(corner);
    return say(`The place is set, in ${unit ? unit.name : "no unit"}. Tap elsewhere to move it.`);
  }
  function add(corner) {
    if (wanted) return put(corner);
    if (closed) return say("The outline is closed. Drag a corner to mend it, undo to open it, or start over.");
    if (corners.some((one) => same(one, corner))) return say("A corner is there already.");
    corners.push(corner);
    rubbed = null;
    changed();
    return say(`Corner ${corners.length} set.${sumWords()}`);
  }
  function close() {
    if (closed) return say(`The outline is closed already.${sumWords()}`);
    if (corners.length < 3) return say("It takes three corners at least to make an outline.");
    if (fault()) return mend();
    if (acresOf(corners) < LEAST_ACRES)
      return say("There is hardly any ground inside this outline, so it is not taken.");
    closed = true;
    changed();
    return say(
      `Closed: ${written(acresOf(corners))}. ${by("keep").dataset.next}, or drag a corner to mend the outline.`,
    );
  }
  function back() {
    picked = null;
    if (!corners.length) {
      if (!rubbed) return say("There is nothing to undo.");
      ({ corners, closed } = rubbed);
      rubbed = null;
      changed();
      return say(`The drawing is back: ${corners.length} corners.${sumWords()}`);
    }
    const wasClosed = closed;
    if (closed) closed = false;
    else corners.pop();
    changed();
    return say(
      wasClosed
        ? "The outline is open again."
        : `Taken back; ${corners.length === 1 ? "1 corner is" : `${corners.length} corners are`} left.${sumWords()}`,
    );
  }
  function over() {
    if (corners.length) rubbed = { corners, closed };
    [corners, closed, picked, stroke] = [[], false, null, null];
    changed();
    say(rubbed ? "Rubbed out. “Take back a corner” brings it back." : "There is nothing drawn yet.");
  }
  function moved() {
    changed();
    if (fault()) return mend();
    return say(`Corner moved.${sumWords()}`);
  }
  function choose(which) {
    way = which;
    for (const name of ["corners", "stroke"]) by(name).setAttribute("aria-pressed", String(name === way));
    hold();
    if (drawing && wanted) say("Tap the place; by keys, arrows move the cross and Enter sets it.");
    else if (drawing)
      say(
        way === "corners"
          ? "Tap the corners one after another; tap the first again to close."
          : "Follow the edge with one finger or with the mouse button held; the map stays still meanwhile.",
      );
  }
  function hold() {
    // the map may be dragged about except while a stroke is drawn
    map.dragging[drawing && way === "stroke" ? "disable" : "enable"]();
  }
  function open(isByKey) {
    drawing = true;
    letGo();
    map.getPane("mapPane").inert = true; // nothing on the map is picked or reached by Tab meanwhile
    map.keyboard.disable();
    slate.classList.add("drawing");
    for (const [name, value] of [
      ["tabindex", "0"],
      ["role", "application"],
      ["aria-describedby", "pencil-how"],
      ["aria-label", "Drawing of the ground worked: arrows move the cross, Enter sets a corner"],
    ])
      slate.setAttribute(name, value);
    by("kit").hidden = false;
    by("open").hidden = true;
    document.body.classList.add("pencilling");
    if (isByKey) cross = map.getSize().divideBy(2).round();
    choose(way);
    if (corners.length)
      say(`The outline is ${closed ? "closed, as you left it" : "as you left it, still open"}.${sumWords()}`);
    draw();
    slate.focus();
  }
  function done() {
    [drawing, cross, picked, stroke, press] = [false, null, null, null, null];
    map.getPane("mapPane").inert = false;
    map.keyboard.enable();
    slate.classList.remove("drawing");
    for (const name of ["tabindex", "role", "aria-label", "aria-describedby"]) slate.removeAttribute(name);
    by("kit").hidden = true;
    by("open").hidden = false;
    document.body.classList.remove("pencilling");
    hold();
    draw();
    by("open").focus();
  }

  // --- finger and mouse ---
  let press = null;
  const fingers = new Set();
  const spot = (event) => map.mouseEventToContainerPoint(event);
  function nearest(at, reach_px) {
    let found = null,
      least = reach_px;
    corners.forEach((corner, i) => {
      const d = toPoint(corner).distanceTo(at);
      if (d <= least) [found, least] = [i, d];
    });
    return found;
  }
  function drop() {
    // a second finger came, or the browser took the gesture away: as if it had not begun
    if (press && press.kind === "corner") corners[press.index] = press.was;
    [press, stroke] = [null, null];
    hold();
    changed();
  }
  slate.addEventListener("pointerdown", (event) => {
    if (!drawing || event.button > 0) return;
    fingers.add(event.pointerId);
    [cross, picked] = [null, null];
    if (fingers.size > 1) return drop();
    const at = spot(event),
      index = nearest(at, event.pointerType === "touch" ? 22 : 12);
    if (index !== null) press = { kind: "corner", index, from: at, was: corners[index], began: false };
    else if (way === "corners") press = { kind: "tap", from: at };
    else if (corners.length) press = { kind: "none" };
    else [press, stroke] = [{ kind: "stroke" }, [toCorner(at)]];
    if (press.kind === "none")
      say("There is an outline already. Drag one of its corners, or start over to draw another.");
    if (press.kind === "tap") return undefined;
    map.dragging.disable();
    slate.setPointerCapture(event.pointerId);
    return draw();
  });
  slate.addEventListener("pointermove", (event) => {
    if (!press || !fingers.has(event.pointerId)) return;
    const at = spot(event);
    if (press.kind === "corner" && (press.began || at.distanceTo(press.from) > 4)) {
      press.began = true;
      corners[press.index] = toCorner(at);
      draw();
    } else if (press.kind === "stroke") {
      const steps = event.getCoalescedEvents ? event.getCoalescedEvents() : [];
      for (const step of steps.length ? steps : [event]) {
        const here = spot(step);
        if (toPoint(stroke[stroke.length - 1]).distanceTo(here) >= 2) stroke.push(toCorner(here));
      }
      draw();
    }
  });
  slate.addEventListener("pointerup", (event) => {
    if (!press || !fingers.has(event.pointerId)) return;
    const { kind, index, began, from } = press;
    press = null;
    hold();
    if (kind === "tap" && spot(event).distanceTo(from) <= (event.pointerType === "touch" ? 12 : 6))
      add(toCorner(spot(event)));
    else if (kind === "corner" && began) moved();
    else if (kind === "corner" && index === 0 && !closed && corners.length > 2) close();
    else if (kind === "corner" && !closed)
      say("A corner is there already: drag it to move it, or zoom in to set another beside it.");
    else if (kind === "stroke") lift();
  });
  slate.addEventListener("pointercancel", drop);
  for (const name of ["pointerup", "pointercancel"]) addEventListener(name, (event) => fingers.delete(event.pointerId));
  for (const name of ["click", "dblclick", "contextmenu"])
    slate.addEventListener(name, (event) => event.stopPropagation());

  function lift() {
    // the stroke becomes corners, no more of them than the eye can tell
    const drawn = stroke.map(toPoint).map((p) => [p.x, p.y]),
      { chain, isCut } = trimmed(drawn);
    stroke = null;
    const wide = Math.max(
      ...[0, 1].map((k) => Math.max(...chain.map((p) => p[k])) - Math.min(...chain.map((p) => p[k]))),
    );
    if (chain.length < 3 || wide < 8) {
      // pixels
      draw();
      return say("That was too short for an outline: hold, and follow the whole edge.");
    }
    for (const most_px of [1, 0.3, 0]) {
      // thinner only where thinning itself would make edges cross
      corners = thinned(chain, most_px)
        .map(toCorner)
        .filter((corner, i, all) => !same(corner, all[(i || all.length) - 1]));
      if (!fault()) break;
    }
    rubbed = null;
    closed = corners.length > 2 && !fault();
    changed();
    return closed
      ? say(
          `Closed: ${written(acresOf(corners))}.${isCut ? " The ends of the stroke overlapped; what lay beyond their meeting is left off." : ""} ${by("keep").dataset.next}, or drag a corner to mend the outline.`,
        )
      : mend();
  }
  function thinned(points, most_px) {
    // a corner stays where leaving it out would move the edge by more than that
    const keep = new Set([0, points.length - 1]),
      spans = [[0, points.length - 1]];
    while (spans.length) {
      const [i, j] = spans.pop(),
        [x, y] = points[i],
        dx = points[j][0] - x,
        dy = points[j][1] - y,
        long2 = dx * dx + dy * dy;
      let far = most_px,
        at = null;
      for (let k = i + 1; k < j; k++) {
        const u = points[k][0] - x,
          v = points[k][1] - y,
          along = long2 ? Math.min(1, Math.max(0, (u * dx + v * dy) / long2)) : 0;
        const off = Math.hypot(u - along * dx, v - along * dy);
        if (off > far) [far, at] = [off, k];
      }
      if (at !== null) {
        keep.add(at);
        spans.push([i, at], [at, j]);
      }
    }
    return points.filter((_, i) => keep.has(i));
  }
  function trimmed(drawn) {
    // nobody stops where they began: the ends overlap by a tail, at most this share of the stroke each
    const TAIL = 0.15,
      NEAR_PX = 24,
      run = [0],
      off = (p) => Math.hypot(p[0] - drawn[0][0], p[1] - drawn[0][1]);
    drawn.slice(1).forEach((p, i) => run.push(run[i] + Math.hypot(p[0] - drawn[i][0], p[1] - drawn[i][1])));
    const long = run[run.length - 1];
    let end = drawn.length - 1,
      most = 0,
      best = null;
    for (let j = end; j > 0 && run[j] >= (1 - TAIL) * long; j--) if (off(drawn[j]) < off(drawn[end])) end = j;
    if (off(drawn[end]) > NEAR_PX) end = drawn.length - 1;
    for (let i = 0; i < end && run[i] <= TAIL * long; i++) {
      // the innermost crossing of the tails: nothing crosses inside it
      for (let j = end - 1; j > i + 1 && run[j + 1] >= (1 - TAIL) * long; j--) {
        const cut = run[i] - run[j];
        if ((best && cut <= most) || !meets(drawn[i], drawn[i + 1], drawn[j], drawn[j + 1])) continue;
        [most, best] = [cut, [meeting(drawn[i], drawn[i + 1], drawn[j], drawn[j + 1]), ...drawn.slice(i + 1, j + 1)]];
      }
    }
    return { chain: best || drawn.slice(0, end + 1), isCut: Boolean(best) || long - run[end] > NEAR_PX };
  }

  // --- keys ---
  const WINDS = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];
  function unitAt([lon, lat]) {
    // even-odd rule over all rings, holes included
    return place.units.find((unit) =>
      partsOf(unit.shape)
        .flat()
        .reduce(
          (inside, ring) =>
            ring.reduce((now, [x, y], i) => {
              const [u, v] = ring[(i + 1) % ring.length];
              return y > lat / FINE !== v > lat / FINE && lon / FINE < ((u - x) * (lat / FINE - y)) / (v - y) + x
                ? !now
                : now;
            }, inside),
          false,
        ),
    );
  }
  function where() {
    // of the cross, in words: its unit, and how it lies from the last corner
    const here = toCorner(cross),
      unit = unitAt(here),
      last = corners[(picked || corners.length) - 1]; // of a corner in hand: the one before it
    const words = [unit ? `In ${unit.name}` : "In no unit"];
    if (last && !same(last, here)) {
      const [[x, y], [u, v]] = [last, here].map(gridOf([last, here]));
      words.push(
        `${feet(Math.hypot(u - x, v - y))} ${WINDS[(Math.round(Math.atan2(u - x, v - y) / (Math.PI / 4)) + 8) % 8]} of the last corner`,
      );
    }
    say(`${words.join(", ")}.${picked === null ? "" : sumWords()}`);
  }
  let waiting = null;
  function step(dx, dy) {
    const size = map.getSize(),
      edge = 30,
      to = cross.add([dx, dy]);
    if (to.x < edge || to.y < edge || to.x > size.x - edge || to.y > size.y - edge)
      map.panBy([dx, dy], { animate: false });
    else cross = to;
    if (picked === null) draw();
    else {
      corners[picked] = toCorner(cross);
      changed();
    }
    clearTimeout(waiting);
    waiting = setTimeout(() => {
      if (drawing && cross) where();
    }, 300);
  }
  function pickUp() {
    if (picked !== null) return putDown();
    picked = nearest(cross, Infinity);
    if (picked === null) return say("There is no corner to pick up yet.");
    cross = toPoint(corners[picked]).round();
    draw();
    return say(`Corner ${picked + 1} is picked up: arrows move it, Enter puts it down.`);
  }
  function putDown() {
    picked = null;
    moved();
  }
  const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  const KEYS = {
    Enter: () =>
      picked !== null
        ? putDown()
        : corners.length > 2 && !closed && nearest(cross, 6) === 0
          ? close()
          : add(toCorner(cross)),
    Backspace: back,
    Delete: back,
    c: close,
    m: pickUp,
    Escape: done,
    "+": () => map.zoomIn(0.5, { animate: false }),
    "=": () => map.zoomIn(0.5, { animate: false }),
    "-": () => map.zoomOut(0.5, { animate: false }),
  };
  slate.addEventListener("keydown", (event) => {
    const arrow = ARROWS[event.key],
      act = KEYS[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (event.ctrlKey || event.metaKey || event.altKey || !(arrow || act)) return;
    event.preventDefault();
    event.stopPropagation();
    cross = cross || map.getSize().divideBy(2).round();
    if (arrow) return step(...arrow.map((way) => way * (event.shiftKey ? 2 : 16)));
    clearTimeout(waiting);
    act();
    return drawing ? draw() : undefined;
  });

  // --- the file and its line ---
  function save() {
    const address = URL.createObjectURL(new Blob([by("text").value], { type: "application/geo+json" })),
      link = document.createElement("a");
    [link.href, link.download] = [address, fileName];
    link.click();
    setTimeout(() => URL.revokeObjectURL(address), 10000);
    say(`Saved as ${fileName}, where your browser puts what it saves.`);
  }
  function copy() {
    getSelection().selectAllChildren(by("line"));
    say(document.execCommand("copy") ? "The line is copied." : "The line is selected: copy it by your own keys.");
  }
  for (const [name, act] of [
    ["back", back],
    ["close", close],
    ["over", over],
    ["done", done],
    ["save", save],
    ["copy", copy],
    ["corners", () => choose("corners")],
    ["stroke", () => choose("stroke")],
    ["open", (event) => open(event.detail === 0)],
  ])
    by(name).addEventListener("click", act);
  for (const name of ["practice", "day"]) by(name).addEventListener("input", line);
  map.on("move zoom viewreset resize zoomend moveend", draw);
  map.on("zoomanim", () => {
    sheet.style.visibility = "hidden";
  });
  map.on("zoomend moveend", () => {
    sheet.style.visibility = "";
  });
});
