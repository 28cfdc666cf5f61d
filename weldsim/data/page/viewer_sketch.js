// A small sketch of how the beam meets the wall: the part as a box, the beam, the target with its
// up and right, seen from where the part is seen, the workshop's up on top.
(function () {
  "use strict";
  const kit = window.weldsimKit;
  const WIDE = 220, TALL = 120;

  const axis = (word) => ["x", "y", "z"].map((a) => (a === word[1] ? (word[0] === "-" ? -1 : 1) : 0));
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
  const unit = (a) => { const n = Math.hypot(...a) || 1; return a.map((v) => v / n); };

  function box(data) {
    const points = kit.array(data.points, Float32Array), low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    for (let i = 0; i < points.length; i++) {
      low[i % 3] = Math.min(low[i % 3], points[i]);
      high[i % 3] = Math.max(high[i % 3], points[i]);
    }
    return [low, high];
  }

  // weldsimSketch(pointer, data) -> an SVG
  window.weldsimSketch = function (pointer, data) {
    const [low, high] = box(data), up = axis(data.up || "+z"), eye = unit(data.view);
    const right = unit(cross(up, eye)), above = cross(eye, right);
    const aim = axis(pointer.aim), rightWay = axis(pointer.right_way), upWay = axis(pointer.up_way);
    const size = high.map((v, i) => v - low[i]), reach = Math.hypot(...size);
    const from = low.map((v, i) => (aim[i] ? (aim[i] > 0 ? high[i] : v) : (v + high[i]) / 2));
    const on = (a, b, c) => from.map((v, i) => v + reach * (a * aim[i] + b * rightWay[i] + c * upWay[i]));
    const L = 0.5, h = 0.2;
    const card = [on(L, -h, -h), on(L, h, -h), on(L, h, h), on(L, -h, h)];
    const corners = [0, 1, 2, 3, 4, 5, 6, 7].map((k) => [0, 1, 2].map((i) => ((k >> i) & 1 ? high[i] : low[i])));
    const flat = [...corners, ...card].map((p) => [dot(p, right), -dot(p, above)]);
    const least = [0, 1].map((i) => Math.min(...flat.map((p) => p[i]))), most = [0, 1].map((i) => Math.max(...flat.map((p) => p[i])));
    const scale = Math.min((WIDE - 70) / (most[0] - least[0]), (TALL - 26) / (most[1] - least[1]));
    const at = (p) => [35 + (WIDE - 70) / 2 + scale * (dot(p, right) - (least[0] + most[0]) / 2), TALL / 2 + scale * (-dot(p, above) - (least[1] + most[1]) / 2)];
    const text = (list) => list.map((p) => at(p).map((v) => v.toFixed(1)).join()).join(" ");
    const line = (a, b, style) => { const [p, q] = [at(a), at(b)]; return kit.svg("line", { x1: p[0], y1: p[1], x2: q[0], y2: q[1], ...style }); };
    const word = (place, words, more) => { const [x, y] = at(place); return kit.svg("text", { x, y: y + 4, "text-anchor": "middle", class: "wv-tick", ...more, text: words }); };
    const out = [], aside = at(on(L, h, 0))[0] - at(on(L, 0, 0))[0];
    corners.forEach((p, k) => [1, 2, 4].forEach((bit) => { if (!(k & bit)) out.push(line(p, corners[k | bit], { stroke: "var(--outline)", "stroke-width": 1 })); }));
    out.push(line(from, on(L, 0, 0), { stroke: "var(--spot)", "stroke-dasharray": "5 3", "stroke-width": 1.5 }),
      kit.svg("polygon", { points: text(card), fill: "var(--white)", stroke: "var(--ink)", "stroke-width": 1.3 }),
      line(on(L, 0, 0), on(L, 0, h), { stroke: "var(--ink)", "stroke-width": 1.6 }), line(on(L, 0, 0), on(L, h, 0), { stroke: "var(--quiet)", "stroke-width": 1.2 }),
      word(on(L, 0, 1.7 * h), "up"), word(on(L, 1.2 * h, 0), "right", { "text-anchor": aside > 2 ? "start" : aside < -2 ? "end" : "middle" }));
    const foot = at(on(L, 0, 0))[0] > WIDE / 2 ? 12 : WIDE - 12; // where the target is not
    out.push(kit.svg("line", { x1: foot, x2: foot, y1: TALL - 12, y2: TALL - 34, stroke: "var(--ink)", "stroke-width": 2 }),
      kit.svg("polygon", { points: `${foot},${TALL - 42} ${foot - 4},${TALL - 33} ${foot + 4},${TALL - 33}`, fill: "var(--ink)" }),
      kit.svg("text", { x: foot, y: TALL - 46, "text-anchor": "middle", class: "wv-tick", text: "up" }));
    return kit.svg("svg", { viewBox: `0 0 ${WIDE} ${TALL}`, class: "wv-sketch", role: "img",
      "aria-label": `The beam of ${pointer.name} points along ${pointer.aim}; up on the target is ${pointer.up_way}, right is ${pointer.right_way}; up in the workshop is ${data.up || "+z"}` }, ...out);
  };
})();
