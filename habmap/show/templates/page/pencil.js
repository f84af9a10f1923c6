// Draws the ground worked by hand: corner by corner, in one stroke, or by keys; measures it; saves it for the log.
PARTS.push(({ map, place, svg, partsOf, letGo, INK, PAPER }) => {
  const rules = place.pencil, FINE = 1e7; // a corner is lon and lat in whole ten-millionths of a degree: 11 mm, and exact
  const by = (name) => document.getElementById(`pencil-${name}`);

  // --- acres: Lambert azimuthal equal-area on the WGS 84 ellipsoid (Snyder 1987, equations 3-11 to 3-13, 14-15, 24-17 to 24-20) ---
  const A = 6378137, F = 1 / 298.257223563, E2 = F * (2 - F), E = Math.sqrt(E2), RAD = Math.PI / 180;
  const q = (s) => (1 - E2) * (s / (1 - E2 * s * s) - Math.log((1 - E * s) / (1 + E * s)) / (2 * E));
  const QP = q(1), RQ = A * Math.sqrt(QP / 2);
  function gridAt(lat0, lon0) {
    const s = Math.sin(lat0 * RAD), sin1 = q(s) / QP, cos1 = Math.sqrt(1 - sin1 * sin1);
    const D = A * Math.cos(lat0 * RAD) / Math.sqrt(1 - E2 * s * s) / (RQ * cos1);
    return ([lon, lat]) => {
      const sin = q(Math.sin(lat / FINE * RAD)) / QP, cos = Math.sqrt(1 - sin * sin), turn = (lon / FINE - lon0) * RAD;
      const B = RQ * Math.sqrt(2 / (1 + sin1 * sin + cos1 * cos * Math.cos(turn)));
      return [B * D * cos * Math.sin(turn), B / D * (cos1 * sin - sin1 * cos * Math.cos(turn))];
    };
  }
  const middle = (values) => (Math.max(...values) + Math.min(...values)) / 2 / FINE;
  const gridOf = (ring) => rules.grid ? gridAt(...rules.grid) : gridAt(middle(ring.map((p) => p[1])), middle(ring.map((p) => p[0])));
  function measured(ring) { // signed square metres (positive: corners run against the clock) and metres of edge
    const xy = ring.map(gridOf(ring)), [x0, y0] = xy[0];
    let twice = 0, edge = 0;
    xy.forEach(([x, y], i) => {
      const [u, v] = xy[(i + 1) % xy.length];
      twice += (x - x0) * (v - y0) - (u - x0) * (y - y0);
      edge += Math.hypot(u - x, v - y);
    });
    return { m2: twice / 2, m: edge };
  }
  const acresOf = (ring) => Math.abs(measured(ring).m2) / rules.m2PerAcre;
  const written = (acres) => `${acres.toLocaleString("en-US", { minimumFractionDigits: acres < 0.1 ? 3 : 2, maximumFractionDigits: acres < 0.1 ? 3 : 2 })} acres`;
  const feet = (m) => `${Math.round(m / rules.mPerFt).toLocaleString("en-US")} ft`;

  // --- an outline that crosses or touches itself encloses nothing that can be told ---
  const side = (a, b, c) => Math.sign((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]));
  const between = (a, b, c) => Math.min(a[0], b[0]) <= c[0] && c[0] <= Math.max(a[0], b[0]) && Math.min(a[1], b[1]) <= c[1] && c[1] <= Math.max(a[1], b[1]);
  function meets(a, b, c, d) {
    if (Math.max(a[0], b[0]) < Math.min(c[0], d[0]) || Math.max(c[0], d[0]) < Math.min(a[0], b[0])) return false;
    const s = side(a, b, c), t = side(a, b, d), u = side(c, d, a), v = side(c, d, b);
    return (s !== t && u !== v) || (!s && between(a, b, c)) || (!t && between(a, b, d)) || (!u && between(c, d, a)) || (!v && between(c, d, b));
  }
  function meeting(a, b, c, d) { // where two edges cross; where they lie along each other, an end that both share
    const bend = (b[0] - a[0]) * (d[1] - c[1]) - (b[1] - a[1]) * (d[0] - c[0]);
    if (!bend) return [c, d, a].find((p) => between(a, b, p) && between(c, d, p)) || c;
    const part = ((c[0] - a[0]) * (d[1] - c[1]) - (c[1] - a[1]) * (d[0] - c[0])) / bend;
    return [a[0] + part * (b[0] - a[0]), a[1] + part * (b[1] - a[1])];
  }
  function crossing(points, isRing) { // the first place where it meets itself, else null
    const edges = isRing ? points.length : points.length - 1, at = (i) => points[i % points.length];
    for (let i = 0; i < edges; i++) {
      for (let j = i + 1; j < edges; j++) {
        const next = j === i + 1, last = isRing && i === 0 && j === edges - 1;
        if (next || last) { // neighbours share a corner; they must not fold back over each other
          const [from, corner, to] = next ? [at(i), at(j), at(j + 1)] : [at(j), at(0), at(1)];
          const back = (from[0] - corner[0]) * (to[0] - corner[0]) + (from[1] - corner[1]) * (to[1] - corner[1]) > 0;
          if (!side(from, corner, to) && back) return corner;
        } else if (meets(at(i), at(i + 1), at(j), at(j + 1))) return meeting(at(i), at(i + 1), at(j), at(j + 1));
      }
    }
    return null;
  }

  // --- what is drawn ---
  let corners = [], closed = false, drawing = false, way = "corners", rubbed = null, cross = null, picked = null, stroke = null, fileName = "";
  const slate = document.createElement("div");
  slate.className = "pencil-slate";
  slate.hidden = true;
  map.getContainer().append(slate);
  const sheet = svg("svg", { "aria-hidden": "true", focusable: "false" }, slate);
  const say = (words) => { by("says").textContent = words; };
  const toCorner = (at) => { const { lat, lng } = map.containerPointToLatLng(at); return [Math.round(lng * FINE), Math.round(lat * FINE)]; };
  const toPoint = ([lon, lat]) => map.latLngToContainerPoint([lat / FINE, lon / FINE]);
  const same = (a, b) => a[0] === b[0] && a[1] === b[1];
  const fault = () => corners.length < 3 ? null : crossing(corners, true);
  const isWhole = () => closed && !fault();

  function inked(d, width, dash) {
    svg("path", { d, fill: "none", stroke: PAPER, "stroke-width": width + 3, "stroke-linejoin": "round", opacity: 0.9 }, sheet);
    svg("path", { d, fill: "none", stroke: INK, "stroke-width": width, "stroke-linejoin": "round", ...(dash ? { "stroke-dasharray": dash } : {}) }, sheet);
  }
  function draw() {
    slate.hidden = !drawing && !corners.length;
    sheet.replaceChildren();
    const points = (stroke || corners).map(toPoint), path = (list) => `M${list.map((p) => `${p.x.toFixed(1)},${p.y.toFixed(1)}`).join("L")}`;
    if (points.length > 1) {
      if (!closed && points.length > 2) inked(path([points[points.length - 1], points[0]]), 1.5, "7 5");
      inked(path(points) + (closed ? "Z" : ""), 2.6);
    }
    if (drawing && !stroke) {
      const small = points.length > 40;
      points.forEach((p, i) => {
        if (i === 0 && !closed && points.length > 2) svg("circle", { cx: p.x, cy: p.y, r: 12, fill: "none", stroke: INK, "stroke-width": 1.5, class: "first" }, sheet);
        svg("circle", { cx: p.x, cy: p.y, r: small ? 3 : 6, fill: i === picked ? INK : PAPER, stroke: INK, "stroke-width": 2, class: "corner" }, sheet);
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
  function tell() { // the acres, in words and figures; the file and its line once the outline is whole
    const ring = stroke || corners, sum = by("sum"), beside = document.createElement("small");
    const wrong = stroke ? null : fault(), { m2, m } = ring.length > 2 ? measured(ring) : { m2: 0, m: 0 };
    sum.textContent = wrong ? "No acres " : `${written(Math.abs(m2) / rules.m2PerAcre)} `;
    beside.textContent = wrong ? (crossing(corners, false) ? "while the outline crosses itself" : "while the dashed edge crosses the outline")
      : ring.length > 2 ? `inside an edge of ${feet(m)}, ${stroke ? "so far" : `${ring.length} corners`}` : ring.length === 1 ? "1 corner set" : `${ring.length} corners set`;
    sum.append(beside);
    by("keep").hidden = !isWhole();
  }
  function changed() { // a new outline: a new file name, so that an older file is never taken for it
    const now = new Date(), two = (n) => String(n).padStart(2, "0");
    const day = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
    fileName = `ground-worked-${day}-${two(now.getHours())}${two(now.getMinutes())}${two(now.getSeconds())}.geojson`;
    by("text").value = isWhole() ? fileText(day) : "";
    line();
    draw();
  }
  function fileText(day) { // RFC 7946: WGS 84 lon/lat, first corner again at the end, the outer ring against the clock
    const ring = (measured(corners).m2 < 0 ? [...corners].reverse() : corners).map(([lon, lat]) => [lon / FINE, lat / FINE]);
    return `${JSON.stringify({
      type: "FeatureCollection",
      features: [{
        type: "Feature",
        properties: { place: rules.place, drawn_on: day, acres: Number(acresOf(corners).toFixed(6)), made_by: "drawn by hand on the map page of habmap" },
        geometry: { type: "Polygon", coordinates: [[...ring, ring[0]]] },
      }],
    })}\n`;
  }
  function line() {
    const practice = by("practice"), more = practice.selectedOptions[0].dataset.more;
    by("line").textContent = `habmap log ${practice.value || "PRACTICE"} --date ${by("day").value || "YYYY-MM-DD"} --patch ${fileName}${more ? ` ${more}` : ""}`;
  }

  // --- what a person does ---
  const CROSSES = "The outline crosses itself where the small cross stands, so it is not taken: ";
  const mend = () => say(`${CROSSES}drag a corner, take corners back, or start over.`);
  const sumWords = () => corners.length < 3 ? "" : fault() ? " The outline crosses itself now." : ` ${written(acresOf(corners))}.`;
  function add(corner) {
    if (closed) return say("The outline is closed. Drag a corner to mend it, take back to open it, or start over.");
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
    closed = true;
    changed();
    return say(`Closed: ${written(acresOf(corners))}. Save the file below, or drag a corner to mend the outline.`);
  }
  function back() {
    picked = null;
    if (!corners.length) {
      if (!rubbed) return say("There is nothing to take back.");
      ({ corners, closed } = rubbed);
      rubbed = null;
      changed();
      return say(`The drawing is back: ${corners.length} corners.${sumWords()}`);
    }
    const wasClosed = closed;
    if (closed) closed = false;
    else corners.pop();
    changed();
    return say(wasClosed ? "The outline is open again." : `Taken back; ${corners.length === 1 ? "1 corner is" : `${corners.length} corners are`} left.${sumWords()}`);
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
    if (drawing) say(way === "corners" ? "Tap the corners one after another; tap the first again to close." : "Follow the edge with one finger or with the mouse button held; the map stays still meanwhile.");
  }
  function hold() { // the map may be dragged about except while a stroke is drawn
    map.dragging[drawing && way === "stroke" ? "disable" : "enable"]();
  }
  function open(isByKey) {
    drawing = true;
    letGo();
    map.closePopup();
    map.getPane("mapPane").inert = true; // nothing on the map is picked or reached by Tab meanwhile
    map.keyboard.disable();
    slate.classList.add("drawing");
    for (const [name, value] of [["tabindex", "0"], ["role", "application"], ["aria-describedby", "pencil-how"],
      ["aria-label", "Drawing of the ground worked: arrows move the cross, Enter sets a corner"]]) slate.setAttribute(name, value);
    by("kit").hidden = false;
    by("open").setAttribute("aria-expanded", "true");
    if (isByKey) cross = map.getSize().divideBy(2).round();
    choose(way);
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
    by("open").setAttribute("aria-expanded", "false");
    hold();
    draw();
    by("open").focus();
  }

  // --- finger and mouse ---
  let press = null;
  const fingers = new Set();
  const spot = (event) => map.mouseEventToContainerPoint(event);
  function nearest(at, reach_px) {
    let found = null, least = reach_px;
    corners.forEach((corner, i) => { const d = toPoint(corner).distanceTo(at); if (d <= least) [found, least] = [i, d]; });
    return found;
  }
  function drop() { // a second finger came, or the browser took the gesture away: as if it had not begun
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
    const at = spot(event), index = nearest(at, event.pointerType === "touch" ? 22 : 12);
    if (index !== null) press = { kind: "corner", index, from: at, was: corners[index], began: false };
    else if (way === "corners") press = { kind: "tap", from: at };
    else if (corners.length) press = { kind: "none" };
    else [press, stroke] = [{ kind: "stroke" }, [toCorner(at)]];
    if (press.kind === "none") say("There is an outline already. Drag one of its corners, or start over to draw another.");
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
    if (kind === "tap" && spot(event).distanceTo(from) <= (event.pointerType === "touch" ? 12 : 6)) add(toCorner(spot(event)));
    else if (kind === "corner" && began) moved();
    else if (kind === "corner" && index === 0 && !closed && corners.length > 2) close();
    else if (kind === "corner" && !closed) say("A corner is there already: drag it to move it, or come closer to set another beside it.");
    else if (kind === "stroke") lift();
  });
  slate.addEventListener("pointercancel", drop);
  for (const name of ["pointerup", "pointercancel"]) addEventListener(name, (event) => fingers.delete(event.pointerId));
  for (const name of ["click", "dblclick", "contextmenu"]) slate.addEventListener(name, (event) => event.stopPropagation());

  function lift() { // the stroke becomes corners: no more of them than the eye can tell, and tails beyond the meeting of its ends cut off
    const drawn = stroke.map(toPoint).map((p) => [p.x, p.y]);
    stroke = null;
    const { chain, isCut } = trimmed(thinned(drawn, 1));
    const wide = Math.max(...[0, 1].map((k) => Math.max(...chain.map((p) => p[k])) - Math.min(...chain.map((p) => p[k]))));
    if (chain.length < 3 || wide < 8) {
      draw();
      return say("That was too short for an outline: hold, and follow the whole edge.");
    }
    corners = chain.map((p) => toCorner(p)).filter((corner, i, all) => !i || !same(corner, all[i - 1]));
    rubbed = null;
    closed = corners.length > 2 && !fault();
    changed();
    return closed ? say(`Closed: ${written(acresOf(corners))}.${isCut ? " The ends of the stroke crossed; what lay beyond is left off." : ""}`) : mend();
  }
  function thinned(points, most_px) { // a corner stays where leaving it out would move the edge by more than that
    const keep = new Set([0, points.length - 1]), spans = [[0, points.length - 1]];
    while (spans.length) {
      const [i, j] = spans.pop(), [x, y] = points[i], dx = points[j][0] - x, dy = points[j][1] - y, long2 = dx * dx + dy * dy;
      let far = most_px, at = null;
      for (let k = i + 1; k < j; k++) {
        const u = points[k][0] - x, v = points[k][1] - y, along = long2 ? Math.min(1, Math.max(0, (u * dx + v * dy) / long2)) : 0;
        const off = Math.hypot(u - along * dx, v - along * dy);
        if (off > far) [far, at] = [off, k];
      }
      if (at !== null) { keep.add(at); spans.push([i, at], [at, j]); }
    }
    return points.filter((_, i) => keep.has(i));
  }
  function trimmed(chain) { // tails: at each end at most this share of the stroke
    const TAIL = 0.15, run = [0];
    chain.slice(1).forEach((p, i) => run.push(run[i] + Math.hypot(p[0] - chain[i][0], p[1] - chain[i][1])));
    const long = run[run.length - 1];
    for (let i = 0; i < chain.length - 1 && run[i] <= TAIL * long; i++) {
      for (let j = chain.length - 2; j > i + 1 && run[j + 1] >= (1 - TAIL) * long; j--) {
        if (!meets(chain[i], chain[i + 1], chain[j], chain[j + 1])) continue;
        return { chain: [meeting(chain[i], chain[i + 1], chain[j], chain[j + 1]), ...chain.slice(i + 1, j + 1)], isCut: true };
      }
    }
    return { chain, isCut: false };
  }

  // --- keys ---
  const WINDS = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];
  function unitAt([lon, lat]) { // even-odd rule over all rings, holes included
    return place.units.find((unit) => partsOf(unit.shape).flat().reduce((inside, ring) => ring.reduce((now, [x, y], i) => {
      const [u, v] = ring[(i + 1) % ring.length];
      return y > lat / FINE !== v > lat / FINE && lon / FINE < (u - x) * (lat / FINE - y) / (v - y) + x ? !now : now;
    }, inside), false));
  }
  function where() { // of the cross, in words: its unit, and how it lies from the last corner
    const here = toCorner(cross), unit = unitAt(here), last = picked === null ? corners[corners.length - 1] : corners[(picked || corners.length) - 1];
    const words = [unit ? `In ${unit.name}` : "In no unit"];
    if (last && !same(last, here)) {
      const [[x, y], [u, v]] = [last, here].map(gridOf([last, here]));
      words.push(`${feet(Math.hypot(u - x, v - y))} ${WINDS[(Math.round(Math.atan2(u - x, v - y) / (Math.PI / 4)) + 8) % 8]} of the corner before`);
    }
    say(`${words.join(", ")}.${picked === null ? "" : sumWords()}`);
  }
  let waiting = null;
  function step(dx, dy) {
    const size = map.getSize(), edge = 30, to = cross.add([dx, dy]);
    if (to.x < edge || to.y < edge || to.x > size.x - edge || to.y > size.y - edge) map.panBy([dx, dy], { animate: false });
    else cross = to;
    if (picked !== null) corners[picked] = toCorner(cross);
    draw();
    clearTimeout(waiting);
    waiting = setTimeout(() => { if (drawing && cross) where(); }, 300);
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
    Enter: () => picked !== null ? putDown() : corners.length > 2 && !closed && nearest(cross, 6) === 0 ? close() : add(toCorner(cross)),
    Backspace: back, Delete: back, c: close, m: pickUp, Escape: done,
    "+": () => map.zoomIn(0.5, { animate: false }), "=": () => map.zoomIn(0.5, { animate: false }), "-": () => map.zoomOut(0.5, { animate: false }),
  };
  slate.addEventListener("keydown", (event) => {
    const arrow = ARROWS[event.key], act = KEYS[event.key.length === 1 ? event.key.toLowerCase() : event.key];
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
    const address = URL.createObjectURL(new Blob([by("text").value], { type: "application/geo+json" })), link = document.createElement("a");
    [link.href, link.download] = [address, fileName];
    link.click();
    setTimeout(() => URL.revokeObjectURL(address), 10000);
    say(`Saved as ${fileName}, where your browser puts what it saves.`);
  }
  function copy() {
    getSelection().selectAllChildren(by("line"));
    say(document.execCommand("copy") ? "The line is copied." : "The line is selected: copy it by your own keys.");
  }
  for (const [name, act] of [["back", back], ["close", close], ["over", over], ["done", done], ["save", save], ["copy", copy],
    ["corners", () => choose("corners")], ["stroke", () => choose("stroke")], ["open", (event) => drawing ? done() : open(event.detail === 0)]]) by(name).addEventListener("click", act);
  for (const name of ["practice", "day"]) by(name).addEventListener("input", line);
  map.on("move zoom viewreset resize zoomend moveend", draw);
  map.on("zoomanim", () => { sheet.style.visibility = "hidden"; });
  map.on("zoomend moveend", () => { sheet.style.visibility = ""; });
});
