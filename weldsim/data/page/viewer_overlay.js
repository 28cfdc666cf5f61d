// What is written over the part: numbered welds with their travel, clamps, torch, axes, colour bar.
(function () {
  "use strict";
  const kit = window.weldsimKit;
  const INK = "var(--ink)", QUIET = "var(--quiet)", PAPER = "var(--white)";
  const MANY = 8; // welds; with more, the first of each seam is named

  // weldsimOverlay(svg, scene) -> {load, draw}
  window.weldsimOverlay = function (svg, scene) {
    let data, named, corner = 0; // where the axes stand: they move for the part alone
    // Everything is drawn in units that grow with the letters of the view: `scene.scale` pixels each.
    const unit = () => scene.scale || 1;
    const width = () => scene.width / unit(), height = () => scene.height / unit();
    const onCanvas = (...place) => { const [x, y, z] = scene.onCanvas(...place); return [x / unit(), y / unit(), z]; };

    function load(record) {
      data = record;
      const seams = new Set();
      named = new Set();
      for (const weld of data.welds) {
        if (data.welds.length <= MANY || !seams.has(weld.seam)) named.add(weld.name);
        seams.add(weld.seam);
      }
    }

    const line = (list) => list.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(" ");
    const halo = { "paint-order": "stroke", stroke: PAPER, "stroke-width": 3.5,
      "stroke-linejoin": "round" };

    // Movement along a weld without the wrinkles of hot beads: the middle value of seven places.
    function smooth(near) {
      const each = near.map((k) => scene.movement(k));
      return each.map((_, i) => [0, 1, 2].map((c) => {
        const some = each.slice(Math.max(0, i - 3), i + 4).map((u) => u[c]).sort((a, b) => a - b);
        return (some[Math.floor((some.length - 1) / 2)] + some[Math.ceil((some.length - 1) / 2)]) / 2;
      }));
    }

    function weldMarks(weld, taken, names) {
      const by = smooth(weld.near);
      const path = weld.points.map((p, i) => onCanvas(p, weld.near[i], by[i]));
      const behind = scene.away(weld.inward.map((v) => -v));
      const half = path[Math.floor(path.length / 2)];
      const out = [];
      const flat = { fill: "none", stroke: weld.colour, "stroke-width": weld.tack ? 5 : 2.6,
        "stroke-linecap": weld.tack ? "butt" : "round", "stroke-linejoin": "round",
        "stroke-dasharray": behind ? "5 4" : null, opacity: behind ? 0.75 : 1 };
      out.push(kit.svg("polyline", { points: line(path), ...flat }));
      out.push(...arrow(path, weld.colour));
      // the number stands outside the part, away from the metal the weld lies on
      const far = onCanvas(
        weld.points[Math.floor(path.length / 2)].map((v, k) => v - 1e-2 * weld.inward[k]),
        0, by[Math.floor(path.length / 2)]);
      let way = [far[0] - half[0], far[1] - half[1]];
      const size = Math.hypot(...way);
      way = size > 1e-5 ? way.map((v) => v / size) : [0, -1];
      const at = freePlace(half, way, taken);
      taken.push(at);
      out.push(kit.svg("line", { x1: half[0], y1: half[1], x2: at[0], y2: at[1],
        stroke: weld.colour, "stroke-width": 1 }));
      out.push(kit.svg("circle", { cx: at[0], cy: at[1], r: 10.5, fill: weld.colour, stroke: PAPER,
        "stroke-width": 1.5 }));
      out.push(kit.svg("text", { x: at[0], y: at[1] + 4.5, "text-anchor": "middle", fill: PAPER,
        "font-weight": 700, "font-size": weld.number < 10 ? 13 : 11, text: weld.number }));
      if (named.has(weld.name)) {
        names.push({ at, right: way[0] >= 0, colour: weld.colour, text: weld.name + (behind ? " (behind)" : "") });
      }
      return out;
    }

    // Names beside their numbers, on a side where no number and no other name stands.
    function nameMarks(names, taken) {
      const boxes = taken.map(([x, y]) => [x - 11, y - 11, x + 11, y + 11]);
      return names.map(({ at: [x, y], right, colour, text }) => {
        const wide = 7.8 * text.length;
        const sides = [[x + 15, y + 4.5, "start"], [x - 15, y + 4.5, "end"], [x, y + 25, "middle"], [x, y - 16, "middle"]];
        if (!right) [sides[0], sides[1]] = [sides[1], sides[0]];
        const boxOf = ([a, b, anchor]) => {
          const left = anchor === "start" ? a : anchor === "end" ? a - wide : a - wide / 2;
          return [left, b - 12, left + wide, b + 4];
        };
        const free = (side) => {
          const [a, b, c, d] = boxOf(side);
          return a > 0 && c < width() && boxes.every(([p, q, r, s]) => r <= a || p >= c || s <= b || q >= d);
        };
        const side = sides.find(free) || sides[0];
        boxes.push(boxOf(side));
        return kit.svg("text", { x: side[0], y: side[1], "text-anchor": side[2], fill: colour,
          "font-weight": 700, "font-size": 13, ...halo, text });
      });
    }

    // A place near `from` where no other number stands, first in the given direction.
    function freePlace(from, way, taken) {
      for (const reach of [30, 46, 62]) {
        for (const turn of [0, 0.6, -0.6, 1.2, -1.2]) {
          const c = Math.cos(turn), s = Math.sin(turn);
          const at = [from[0] + reach * (c * way[0] - s * way[1]),
            from[1] + reach * (s * way[0] + c * way[1])];
          const clear = taken.every((t) => Math.hypot(t[0] - at[0], t[1] - at[1]) > 24);
          const inside = at[0] > 14 && at[1] > 14 && at[0] < width() - 14
            && at[1] < height() - 14;
          if (clear && inside) return at;
        }
      }
      return [from[0] + 30 * way[0], from[1] + 30 * way[1]];
    }

    // Which way the arc travels: a head two thirds along the path.
    function arrow(path, colour) {
      const k = Math.round((2 / 3) * (path.length - 1));
      const a = path[k - 1], b = path[k];
      const long = Math.hypot(b[0] - a[0], b[1] - a[1]);
      if (long < 0.3) return [];
      const u = [(b[0] - a[0]) / long, (b[1] - a[1]) / long], h = 11, w = 5.5;
      const corner = (side) => [b[0] - h * u[0] - side * w * u[1], b[1] - h * u[1] + side * w * u[0]];
      return [kit.svg("polygon", { points: line([b, corner(1), corner(-1)]), fill: colour,
        stroke: PAPER, "stroke-width": 1 })];
    }

    function clampMarks(clamp, taken) {
      const out = [];
      clamp.points.forEach((place, i) => {
        const at = onCanvas(place, clamp.near[i]);
        out.push(kit.svg("rect", { x: at[0] - 4, y: at[1] - 4, width: 8, height: 8, fill: INK,
          stroke: PAPER }));
        const put = freePlace(at, [0, -0.6], taken);
        taken.push(put);
        out.push(kit.svg("text", { x: put[0], y: put[1] + 4, "text-anchor": "middle", fill: INK,
          "font-size": 12, ...halo, text: clamp.name }));
      });
      return out;
    }

    // Where the arcs that burn now stand.
    function torchMarks(time) {
      const out = [];
      for (const arc of data.arcs) {
        if (time < arc.start || time >= arc.end) continue;
        const weld = data.welds.find((w) => w.name === arc.name);
        if (!weld) continue;
        const whole = weld.points.slice(1).reduce((sum, p, i) =>
          sum + Math.hypot(...p.map((v, c) => v - weld.points[i][c])), 0);
        const gone = arc.speed ? (arc.speed * (time - arc.start)) / Math.max(whole, 1e-9)
          : (time - arc.start) / (arc.end - arc.start);
        const along = Math.min(gone, 1) * (weld.points.length - 1); // it waits in the end crater
        const k = Math.min(Math.floor(along), weld.points.length - 2), s = along - k;
        const by = smooth(weld.near);
        const a = onCanvas(weld.points[k], 0, by[k]);
        const b = onCanvas(weld.points[k + 1], 0, by[k + 1]);
        const x = a[0] + s * (b[0] - a[0]), y = a[1] + s * (b[1] - a[1]);
        out.push(kit.svg("circle", { cx: x, cy: y, r: 11, fill: "var(--glare)", opacity: 0.65 }));
        out.push(kit.svg("circle", { cx: x, cy: y, r: 5, fill: "var(--care-pale)", stroke: "var(--weld)",
          "stroke-width": 1.5, class: "wv-torch" }));
      }
      return out;
    }

    // Directions of x, y, z in the lower left, or another corner where the part stands there; the one
    // that is up in the workshop is bold.
    function axes() {
      const corners = [[46, height() - 44], [width() - 46, height() - 44], [46, 62], [width() - 46, 62]];
      const part = scene.places(400).map(([x, y]) => [x / unit(), y / unit()]);
      const free = ([x, y]) => part.every(([a, b]) => Math.abs(a - x) > 52 || Math.abs(b - y) > 52);
      if (!free(corners[corner])) corner = Math.max(0, corners.findIndex(free));
      const foot = corners[corner], out = [];
      const e = scene.camera.matrixWorld.elements; // columns: right, up, toward the eye
      const ways = [[1, 0, 0, "x"], [0, 1, 0, "y"], [0, 0, 1, "z"]];
      const up = data.up || "+z", k = "xyz".indexOf(up[1]);
      if (up[0] === "-") ways.push([-(k === 0), -(k === 1), -(k === 2), "up"]);
      for (const [x, y, z, word] of ways) {
        const u = e[0] * x + e[1] * y + e[2] * z, v = e[4] * x + e[5] * y + e[6] * z;
        const tip = [foot[0] + 30 * u, foot[1] - 30 * v];
        const isUp = word === "up" || up === `+${word}`;
        out.push(kit.svg("line", { x1: foot[0], y1: foot[1], x2: tip[0], y2: tip[1], stroke: INK,
          "stroke-width": isUp ? 2.6 : 1.3 }));
        out.push(kit.svg("text", { x: foot[0] + 41 * u, y: foot[1] - 41 * v + 4, fill: INK,
          "text-anchor": "middle", "font-size": 12, "font-weight": isUp ? 700 : 400, ...halo,
          text: word === "up" ? "up" : isUp ? `${word}, up` : word }));
      }
      return out;
    }

    function draw(time, withWelds) {
      svg.setAttribute("viewBox", `0 0 ${width()} ${height()}`);
      const out = [], taken = [], names = [];
      if (withWelds) {
        for (const weld of data.welds) out.push(...weldMarks(weld, taken, names));
        out.push(...nameMarks(names, taken));
        for (const clamp of data.clamps) out.push(...clampMarks(clamp, taken));
      }
      out.push(...torchMarks(time), ...axes());
      svg.replaceChildren(...out);
    }
    return { load, draw };
  };

  // Colour bar of a field as SVG, in the units of the screen.
  window.weldsimColourBar = function (data, field, units) {
    const WIDE = 300, LEFT = 14, id = kit.id("ramp");
    const [low, high] = data.ranges[field], hot = field === "temperature";
    const unit = kit.unit(units, hot ? "temperature" : "length");
    const colours = data.colours[field];
    const stops = colours.map((c, i) =>
      kit.svg("stop", { offset: i / (colours.length - 1), "stop-color": c }));
    const marks = hot
      ? (units === "us" ? [70, 200, 400, 750, 1200, 1800, 2900] : [20, 100, 200, 400, 650, 1000, 1600])
      : kit.ticks(unit.from(low), unit.from(high), 5);
    const back = (v) => (hot ? (units === "us" ? (v - 32) / 1.8 : v) : v / unit.from(1));
    const share = (v) => {
      const s = Math.max(0, (back(v) - low) / (high - low));
      return hot ? Math.sqrt(s) : s;
    };
    const bar = kit.svg("svg", { viewBox: `0 0 ${WIDE + 2 * LEFT} 52`, class: "wv-bar", role: "img",
      "aria-label": `Colours: ${hot ? "temperature" : "movement"} from ${kit.number(unit.from(low))} `
        + `to ${kit.number(unit.from(high))} ${unit.word}, dark to light` },
      kit.svg("linearGradient", { id }, ...stops),
      kit.svg("rect", { x: LEFT, y: 16, width: WIDE, height: 13, fill: `url(#${id})`,
        stroke: QUIET, "stroke-width": 0.7 }));
    for (const value of marks) {
      const s = share(value);
      if (s < -0.001 || s > 1.001) continue;
      const x = LEFT + WIDE * s;
      bar.append(kit.svg("line", { x1: x, x2: x, y1: 29, y2: 33, stroke: INK }),
        kit.svg("text", { x, y: 46, "text-anchor": "middle", "font-size": 12, fill: INK,
          text: String(value) }));
    }
    bar.append(kit.svg("text", { x: LEFT, y: 11, "font-size": 12, fill: INK,
      text: hot ? `temperature, ${unit.word}${data.hotter ? ` (lightest: ${kit.number(unit.from(high))} and above)` : ""}` : `movement since the start, ${unit.word} (true size)` }));
    return bar;
  };
})();
