// Measures an outline drawn on the page, and finds where it meets itself. Corners are [lon, lat].
// biome-ignore lint/correctness/noUnusedVariables: the drawing tool, a script of its own, calls it.
function outlines(rules) {
  // rules: center of the property's grid or null, square meters in an acre
  const FINE = 1e7; // lon and lat are whole ten-millionths of a degree: 11 mm, and sums of them are exact

  // --- acres: Lambert azimuthal equal-area on the WGS 84 ellipsoid (Snyder 1987, equations 3-11 to 3-13, 14-15, 24-17 to 24-20) ---
  const A = 6378137,
    F = 1 / 298.257223563,
    E2 = F * (2 - F),
    E = Math.sqrt(E2),
    RAD = Math.PI / 180;
  const q = (s) => (1 - E2) * (s / (1 - E2 * s * s) - Math.log((1 - E * s) / (1 + E * s)) / (2 * E));
  const QP = q(1),
    RQ = A * Math.sqrt(QP / 2);
  function gridAt(lat0, lon0) {
    const s = Math.sin(lat0 * RAD),
      sin1 = q(s) / QP,
      cos1 = Math.sqrt(1 - sin1 * sin1);
    const D = (A * Math.cos(lat0 * RAD)) / Math.sqrt(1 - E2 * s * s) / (RQ * cos1);
    return ([lon, lat]) => {
      const sin = q(Math.sin((lat / FINE) * RAD)) / QP,
        cos = Math.sqrt(1 - sin * sin),
        turn = (lon / FINE - lon0) * RAD;
      const B = RQ * Math.sqrt(2 / (1 + sin1 * sin + cos1 * cos * Math.cos(turn)));
      return [B * D * cos * Math.sin(turn), (B / D) * (cos1 * sin - sin1 * cos * Math.cos(turn))];
    };
  }
  const middle = (values) => (Math.max(...values) + Math.min(...values)) / 2 / FINE;
  const gridOf = (ring) =>
    rules.grid ? gridAt(...rules.grid) : gridAt(middle(ring.map((p) => p[1])), middle(ring.map((p) => p[0])));
  function measured(ring) {
    // signed square meters (positive: corners run against the clock) and meters of edge
    const xy = ring.map(gridOf(ring)),
      [x0, y0] = xy[0];
    let twice = 0,
      edge = 0;
    xy.forEach(([x, y], i) => {
      const [u, v] = xy[(i + 1) % xy.length];
      twice += (x - x0) * (v - y0) - (u - x0) * (y - y0);
      edge += Math.hypot(u - x, v - y);
    });
    return { m2: twice / 2, m: edge };
  }
  const acresOf = (ring) => Math.abs(measured(ring).m2) / rules.m2PerAcre;

  // --- an outline that crosses or touches itself encloses nothing that can be told ---
  const side = (a, b, c) => Math.sign((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]));
  const between = (a, b, c) =>
    Math.min(a[0], b[0]) <= c[0] &&
    c[0] <= Math.max(a[0], b[0]) &&
    Math.min(a[1], b[1]) <= c[1] &&
    c[1] <= Math.max(a[1], b[1]);
  function meets(a, b, c, d) {
    if (Math.max(a[0], b[0]) < Math.min(c[0], d[0]) || Math.max(c[0], d[0]) < Math.min(a[0], b[0])) return false;
    const s = side(a, b, c),
      t = side(a, b, d),
      u = side(c, d, a),
      v = side(c, d, b);
    return (
      (s !== t && u !== v) ||
      (!s && between(a, b, c)) ||
      (!t && between(a, b, d)) ||
      (!u && between(c, d, a)) ||
      (!v && between(c, d, b))
    );
  }
  function meeting(a, b, c, d) {
    // where two edges cross; where they lie along each other, an end that both share
    const bend = (b[0] - a[0]) * (d[1] - c[1]) - (b[1] - a[1]) * (d[0] - c[0]);
    if (!bend) return [c, d, a].find((p) => between(a, b, p) && between(c, d, p)) || c;
    const part = ((c[0] - a[0]) * (d[1] - c[1]) - (c[1] - a[1]) * (d[0] - c[0])) / bend;
    return [a[0] + part * (b[0] - a[0]), a[1] + part * (b[1] - a[1])];
  }
  function crossing(points, isRing) {
    // the first place where it meets itself, else null
    const edges = isRing ? points.length : points.length - 1,
      at = (i) => points[i % points.length];
    for (let i = 0; i < edges; i++) {
      for (let j = i + 1; j < edges; j++) {
        const next = j === i + 1,
          last = isRing && i === 0 && j === edges - 1;
        if (next || last) {
          // neighbors share a corner; they must not fold back over each other
          const [from, corner, to] = next ? [at(i), at(j), at(j + 1)] : [at(j), at(0), at(1)];
          const back = (from[0] - corner[0]) * (to[0] - corner[0]) + (from[1] - corner[1]) * (to[1] - corner[1]) > 0;
          if (!side(from, corner, to) && back) return corner;
        } else if (meets(at(i), at(i + 1), at(j), at(j + 1))) return meeting(at(i), at(i + 1), at(j), at(j + 1));
      }
    }
    return null;
  }

  return { FINE, gridOf, measured, acresOf, meets, meeting, crossing };
}
