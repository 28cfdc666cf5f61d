// Small drawings of the joints, from boxes and tubes in one slanted view. Welds are orange.
import { s } from "./tools.js";

const EAST = [0.87, 0.36], NORTH = [0.72, -0.42]; // x to the right and down, y to the right and up
const FACE = { top: "var(--press-pale)", front: "var(--steel-side)", side: "var(--steel-deep)" };
const LINE = { stroke: "var(--edge)", "stroke-width": 1.1, "stroke-linejoin": "round" };
const WELD = { stroke: "var(--weld)", "stroke-width": 4, "stroke-linecap": "round", fill: "none" };

const at = (x, y, z) => [EAST[0] * x + NORTH[0] * y, EAST[1] * x + NORTH[1] * y - z];
const text = (points) => points.map((p) => p.map((v) => v.toFixed(1)).join(",")).join(" ");
const face = (fill, ...corners) => s("polygon", { points: text(corners.map((c) => at(...c))), fill, ...LINE });
const weld = (...places) => s("polyline", { points: text(places.map((c) => at(...c))), ...WELD });

// A box from one corner to the other; the three faces that show.
function box([x, y, z], [X, Y, Z]) {
  return [face(FACE.top, [x, y, Z], [X, y, Z], [X, Y, Z], [x, Y, Z]),
    face(FACE.front, [x, y, z], [X, y, z], [X, y, Z], [x, y, Z]),
    face(FACE.side, [X, y, z], [X, Y, z], [X, Y, Z], [X, y, Z])];
}

// The open end of a square tube.
const hole = (...corners) => face("var(--border)", ...corners);

// A round tube along x or z: its outline, its near end with the bore.
function tube(axis, [x, y, z], length, r, wall, from = 0) {
  const ring = (along, radius) => {
    const out = [];
    for (let a = 0; a <= 360; a += 10) {
      const c = radius * Math.cos((a * Math.PI) / 180), d = radius * Math.sin((a * Math.PI) / 180);
      out.push(axis === "x" ? at(x + along, y + c, z + d) : at(x + c, y + d, z + along));
    }
    return out;
  };
  const hull = outline([...ring(from, r), ...ring(length, r)]);
  return [s("polygon", { points: text(hull), fill: FACE.front, ...LINE }),
    s("polygon", { points: text(ring(length, r)), fill: FACE.top, ...LINE }),
    s("polygon", { points: text(ring(length, r - wall)), fill: "var(--border)", ...LINE })];
}

// Convex outline of points.
function outline(points) {
  const sorted = [...points].sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  const turn = (o, a, b) => (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);
  const half = (list) => {
    const out = [];
    for (const p of list) {
      while (out.length > 1 && turn(out[out.length - 2], out[out.length - 1], p) <= 0) out.pop();
      out.push(p);
    }
    out.pop();
    return out;
  };
  return [...half(sorted), ...half(sorted.reverse())];
}

function arc(axis, [x, y, z], r, begin, end) {
  const out = [];
  for (let a = begin; a <= end; a += 8) {
    const c = r * Math.cos((a * Math.PI) / 180), d = r * Math.sin((a * Math.PI) / 180);
    out.push(axis === "x" ? [x, y + c, z + d] : [x + c, y + d, z]);
  }
  return weld(...out);
}

const DRAWN = {
  bar: () => [box([-46, 0, -12], [46, 8, 12]), box([-54, -6, -18], [-36, -1, 18]),
    weld([0, 0, -11], [0, 0, 11]), weld([14, 0, -11], [14, 0, 11])],
  "square-tube-tee": () => [box([-44, -11, -22], [44, 11, 0]),
    hole([44, -7, -18], [44, 7, -18], [44, 7, -4], [44, -7, -4]), box([-9, -9, 0], [9, 9, 42]),
    hole([-6, -6, 42], [6, -6, 42], [6, 6, 42], [-6, 6, 42]),
    weld([-9, -9, 0], [9, -9, 0]), weld([9, -9, 0], [9, 9, 0])],
  "square-tube-frame": () => [box([-56, -9, -20], [56, 9, -2]), hole([56, -6, -17], [56, 6, -17], [56, 6, -5], [56, -6, -5]),
    ...[-34, 24].flatMap((x) => [box([x - 8, -8, -2], [x + 8, 8, 34]), hole([x - 5, -5, 34], [x + 5, -5, 34], [x + 5, 5, 34], [x - 5, 5, 34]),
      weld([x - 8, -8, -2], [x + 8, -8, -2]), weld([x + 8, -8, -2], [x + 8, 8, -2])])],
  "round-tube-saddle": () => [tube("x", [-44, 0, -12], 88, 13, 4), tube("z", [0, 0, 0], 40, 9, 3, -5),
    arc("z", [0, 0, -2], 9, 190, 370)],
  "round-tube-butt": () => [tube("x", [-46, 0, 0], 92, 16, 4), arc("x", [0, 0, 0], 16, 40, 260)],
  "plate-butt": () => [box([-40, -22, -4], [40, 22, 4]), weld([-40, 0, 4], [40, 0, 4])],
  "deposit": () => [box([-44, -24, -8], [44, 24, 0]), box([-28, -12, 0], [28, 12, 6]),
    weld([-28, -8, 6], [28, -8, 6]), weld([-28, 0, 6], [28, 0, 6]), weld([-28, 8, 6], [28, 8, 6])],
  "plate-tee": () => [box([-40, -22, -6], [40, 22, 0]), box([-40, -2, 0], [40, 4, 30]),
    weld([-40, -3, 0], [40, -3, 0])],
  "tube-socket": () => [box([-34, -30, -6], [34, 30, 0]), box([-11, -11, 0], [11, 11, 38]),
    hole([-7, -7, 38], [7, -7, 38], [7, 7, 38], [-7, 7, 38]), weld([-11, -11, 0], [11, -11, 0]),
    weld([11, -11, 0], [11, 11, 0])],
};

export function jointDrawing(kind) {
  const group = s("g", {}, (DRAWN[kind] || (() => []))());
  return s("svg", { viewBox: "-66 -56 132 100", class: "joint-drawing", "aria-hidden": "true" }, group);
}
