// The target of a light pointer: the way of the spot so far, and where it is now.
(function () {
  "use strict";
  const kit = window.weldsimKit;
  const SIZE = 320; // of the drawing, in its own units
  const EDGE = 46; // room for the numbers on the left and below
  const INK = "var(--ink)", QUIET = "var(--quiet)", GRID = "var(--grid)", SPOT = "var(--spot)";

  // weldsimTarget(element, pointer, data, units) -> {setTime, setUnits}
  window.weldsimTarget = function (element, pointer, data, units) {
    const clip = kit.id("clip");
    const drawing = kit.svg("svg", { viewBox: `0 0 ${SIZE} ${SIZE}`, role: "img" });
    const words = kit.html("p", { class: "wv-spot-words" });
    const where = kit.html("p", { class: "wv-small" });
    element.replaceChildren(
      kit.html("p", { class: "wv-target-name", text: `Light spot of ${pointer.name}` }),
      drawing, words, window.weldsimSketch(pointer, data), where,
    );
    let now = pointer.times[pointer.times.length - 1];
    let scale, centre, sofar, spot, halo;

    let wanted = null;

    // What holds the whole path, zero and the tolerance.
    function bounds() {
      const x = [...pointer.right, 0], y = [...pointer.up, 0], ring = pointer.tolerance || 0;
      return [[Math.min(...x), Math.min(...y)].map((v) => Math.min(v, -ring)),
        [Math.max(...x), Math.max(...y)].map((v) => Math.max(v, ring))];
    }
    // Equal scales that hold this, or what was asked for.
    function frame() {
      const [low, high] = wanted || bounds();
      const span = 1.24 * Math.max(high[0] - low[0], high[1] - low[1], 0.1); // mm: nobody reads less off a target
      centre = [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2];
      scale = (SIZE - EDGE) / span;
    }
    const X = (v) => EDGE + (SIZE - EDGE) / 2 + scale * (v - centre[0]);
    const Y = (v) => (SIZE - EDGE) / 2 - scale * (v - centre[1]);

    function grid() {
      const unit = kit.unit(units, "length");
      const per = 1 / unit.from(1); // mm in a unit of the screen
      const half = (SIZE - EDGE) / 2 / scale / per;
      const out = [];
      const end = SIZE - EDGE;
      for (const [axis, middle] of [[0, centre[0] / per], [1, centre[1] / per]]) {
        for (const value of kit.ticks(middle - half, middle + half, 5)) {
          const p = axis ? Y(value * per) : X(value * per);
          const line = axis ? { x1: EDGE, x2: SIZE, y1: p, y2: p } : { x1: p, x2: p, y1: 0, y2: end };
          const style = value === 0 ? { stroke: QUIET, "stroke-width": 1.2 } : { stroke: GRID };
          out.push(kit.svg("line", { ...line, ...style }));
          const place = axis
            ? { x: EDGE - 5, y: p + 4, "text-anchor": "end" }
            : { x: p, y: end + 14, "text-anchor": "middle" };
          const near = axis ? p > 10 && p < end - 4 : p > EDGE + 8 && p < SIZE - 10;
          if (near) out.push(kit.svg("text", { ...place, class: "wv-tick", text: label(value) }));
        }
      }
      out.push(kit.svg("text", { x: EDGE + end / 2, y: SIZE - 4, "text-anchor": "middle",
        class: "wv-tick", text: `right, ${unit.word} (toward ${pointer.right_way})` }));
      out.push(kit.svg("text", { x: 0, y: 0, "text-anchor": "middle", class: "wv-tick",
        transform: `translate(11 ${end / 2}) rotate(-90)`,
        text: `up, ${unit.word} (toward ${pointer.up_way})` }));
      return out;
    }
    const label = (v) => String(v).replace("-", "−");

    const points = (list) => list.map(([a, b]) => `${X(a).toFixed(1)},${Y(b).toFixed(1)}`).join(" ");
    const spotAt = (t) => [kit.at(pointer.times, pointer.right, t), kit.at(pointer.times, pointer.up, t)];

    // The path from one time to another, with its ends.
    function stretch(from, to) {
      const inner = pointer.times
        .map((t, i) => [t, pointer.right[i], pointer.up[i]])
        .filter(([t]) => t > from && t < to)
        .map(([, a, b]) => [a, b]);
      return [spotAt(from), ...inner, spotAt(to)];
    }

    function draw() {
      frame();
      const end = SIZE - EDGE;
      const whole = stretch(pointer.times[0], pointer.times[pointer.times.length - 1]);
      sofar = kit.svg("g", {});
      halo = kit.svg("circle", { r: 13, fill: SPOT, opacity: 0.2 });
      spot = kit.svg("circle", { r: 6.5, fill: SPOT, stroke: "var(--white)", "stroke-width": 1.6,
        class: "wv-spot" });
      const inside = kit.svg("g", { "clip-path": `url(#${clip})` });
      if (pointer.tolerance) {
        inside.append(kit.svg("circle", { cx: X(0), cy: Y(0), r: scale * pointer.tolerance,
          fill: "var(--good-pale)", stroke: "var(--good)", "stroke-dasharray": "5 3" }));
      }
      inside.append(...grid());
      inside.append(kit.svg("polyline", { points: points(whole), fill: "none", stroke: "var(--outline)",
        "stroke-width": 1.4 }));
      inside.append(sofar, errorBars(whole[whole.length - 1]), halo, spot);
      drawing.replaceChildren(
        kit.svg("clipPath", { id: clip }, kit.svg("rect", { width: SIZE, height: SIZE })),
        kit.svg("rect", { x: EDGE, y: 0, width: end, height: end, fill: "var(--white)", stroke: "var(--faint)" }),
        inside,
      );
      const far = kit.unit(units, "throw");
      where.textContent = `Target ${kit.number(far.from(pointer.throw))} ${far.word} away, seen ` +
        `along the beam (${pointer.aim}); colours: arc on, grey: between and after` +
        (pointer.tolerance ? "; dashed ring: tolerance." : ".");
      place();
    }

    function errorBars([a, b]) {
      const group = kit.svg("g", { stroke: INK, "stroke-width": 1.2 });
      const [dx, dy] = pointer.error || [];
      if (dx) group.append(kit.svg("line", { x1: X(a - dx), x2: X(a + dx), y1: Y(b), y2: Y(b) }));
      if (dy) group.append(kit.svg("line", { x1: X(a), x2: X(a), y1: Y(b - dy), y2: Y(b + dy) }));
      return group;
    }

    function place() {
      const first = pointer.times[0];
      const lines = [kit.svg("polyline", { points: points(stretch(first, Math.max(now, first))),
        fill: "none", stroke: QUIET, "stroke-width": 2 })];
      for (const arc of data.arcs) {
        if (arc.start >= now) continue;
        lines.push(kit.svg("polyline", { points: points(stretch(arc.start, Math.min(arc.end, now))),
          fill: "none", stroke: arc.colour, "stroke-width": 3.6, "stroke-linecap": "round" }));
      }
      sofar.replaceChildren(...lines);
      const [a, b] = spotAt(now);
      for (const dot of [halo, spot]) {
        dot.setAttribute("cx", X(a).toFixed(2));
        dot.setAttribute("cy", Y(b).toFixed(2));
      }
      const unit = kit.unit(units, "length");
      const say = (v, plus, minus) =>
        `${kit.number(Math.abs(unit.from(v)), units === "us" ? 3 : 1)} ${unit.word} ${v < 0 ? minus : plus}`;
      words.textContent = `${say(b, "up", "down")}, ${say(a, "right", "left")}`;
      drawing.setAttribute("aria-label",
        `Target of ${pointer.name}: at ${kit.number(now, 0)} s the light spot stands ${words.textContent}`);
    }

    draw();
    return {
      name: pointer.name,
      // Room on the target that has to be seen: [low, high], each [right, up] in mm.
      get room() { return bounds(); },
      setRoom(given) { wanted = given; draw(); },
      setTime(seconds) { now = seconds; place(); },
      setUnits(word) { units = word; draw(); },
    };
  };
})();
