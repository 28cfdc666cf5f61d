// Movement against time, beside the part: the spot on its target, or the part where it has none.
(function () {
  "use strict";
  const kit = window.weldsimKit;
  const WIDE = 320, TALL = 208, LEFT = 44, LOW = 26, TOP = 28, RIGHT = 8; // the key stands above the frame
  const STYLES = [{ stroke: "var(--press)" }, { stroke: "var(--weld)", "stroke-dasharray": "6 3" }];

  // Curves of a run in mm: {word, times, values}.
  function curves(data) {
    const pointer = data.pointers[0];
    if (pointer) {
      return [{ word: `up (${pointer.up_way})`, times: pointer.times, values: pointer.up },
        { word: `right (${pointer.right_way})`, times: pointer.times, values: pointer.right }];
    }
    const values = data.move.map((text) => {
      const m = kit.array(text, Int16Array);
      let most = 0;
      for (let k = 0; k < m.length; k += 3) most = Math.max(most, m[k] ** 2 + m[k + 1] ** 2 + m[k + 2] ** 2);
      return data.move_unit * Math.sqrt(most);
    });
    return [{ word: "farthest point", times: data.times, values }];
  }

  // weldsimChart(element, data, units, shareOf) -> {setTime, setUnits}; `shareOf` is where a time
  // stands on the slider, from 0 to 1, so that both run alike.
  window.weldsimChart = function (element, data, units, shareOf) {
    const list = curves(data), pointer = data.pointers[0];
    const drawing = kit.svg("svg", { viewBox: `0 0 ${WIDE} ${TALL}`, role: "img" });
    const note = kit.html("p", { class: "wv-small" });
    const name = pointer ? `Light spot of ${pointer.name} against time` : "Movement against time";
    element.replaceChildren(kit.html("p", { class: "wv-target-name", text: name }), drawing, note);
    const X = (time) => LEFT + (WIDE - LEFT - RIGHT) * shareOf(time);
    let cursor = null, now = data.times[data.times.length - 1];

    function draw() {
      const unit = kit.unit(units, "length"), per = 1 / unit.from(1);
      const all = list.flatMap((c) => c.values.map((v) => v / per)).concat(0);
      const low = Math.min(...all), high = Math.max(...all, low + 1e-6), room = 0.08 * (high - low);
      const Y = (v) => TOP + (TALL - TOP - LOW) * (1 - (v - low + room) / (high - low + 2 * room));
      const foot = TALL - LOW, out = [];
      for (const arc of data.arcs) {
        out.push(kit.svg("rect", { x: X(arc.start), y: TOP, height: foot - TOP, fill: arc.colour, opacity: 0.16,
          width: Math.max(1, X(arc.end) - X(arc.start)) }));
      }
      for (const v of kit.ticks(low - room, high + room, 4)) {
        out.push(kit.svg("line", { x1: LEFT, x2: WIDE - RIGHT, y1: Y(v), y2: Y(v), stroke: v === 0 ? "var(--quiet)" : "var(--grid)" }),
          kit.svg("text", { x: LEFT - 5, y: Y(v) + 4, "text-anchor": "end", class: "wv-tick", text: String(v).replace("-", "−") }));
      }
      let last = -99;
      const marks = [data.times[0], ...data.arcs.flatMap((a) => [a.start, a.end]), data.times[data.times.length - 1]];
      for (const time of marks) {
        const x = X(time);
        if (x - last < 34 && time !== marks[marks.length - 1]) continue;
        if (time === marks[marks.length - 1] && x - last < 34) out.pop();
        last = x;
        out.push(kit.svg("text", { x, y: foot + 14, "text-anchor": x > WIDE - 20 ? "end" : "middle", class: "wv-tick", text: kit.number(time, 0) }));
      }
      let from = LEFT;
      list.forEach((c, i) => {
        const places = c.times.map((t, k) => `${X(t).toFixed(1)},${Y(c.values[k] / per).toFixed(1)}`).join(" ");
        out.push(kit.svg("polyline", { points: places, fill: "none", "stroke-width": 2, ...STYLES[i] }));
        out.push(kit.svg("line", { x1: from, x2: from + 22, y1: 12, y2: 12, "stroke-width": 2, ...STYLES[i] }),
          kit.svg("text", { x: from + 27, y: 16, class: "wv-tick", fill: STYLES[i].stroke, text: c.word }));
        from += 45 + 7 * c.word.length;
      });
      cursor = kit.svg("line", { y1: TOP, y2: foot, stroke: "var(--spot)", "stroke-width": 1.6 });
      drawing.replaceChildren(kit.svg("rect", { x: LEFT, y: TOP, width: WIDE - LEFT - RIGHT, height: foot - TOP, fill: "var(--white)" }),
        ...out, kit.svg("rect", { x: LEFT, y: TOP, width: WIDE - LEFT - RIGHT, height: foot - TOP, fill: "none", stroke: "var(--faint)" }), cursor);
      note.textContent = `${unit.word} against s since the first arc; time runs as on the slider, slowly while an arc burns (tinted).`;
      drawing.setAttribute("aria-label", `${name}: ${list.map((c) => `${c.word} ends at ${kit.number(c.values[c.values.length - 1] / per)} ${unit.word}`).join(", ")}`);
      place();
    }
    function place() { for (const end of ["x1", "x2"]) cursor.setAttribute(end, X(now).toFixed(1)); }
    draw();
    return { setTime(time) { now = time; place(); }, setUnits(word) { units = word; draw(); } };
  };
})();
