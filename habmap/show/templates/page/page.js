"use strict";
// Draws the place on folium's map and ties it to the account beside it. Text from people is only ever set as textContent.
// Other parts of the page add themselves here, each a function of the sheet that it is laid on.
const PARTS = [];
// biome-ignore lint/correctness/noUnusedVariables: the script that folium writes calls it.
function drawPlace(map) {
  const INK = "#2b2a26",
    PAPER = "#f7f2e6",
    CONTOUR = "#6f5f45",
    SVG = "http://www.w3.org/2000/svg";
  const place = JSON.parse(document.getElementById("drawing").textContent);
  const box = L.latLngBounds([place.extent[1], place.extent[0]], [place.extent[3], place.extent[2]]);
  // The ground and the ground whose shape is drawn around it, as they lie on a map of one pixel to the unit.
  const flat = ([west, south, east, north]) => {
    const from = map.project([north, west], 0),
      to = map.project([south, east], 0);
    return { left: from.x, top: from.y, right: to.x, bottom: to.y };
  };
  const land = flat(place.extent),
    relief = place.relief && flat(place.relief);
  const AIR = 18,
    LEAST_AIR = 6;
  // How the whole property is seen in a frame of a size: at which scale, and on each side how much ground [px] there is to
  // show, which is none past the end of the relief but a breath of air.
  function sight(width, height) {
    const around = (scale) =>
      ["left", "top", "right", "bottom"].map((side) =>
        relief ? Math.abs(relief[side] - land[side]) * scale - 1 : 1e6,
      );
    const fit = ([left, top, right, bottom]) =>
      Math.min((width - left - right) / (land.right - land.left), (height - top - bottom) / (land.bottom - land.top));
    const breath = (room) => Math.min(AIR, Math.max(LEAST_AIR, room)),
      first = fit([AIR, AIR, AIR, AIR]),
      scale = fit(around(first).map(breath));
    const sides = around(scale).map((room) => Math.max(room, breath(room)));
    return { scale, sides, across: (land.right - land.left) * scale, up: (land.bottom - land.top) * scale };
  }
  // The share of a length's spare room that lies before the ground: half of it where both sides have ground to show.
  const nearShare = (spare, near, far) => Math.min(Math.max(spare / 2, spare - far), near);
  // No frame is wider or higher than the ground that is drawn in it.
  function drawIn() {
    for (const name of ["--widest", "--highest"]) frame.style.removeProperty(name);
    const { sides, across, up } = sight(frame.clientWidth, frame.clientHeight);
    frame.style.setProperty("--widest", `${Math.ceil(sides[0] + across + sides[2]) + 2}px`); // and its own line
    frame.style.setProperty("--highest", `${Math.ceil(sides[1] + up + sides[3]) + 2}px`);
  }
  // The legend stands beside the map where that leaves the ground no smaller than it would be above the legend, or hardly.
  const ground = document.querySelector(".ground"),
    frame = document.querySelector(".frame");
  function layOut() {
    if (document.body.classList.contains("printing")) return;
    for (const name of ["--most", "--floor"]) frame.style.removeProperty(name);
    const head = document.querySelector("header"),
      across = land.right - land.left,
      up = land.bottom - land.top,
      em = parseFloat(getComputedStyle(document.documentElement).fontSize);
    document.documentElement.style.setProperty("--head", `${Math.round(head.getBoundingClientRect().height + 36)}px`);
    const wide = ground.clientWidth - 50,
      tall = frame.clientHeight - 40,
      scaleIn = (width) => Math.min(width / across, tall / up);
    const isBeside = place.units.length > 0 && scaleIn(wide - 12.75 * em - 12) > 0.96 * scaleIn(wide);
    document.body.classList.toggle("beside", isBeside);
    // Wide ground needs no tall frame: what it leaves belongs to what stands below.
    const most = isBeside || !place.units.length ? 1000 : Math.round((wide * up) / across + 90);
    frame.style.setProperty("--most", `${most}px`);
    document.body.classList.add("lowkey");
    drawIn();
    // A legend taller than the map would stretch it past the window: its marks then stand below.
    document.body.classList.remove("lowkey");
    const high = [...document.querySelectorAll(".key > ul")].reduce((sum, list) => sum + list.offsetHeight + 8, 0);
    document.body.classList.toggle("lowkey", isBeside && high > parseFloat(getComputedStyle(frame).minHeight));
  }
  layOut();
  map.invalidateSize({ animate: false, pan: false });
  // A window may be tiny for a moment while it changes size; no zoom fits a map smaller than its own margin.
  let wholeZoom = null;
  function whole() {
    const { x, y } = map.getSize();
    if (Math.min(x, y) <= 40) return;
    const { scale, sides, across, up } = sight(x, y),
      left = nearShare(x - across, sides[0], sides[2]),
      top = nearShare(y - up, sides[1], sides[3]);
    const middle = L.point(land.left + (x / 2 - left) / scale, land.top + (y / 2 - top) / scale);
    map.setView(map.unproject(middle, 0), Math.log2(scale), { animate: false });
    wholeZoom = map.getZoom();
    frame.classList.remove("near");
  }
  // One finger scrolls the page, as over any picture, until the map is zoomed in; two fingers move the map at any time.
  frame.addEventListener(
    "touchstart",
    (event) => {
      if (event.touches.length === 1 && !frame.classList.contains("near")) event.stopPropagation();
    },
    { capture: true, passive: true },
  );
  map.on("zoomend", () => frame.classList.toggle("near", map.getZoom() > wholeZoom + 0.01));
  whole(); // first of all, so that each shape is laid out once, where it is seen
  const renderers = {};
  [
    ["fills", 410],
    ["contours", 430],
    ["edges", 440],
    ["things", 450],
    ["reach", 470],
  ].forEach(([name, z]) => {
    const pane = map.createPane(name);
    pane.style.zIndex = z;
    if (name !== "reach") pane.style.pointerEvents = "none";
    renderers[name] = L.svg({ pane: name, padding: 0.5 });
  });
  const shape = (geometry, pane, style) =>
    L.geoJSON(geometry, {
      style,
      interactive: pane === "reach",
      pane,
      renderer: renderers[pane],
      pointToLayer: () => null,
    });
  const partsOf = (geometry) => (geometry.type === "Polygon" ? [geometry.coordinates] : geometry.coordinates);
  // Many shapes drawn alike are one path, or one for each square of the ground where there are very many: a browser that
  // paints tile by tile then skips what lies elsewhere.
  const SQUARES = 6,
    FEW = 200,
    turned = new WeakMap(); // rings as Leaflet has them, made once however often they are drawn
  function asLatLngs(rings) {
    if (!turned.has(rings))
      turned.set(
        rings,
        rings.map((ring) => ring.map(([lon, lat]) => new L.LatLng(lat, lon))),
      );
    return turned.get(rings);
  }
  function edgesOf(polygons) {
    // of many corners: no list is made of them
    let west = Infinity,
      south = Infinity,
      east = -Infinity,
      north = -Infinity;
    for (const rings of polygons) {
      for (const [lon, lat] of rings[0]) {
        if (lon < west) west = lon;
        if (lon > east) east = lon;
        if (lat < south) south = lat;
        if (lat > north) north = lat;
      }
    }
    return { west, south, east, north };
  }
  const wide = (place.extent[2] - place.extent[0]) / SQUARES,
    tall = (place.extent[3] - place.extent[1]) / SQUARES;
  function squareOf(rings, isOfMany) {
    const [lon, lat] = rings[0][0];
    return isOfMany
      ? `${Math.floor((lon - place.extent[0]) / wide)} ${Math.floor((lat - place.extent[1]) / tall)}`
      : "";
  }
  function many(geometries, pane, style) {
    const squares = new Map();
    geometries.flatMap(partsOf).forEach((rings, _, { length }) => {
      const square = squareOf(rings, length > FEW);
      if (!squares.has(square)) squares.set(square, []);
      squares.get(square).push(asLatLngs(rings));
    });
    return L.layerGroup(
      [...squares.values()].map((parts) =>
        L.polygon(parts, { ...style, interactive: false, pane, renderer: renderers[pane] }),
      ),
    ).addTo(map);
  }

  function svg(name, attributes, parent) {
    const node = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    if (parent) parent.append(node);
    return node;
  }

  // --- what lies under a mark: dark ground is written on in paper, light ground in ink ---
  const bounded = new WeakMap();
  let dark = [];
  function darken(polygons) {
    dark = polygons.map((rings) => {
      if (!bounded.has(rings)) bounded.set(rings, { rings, ...edgesOf([rings]) });
      return bounded.get(rings);
    });
  }
  const darkOf = (pieces) =>
    pieces.filter((piece) => place.dark.includes(piece.stage)).flatMap((piece) => partsOf(piece.shape));
  darken(darkOf(place.pieces));
  function isDark(latlng) {
    const { lat, lng } = L.latLng(latlng);
    return dark.some((part) => {
      if (lng < part.west || lng > part.east || lat < part.south || lat > part.north) return false;
      let inside = false; // even-odd rule over all rings, holes included
      part.rings.forEach((ring) => {
        for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
          const [x, y] = ring[i],
            [u, v] = ring[j];
          if (y > lat !== v > lat && lng < ((u - x) * (lat - y)) / (v - y) + x) inside = !inside;
        }
      });
      return inside;
    });
  }

  const isFew = () => place.units.length <= 40;

  // --- marks: numerals, names, dates and heights; where two would touch, the one that matters less keeps silent ---
  const marks = [],
    slate = map.createPane("marks");
  slate.style.zIndex = 600;
  slate.style.pointerEvents = "none";
  slate.setAttribute("aria-hidden", "true");
  // Of thousands of dates few find room: a mark is an element only once it may be seen. One that is `off` never is.
  // `own`: its ground's rooms and the ways to break its lines; it stands where it lies on that ground, or not at all.
  function mark(latlng, node, kind, weight, angle, lift, group, own) {
    const tilt = angle || lift ? `translate(-50%, -50%) rotate(${angle || 0}deg) translateY(${lift || 0}px)` : "";
    const one = {
      element: null,
      latlng: L.latLng(latlng),
      ink: null,
      node,
      tilt,
      kind,
      weight,
      group,
      own,
      spot: null,
      off: false,
    };
    one.flat = map.project(one.latlng, 0);
    marks.push(one);
    return one;
  }
  function laid(one) {
    if (!one.element) {
      one.ink = typeof one.node === "string" ? written(one.node) : one.node;
      if (one.tilt) one.ink.style.transform = one.tilt;
      one.element = document.createElement("div");
      one.element.className = `mark ${one.kind}${isDark(one.latlng) ? " ondark" : ""}`;
      one.element.append(one.ink);
      slate.append(one.element);
      put(one);
    }
    return one;
  }
  function put(one) {
    const at = map.latLngToLayerPoint(one.spot || one.latlng);
    one.element.style.left = `${at.x}px`;
    one.element.style.top = `${at.y}px`;
  }
  function written(text) {
    const node = document.createElement("span");
    node.textContent = text;
    return node;
  }
  function settle() {
    marks.forEach((one) => {
      if (one.element) put(one);
    });
    slate.style.visibility = "visible";
  }
  // Whether a room for words is larger than a box on the screen, and the middles at which that then lies on its ground:
  // as `spots` of habmap.land.label_room has them, whose rooms these are.
  const HALF = 0.95,
    MOVES = [
      [0, -1],
      [0, 1],
      [1, 0],
      [-1, 0],
      [0.5, -0.5],
      [-0.5, -0.5],
      [0.5, 0.5],
      [-0.5, 0.5],
    ];
  function spots(rooms, width, height) {
    const found = [],
      moved = [];
    rooms.forEach(([lon, lat, across, up]) => {
      const middle = map.latLngToLayerPoint([lat, lon]),
        edge = map.latLngToLayerPoint([lat + up, lon + across]);
      const wide = edge.x - middle.x,
        high = middle.y - edge.y,
        slack = Math.min(wide - width / 2, high - height / 2);
      if (slack < 0) return;
      found.push([slack, middle]);
      const a = Math.min(1, (HALF * width) / 2 / wide),
        b = Math.min(1, (HALF * height) / 2 / high);
      const right = (wide / HALF) * Math.max(0, Math.sqrt(1 - b * b) - a),
        down = (high / HALF) * Math.max(0, Math.sqrt(1 - a * a) - b);
      for (const [x, y] of MOVES)
        if (x * right || y * down) moved.push(L.point(middle.x + x * right, middle.y + y * down));
    });
    return [...found.sort((a, b) => b[0] - a[0]).map(([, middle]) => middle), ...moved];
  }
  // The size of lines as they would be set, measured without laying them out.
  const ruled = document.createElement("canvas").getContext("2d"),
    widths = new Map();
  function sizeOf(one, lines) {
    const style = getComputedStyle(laid(one).ink),
      font = `${style.fontStyle} ${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
    const key = `${font}|${lines}`;
    if (!widths.has(key)) {
      ruled.font = font;
      widths.set(key, Math.max(...lines.split("\n").map((line) => ruled.measureText(line).width)));
    }
    return [widths.get(key) + 4, lines.split("\n").length * parseFloat(style.lineHeight) + 2];
  }
  const boxAt = (at, width, height) => ({
    left: at.x - width / 2,
    right: at.x + width / 2,
    top: at.y - height / 2,
    bottom: at.y + height / 2,
  });
  const touching = (b, kept, apart = 3) =>
    kept.some(
      (k) => b.left < k.right + apart && b.right > k.left - apart && b.top < k.bottom + 1 && b.bottom > k.top - 1,
    );
  // A date is told only closer in than the whole property is seen.
  const isClose = () => map.getZoom() > wholeZoom + 0.3;
  // Find the place of words on their own ground, with their numeral above them where they have one; true if there is one.
  function seat(one, kept, frame) {
    const numeral = one.own.numeral && !one.own.numeral.off ? one.own.numeral : null,
      over = numeral ? laid(numeral).ink.getBoundingClientRect() : { width: 0, height: 0 };
    for (const lines of one.own.lines) {
      const [width, height] = sizeOf(one, lines),
        wide = Math.max(width, over.width),
        high = height + over.height;
      for (const at of spots(one.own.rooms, wide, high)) {
        const b = boxAt(at, wide, high);
        if (b.left < frame.left || b.right > frame.right || b.top < frame.top || b.bottom > frame.bottom) continue;
        if (touching(b, kept)) continue;
        one.ink.textContent = lines;
        one.spot = map.layerPointToLatLng([at.x, b.bottom - height / 2]);
        put(one);
        if (numeral) {
          numeral.spot = map.layerPointToLatLng([at.x, b.top + over.height / 2]);
          put(numeral);
        }
        return kept.push(b);
      }
    }
    return false;
  }
  // A numeral alone: where it fits on its ground. Of few units it may stand at the ground's own point too, and over a photo
  // point rather than nowhere; but two numerals never touch, or side by side they would read as one.
  const APART = 6;
  function seatNumeral(one, kept) {
    const { width, height } = one.ink.getBoundingClientRect(),
      own = spots(one.own.rooms, width, height),
      isClear = (spot) => !touching(boxAt(spot, width, height), kept, APART),
      isOverPhotos = (spot) => !touching(boxAt(spot, width, height), kept.slice(kept.photos), APART);
    let at = own.find(isClear);
    if (!at && isFew()) at = [...own, map.latLngToLayerPoint(one.latlng)].find(isOverPhotos);
    if (!at) return false;
    one.spot = map.layerPointToLatLng(at);
    put(one);
    return kept.push(boxAt(at, width, height));
  }
  // Where marks are many, those that even a small guess at their size puts outside or under a weightier one are passed over.
  function likely(inOrder) {
    const size = map.getSize(),
      scale = 2 ** map.getZoom(),
      corner = map.containerPointToLayerPoint([0, 0]).add(map.getPixelOrigin()),
      kept = [];
    return inOrder.filter((one) => {
      const x = one.flat.x * scale - corner.x,
        y = one.flat.y * scale - corner.y,
        half = 2.5 * Math.max(2, (one.node.textContent ?? one.node).length);
      if (x < 0 || y < 0 || x > size.x || y > size.y) return false;
      if (kept.some((k) => Math.abs(k.x - x) < k.half + half && Math.abs(k.y - y) < 10)) return false;
      return kept.push({ x, y, half });
    });
  }
  function hush() {
    const frame = map.getContainer().getBoundingClientRect(),
      kept = [],
      said = new Set();
    const close = isClose(), // else no date is shown, and none is weighed
      inOrder = marks.filter((one) => !one.off && (close || one.kind !== "day")).sort((a, b) => b.weight - a.weight);
    const seen = new Set((marks.length > 500 ? likely(inOrder) : inOrder).map(laid));
    document
      .querySelectorAll(".photopoint:not([hidden]) path")
      .forEach((wedge) => kept.push(wedge.getBoundingClientRect())); // they lie on top
    // All is measured against the map's own corner: words are laid by it too.
    const corner = map.containerPointToLayerPoint([0, 0]),
      within = boxAt(corner.add(map.getSize().divideBy(2)), map.getSize().x, map.getSize().y);
    const layered = (b) => ({
      left: b.left - frame.left + corner.x,
      right: b.right - frame.left + corner.x,
      top: b.top - frame.top + corner.y,
      bottom: b.bottom - frame.top + corner.y,
    });
    kept.forEach((b, i) => {
      kept[i] = layered(b);
    });
    kept.photos = kept.length;
    const boxes = new Map(); // all read before any is changed
    seen.forEach((one) => {
      if (!one.own) boxes.set(one, layered(one.ink.getBoundingClientRect()));
    });
    marks.forEach((one) => {
      if (one.element && !seen.has(one)) one.element.classList.add("hushed");
    });
    const done = new Set();
    seen.forEach((one) => {
      if (done.has(one)) return;
      let shown;
      if (one.own?.numeral) {
        const numeral = one.own.numeral;
        shown = seat(one, kept, within);
        if (!numeral.off) {
          numeral.element.classList.toggle("hushed", !(shown || seatNumeral(numeral, kept)));
          numeral.element.classList.toggle("ondark", isDark(numeral.spot || numeral.latlng));
          done.add(numeral);
        }
      } else if (one.own && !one.own.lines) {
        shown = seatNumeral(one, kept); // its name was passed over where marks are many
      } else if (one.own) {
        shown = !said.has(one.group) && Boolean(seat(one, kept, within));
      } else {
        const b = boxes.get(one),
          inside = b.left > within.left && b.right < within.right && b.top > within.top && b.bottom < within.bottom;
        shown = inside && !touching(b, kept) && !said.has(one.group);
        if (shown) kept.push(b);
      }
      if (shown) one.element.classList.toggle("ondark", isDark(one.spot || one.latlng)); // the ground under it may be that of another day
      one.element.classList.toggle("hushed", !shown);
      if (shown && one.group) said.add(one.group);
    });
  }
  function along(a, b) {
    // the angle at which words lie along a line, never upside down
    const p = map.project(a, 16),
      q = map.project(b, 16);
    const angle = (Math.atan2(q.y - p.y, q.x - p.x) * 180) / Math.PI;
    return angle > 90 ? angle - 180 : angle <= -90 ? angle + 180 : angle;
  }

  // --- the ground: stages, contours, edges ---
  // A unit's ground lies in one square with all its parts: where no unit of a square was another, a step draws nothing.
  const isLarge = place.pieces.flatMap((piece) => partsOf(piece.shape)).length > FEW,
    squareOfUnit = new Map(place.units.map((unit) => [unit.id, squareOf(partsOf(unit.shape)[0], isLarge)]));
  const opening = { fills: [], patches: [], outlines: null },
    kinds = (all, kind) => [...new Set(all.map((one) => one[kind]))];
  function fill(members, pattern) {
    const squares = new Map();
    for (const { unit, shape: own } of members) {
      const square = squareOfUnit.get(unit);
      squares.set(square, [...(squares.get(square) ?? []), ...partsOf(own).map(asLatLngs)]);
    }
    squares.forEach((rings, square) => {
      const style = { stroke: false, fillColor: `url(#${pattern})`, fillOpacity: 1, interactive: false, pane: "fills" };
      opening.fills.push({
        square,
        pattern,
        layer: L.polygon(rings, { ...style, renderer: renderers.fills }).addTo(map),
      });
    });
  }
  for (const stage of kinds(place.pieces, "stage"))
    fill(
      place.pieces.filter((piece) => piece.stage === stage),
      `stage-${stage}`,
    );
  for (const cover of kinds(place.covers, "cover"))
    fill(
      place.covers.filter((one) => one.cover === cover),
      `cover-${cover}`,
    );
  fill(place.mixed, "over-both");
  const traced = { true: [], false: [] };
  place.contours.forEach((line) => {
    const points = [];
    let lon = 0,
      lat = 0;
    for (let i = 0; i < line.steps.length; i += 2)
      points.push([(lat += line.steps[i + 1]) / 1e6, (lon += line.steps[i]) / 1e6]);
    traced[line.index].push(points);
    if (line.index && points.length > 50) {
      [0.25, 0.5, 0.75].forEach((part, k) => {
        const i = Math.floor(points.length * part);
        mark(
          points[i],
          written(`${line.ft.toLocaleString("en-US")} ft`),
          "height",
          1 + (k === 1 ? 0.5 : 0),
          along(points[Math.max(0, i - 3)], points[Math.min(points.length - 1, i + 3)]),
        );
      });
    }
  });
  // A breath of paper under each, so that they show on the dark of standing cedar too.
  Object.entries(traced).forEach(([isIndex, lines]) => {
    const weight = isIndex === "true" ? 1.3 : 0.7,
      style = { pane: "contours", renderer: renderers.contours, interactive: false, smoothFactor: 0 };
    L.polyline(lines, { ...style, color: PAPER, weight: weight + 1.1, opacity: 0.3 }).addTo(map);
    L.polyline(lines, { ...style, color: CONTOUR, weight, opacity: 0.8 }).addTo(map);
  });
  // An edge is drawn pass by pass, as on paper.
  const passes = (kind) =>
    place.edges[kind].map((pass) => ({
      fill: false,
      color: pass.ink,
      weight: pass.width,
      dashArray: pass.dash || null,
      lineCap: pass.cap,
      lineJoin: "round",
    }));
  // Of a square whose patches are the same as in what is laid already, that is taken: a step of the ruler draws little anew.
  const patchSquares = new Map();
  place.patches.forEach((patch, i) => {
    const square = squareOf(partsOf(patch.shape)[0], place.patches.length > FEW);
    patchSquares.set(square, [...(patchSquares.get(square) ?? []), i]);
  });
  function drawPatches(isDone, laid) {
    const drawn = new Map();
    passes("patch").forEach((style, pass) =>
      patchSquares.forEach((members, square) => {
        const done = members.filter(isDone), // days pass in one order: as many are the same ones
          key = `patch ${pass} ${square} ${done.length}`,
          rings = () => done.flatMap((i) => partsOf(place.patches[i].shape).map(asLatLngs));
        if (done.length)
          drawn.set(
            key,
            laid.get(key) ??
              L.polygon(rings(), {
                ...style,
                className: `rim-${pass}`,
                interactive: false,
                pane: "edges",
                renderer: renderers.edges,
              }),
          );
      }),
    );
    return drawn;
  }
  const outlines = place.units.map((unit) => unit.shape);
  opening.outlines = L.layerGroup(passes("unit").map((style) => many(outlines, "edges", style))).addTo(map);
  if (place.boundary)
    passes("boundary").forEach((style) => {
      shape(place.boundary, "edges", style).addTo(map);
    });
  opening.patches = drawPatches(() => true, new Map());
  opening.patches.forEach((layer) => layer.addTo(map));
  // A date stands where its work is the newest; on days before later work came over it, anywhere on its ground.
  place.patches.forEach((patch) => {
    patch.marks = [patch.newest ?? patch.rooms, patch.newest && patch.rooms].map((rooms) =>
      rooms?.length
        ? mark([rooms[0][1], rooms[0][0]], patch.lines[0], "day", 4, 0, 0, patch, { lines: patch.lines, rooms })
        : null,
    );
    if (patch.marks[1]) patch.marks[1].off = true;
  });

  // --- features in survey convention ---
  function symbol(latlng, rule) {
    const node = svg("svg", { width: 16, height: 16, viewBox: "-1 -1 16 16" });
    svg("path", { d: rule.mark, fill: "none", stroke: PAPER, "stroke-width": 4 }, node);
    svg("path", { d: rule.mark, fill: rule.solid ? INK : "none", stroke: INK, "stroke-width": 1.3 }, node);
    mark(latlng, node, "symbol", 11);
  }
  place.features.forEach((feature) => {
    const rule = place.symbols[feature.kind],
      wet = feature.kind === "pond" || feature.kind === "creek" ? " water" : "";
    const parts = feature.shape.geometries || [feature.shape];
    parts.forEach((geometry) => {
      if (geometry.type === "Point" || geometry.type === "MultiPoint") {
        (geometry.type === "Point" ? [geometry.coordinates] : geometry.coordinates).forEach(([lon, lat]) => {
          symbol([lat, lon], rule);
          if (feature.name) mark([lat, lon], written(feature.name), `thing${wet}`, feature.private ? 7 : 3, 0, 16);
        });
        return;
      }
      if (geometry.type.endsWith("Polygon")) {
        const style =
          feature.kind === "pond"
            ? { color: rule.strokes[0].ink, weight: 1.2, fillColor: "url(#cover-water)", fillOpacity: 1 }
            : { color: INK, weight: 1.3, fillColor: INK, fillOpacity: rule.solid ? 1 : 0 };
        const drawn = shape(geometry, "things", style).addTo(map);
        if (feature.name)
          mark(
            drawn.getBounds().getCenter(),
            written(feature.name),
            `thing${wet}`,
            3,
            0,
            feature.kind === "pond" ? 0 : 16,
          );
        return;
      }
      // A breath of paper under the line, so that it is not lost on dark ground.
      const widest = Math.max(
        ...rule.strokes
          .filter((pass) => !pass.dash || (pass.cap === "butt" && pass.width < 5))
          .map((pass) => pass.width),
      );
      shape(geometry, "things", {
        color: PAPER,
        weight: widest + 2.4,
        opacity: 0.55,
        lineCap: "butt",
        lineJoin: "round",
      }).addTo(map);
      rule.strokes.forEach((pass) =>
        shape(geometry, "things", {
          color: pass.ink,
          weight: pass.width,
          dashArray: pass.dash || null,
          lineCap: pass.cap,
          lineJoin: "round",
        }).addTo(map),
      );
      const line = geometry.type === "LineString" ? geometry.coordinates : geometry.coordinates[0];
      if (!feature.name || line.length < 2) return;
      const ends = line.map(([lon, lat]) => L.latLng(lat, lon));
      // Places to write the name, above the line and below it; silence picks the first that touches nothing.
      [0.5, 0.25, 0.75, 0.37, 0.63].forEach((part, k) => {
        const i = Math.min(ends.length - 2, Math.floor((ends.length - 1) * part)),
          a = ends[i],
          b = ends[i + 1];
        const middle = [(a.lat + b.lat) / 2, (a.lng + b.lng) / 2];
        if ((k && ends.length < 4) || isDark(middle)) return;
        for (const lift of [-12, 12]) {
          const weight = 3 - k * 0.1 - (lift > 0 ? 0.05 : 0);
          mark(middle, written(feature.name), `thing${wet}`, weight, along(a, b), lift, feature);
        }
      });
    });
  });

  if (!isFew()) document.body.classList.add("crowded");
  if (place.patches.length > FEW) document.body.classList.add("muchworked");

  // --- units: a number, a name, and ground that can be picked by pointer or key ---
  const byId = new Map();
  document.querySelectorAll("tr.unit").forEach((row) => {
    const button = row.querySelector("button");
    byId.set(row.dataset.unit, { row, button, about: document.getElementById(button.getAttribute("aria-controls")) });
    row.addEventListener("click", () => pick(row.dataset.unit, { toggle: true }));
  });
  let chosen = null,
    chosenEdge = null;
  place.units.forEach((unit) => {
    const at = [unit.at[1], unit.at[0]],
      order =
        unit.order === null
          ? null
          : mark(at, written(String(unit.order)), "order", 9 - unit.order / 1000, 0, 0, null, { rooms: unit.rooms });
    const own = { lines: unit.lines, rooms: unit.rooms, numeral: order };
    unit.marks = [mark(at, unit.lines[0], "unitname", order ? 10 - unit.order / 1000 : 6, 0, 0, null, own)];
    if (order) unit.marks.push(order);
    unit.paths = [];
    const reach = shape(unit.shape, "reach", {
      color: INK,
      weight: 2,
      opacity: 0,
      fillOpacity: 0,
      className: "unit",
    }).addTo(map);
    reach.on("click", (event) => {
      pick(unit.id, { onMap: true });
      L.DomEvent.stop(event);
    });
    reach.eachLayer((layer) => {
      const path = layer.getElement?.();
      if (!path) return;
      unit.paths.push(path);
      for (const [key, value] of [
        ["tabindex", "0"],
        ["role", "button"],
        ["aria-label", unit.says],
      ])
        path.setAttribute(key, value);
      path.addEventListener("keydown", (event) => {
        if (event.key !== "Enter" && event.key !== " ") return;
        event.preventDefault();
        pick(unit.id, { onMap: true, byKey: true });
      });
    });
  });
  // What a pick moved is moved back when it is let go, unless the reader moved the map meanwhile.
  let before = null,
    isOurs = false;
  map.on("movestart zoomstart", () => {
    if (!isOurs) before = null;
  });
  function byUs(move) {
    isOurs = true;
    move();
    isOurs = false;
  }
  function bringIntoView(bounds) {
    if (map.getBounds().contains(bounds)) return;
    before ??= { center: map.getCenter(), zoom: map.getZoom(), moved };
    moved = true;
    byUs(() => {
      if (map.getBoundsZoom(bounds) >= map.getZoom()) map.panTo(bounds.getCenter(), { animate: false });
      else map.fitBounds(bounds, { padding: [24, 24], animate: false });
    });
  }
  function goBack() {
    if (!before) return;
    const { center, zoom } = before;
    moved = before.moved;
    byUs(() => map.setView(center, zoom, { animate: false }));
    before = null;
  }
  const panel = document.getElementById("panel"),
    picked = document.getElementById("picked"),
    narrow = matchMedia("(max-width: 58.75em)");
  let opener = null; // what the focus goes back to when the panel is closed
  const says = (unit) => `${unit.says.slice(unit.name.length + 2)}.`;
  function letGo() {
    if (chosen === null) return;
    const { row, button, about } = byId.get(chosen);
    row.classList.remove("chosen");
    button.setAttribute("aria-expanded", "false");
    about.hidden = true;
    panel.hidden = true;
    picked.textContent = "";
    chosenEdge.forEach((edge) => edge.remove());
    chosen = null;
  }
  function shut() {
    const isInside = panel.contains(document.activeElement);
    letGo();
    goBack();
    if (isInside && opener?.isConnected) opener.focus({ preventScroll: true });
    opener = null;
  }
  function fillPanel(unit) {
    const number = unit.order === null || document.body.classList.contains("then") ? "" : `${unit.order}. `;
    panel.querySelector("h2").textContent = `${number}${unit.name}${unit.name === unit.id ? "" : ` (${unit.id})`}`;
    panel.querySelector(".sums").textContent = says(unit);
    panel.querySelector(".telling").replaceWith(byId.get(unit.id).about.querySelector(".telling").cloneNode(true));
  }
  function pick(id, { onMap, toggle, byKey } = {}) {
    const again = chosen === id;
    letGo();
    if (again && toggle) return goBack();
    const unit = place.units.find((one) => one.id === id),
      { row, button, about } = byId.get(id),
      isBelow = onMap && narrow.matches; // the row is far down the page: the panel under the map tells it
    chosen = id;
    document.dispatchEvent(new CustomEvent("picked", { detail: id })); // its words may be of another day still
    row.classList.add("chosen");
    button.setAttribute("aria-expanded", String(!isBelow));
    about.hidden = isBelow;
    if (!onMap) bringIntoView(L.geoJSON(unit.shape).getBounds());
    chosenEdge = [
      [PAPER, 8],
      [INK, 4],
    ].map(([color, weight]) => shape(unit.shape, "things", { fill: false, color, weight }).addTo(map));
    if (!onMap) return;
    if (!isBelow) {
      picked.textContent = `${unit.name}: ${says(unit)} More is in the list.`;
      return row.scrollIntoView({ block: "nearest" });
    }
    opener = document.activeElement;
    fillPanel(unit);
    panel.hidden = false;
    const box = panel.getBoundingClientRect(),
      hidden = Math.min(box.bottom, box.top + 200) - innerHeight;
    // No farther than the map's own top: what was tapped stays in sight.
    if (hidden > 0) scrollBy(0, Math.min(hidden, Math.max(0, frame.getBoundingClientRect().top - 8)));
    if (byKey) panel.focus({ preventScroll: true });
  }
  document.getElementById("panel-close").addEventListener("click", shut);
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || event.defaultPrevented || chosen === null) return;
    event.preventDefault();
    shut();
  });
  document.addEventListener("stepped", () => {
    if (!panel.hidden) fillPanel(place.units.find((one) => one.id === chosen));
  });

  // --- scale: feet above the line, meters below, true at the middle of what is seen ---
  function scale() {
    const lat = (map.getCenter().lat * Math.PI) / 180,
      e2 = 0.00669437999014;
    const circle = (2 * Math.PI * 6378137 * Math.cos(lat)) / Math.sqrt(1 - e2 * Math.sin(lat) ** 2); // of the parallel, WGS 84
    const meters = circle / (256 * 2 ** map.getZoom()); // one screen pixel
    const round = (most) => {
      const ten = 10 ** Math.floor(Math.log10(most)),
        n = most / ten;
      return ten * (n >= 5 ? 5 : n >= 2 ? 2 : 1);
    };
    const k = parseFloat(getComputedStyle(document.documentElement).fontSize) / 16; // letters may be set larger; the bars stay true
    const feet = round((125 * meters) / 0.3048),
      si = round(120 * meters),
      f = (feet * 0.3048) / meters,
      m = si / meters;
    const holder = document.getElementById("scale"),
      width = Math.max(f, m) + 66 * k,
      y = 25 * k,
      height = 48 * k;
    holder.replaceChildren();
    const node = svg(
      "svg",
      {
        width,
        height,
        viewBox: `0 0 ${width} ${height}`,
        role: "img",
        "aria-label": `Scale: ${feet} feet, ${si} meters`,
      },
      holder,
    );
    svg(
      "path",
      {
        d: `M1,${y - 7}V${y}H${f}V${y - 7}M${f / 2},${y - 4}V${y}M1,${y + 7}V${y}H${m}V${y + 7}M${m / 2},${y + 4}V${y}`,
        fill: "none",
        stroke: INK,
        "stroke-width": 1.3,
      },
      node,
    );
    svg("text", { x: 0, y: 14 * k }, node).textContent = "0";
    svg("text", { x: f - 8, y: 14 * k }, node).textContent = `${feet.toLocaleString("en-US")} ft`;
    svg("text", { x: m - 8, y: 46 * k }, node).textContent = `${si.toLocaleString("en-US")} m`;
  }

  // --- moving about ---
  let moved = false;
  map.on("dragstart", () => {
    moved = true;
  });
  map.on("zoomanim", () => {
    slate.style.visibility = "hidden";
  });
  map.on("zoomend viewreset", settle);
  map.on("moveend resize", () => {
    scale();
    hush();
  });
  map.on("click", shut);
  const press = (id, act) => document.getElementById(id).addEventListener("click", act);
  // At once: a press during a movement would be lost.
  press("zoom-in", () => {
    moved = true;
    map.zoomIn(0.75, { animate: false });
  });
  press("zoom-out", () => {
    moved = true;
    map.zoomOut(0.75, { animate: false });
  });
  press("whole", () => {
    moved = false;
    whole();
  });
  map.on("resize", () => {
    if (!moved) whole();
  });
  addEventListener("resize", layOut);
  map.getContainer().setAttribute("role", "group");
  map
    .getContainer()
    .setAttribute("aria-label", "Drawing of the property; arrow keys move it, plus and minus zoom in and out");
  scale();
  hush();

  const sheet = {
    map,
    place,
    box,
    INK,
    PAPER,
    shape,
    many,
    partsOf,
    svg,
    mark,
    written,
    settle,
    hush,
    isDark,
    byId,
    pick,
    letGo,
    shut,
    bringIntoView,
    goBack,
    whole,
    drawIn,
    renderers,
    opening,
    squareOfUnit,
    passes,
    drawPatches,
    darken,
    darkOf,
  };
  PARTS.forEach((part) => part(sheet));
  document.body.dataset.drawn = "yes";
}
