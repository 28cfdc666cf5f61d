// Small tools of the viewer: arrays from base64, interpolation, units, elements of a page.
(function () {
  "use strict";
  const SVG = "http://www.w3.org/2000/svg";
  const kit = (window.weldsimKit = {});

  // Numbers of a typed array from base64; the page is little-endian wherever it is read today.
  kit.array = function (text, Type) {
    const raw = atob(text);
    const bytes = new Uint8Array(raw.length);
    for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
    return new Type(bytes.buffer);
  };

  // Place of a value in an ascending list: index of the entry below, and the share to the next.
  kit.place = function (list, value) {
    const last = list.length - 1;
    if (value <= list[0]) return [0, 0];
    if (value >= list[last]) return [last, 0];
    let low = 0, high = last;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (list[middle] <= value) low = middle;
      else high = middle;
    }
    return [low, (value - list[low]) / (list[high] - list[low])];
  };

  // A colour of the house where a variable of CSS is not understood: canvas and shaders.
  kit.paint = (name) =>
    getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();

  kit.at = function (times, values, time) {
    const [i, share] = kit.place(times, time);
    return share ? values[i] + share * (values[i + 1] - values[i]) : values[i];
  };

  // Units of the screen. Data come in mm, degC and m; factors by definition of the inch and degF.
  const UNITS = {
    metric: {
      length: { word: "mm", from: (v) => v },
      temperature: { word: "°C", from: (v) => v },
      throw: { word: "m", from: (v) => v },
    },
    us: {
      length: { word: "in", from: (v) => v / 25.4 },
      temperature: { word: "°F", from: (v) => 1.8 * v + 32 },
      throw: { word: "ft", from: (v) => v / 0.3048 },
    },
  };
  kit.unit = (units, what) => (UNITS[units] || UNITS.metric)[what];

  // Three figures, or as many decimals as given; a true minus sign.
  kit.number = function (value, digits) {
    if (digits === undefined) {
      const size = Math.abs(value);
      digits = size === 0 ? 0 : Math.max(0, Math.min(4, 2 - Math.floor(Math.log10(size))));
    }
    const text = value.toFixed(digits);
    return Number(text) === 0 ? text.replace("-", "") : text.replace("-", "−");
  };

  // The next lower of 1, 2, 5, 10, ... : a step for ticks.
  kit.step = function (span, count) {
    const rough = span / count;
    const power = Math.pow(10, Math.floor(Math.log10(rough)));
    const nice = [1, 2, 5, 10].find((s) => s * power >= rough * (1 - 1e-9));
    return nice * power;
  };

  kit.ticks = function (low, high, count) {
    const step = kit.step(high - low, count);
    const out = [];
    for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k++) {
      out.push(Number((k * step).toPrecision(12)));
    }
    return out;
  };

  function fill(element, attributes, children) {
    for (const [name, value] of Object.entries(attributes || {})) {
      if (value === null || value === undefined || value === false) continue;
      if (name === "text") element.textContent = value;
      else if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
      else element.setAttribute(name, value === true ? "" : value);
    }
    for (const child of children || []) if (child) element.append(child);
    return element;
  }
  kit.html = (tag, attributes, ...children) =>
    fill(document.createElement(tag), attributes, children);
  kit.svg = (tag, attributes, ...children) =>
    fill(document.createElementNS(SVG, tag), attributes, children);

  let count = 0;
  kit.id = (word) => `wv-${word}-${++count}`;

  // Arcs that burn at a time, and what to call the time otherwise.
  kit.phase = function (data, time) {
    const lit = (a) => a.start <= time && (time < a.end || a.burning);
    const on = data.arcs.filter(lit).map((a) => a.name);
    if (on.length) return `arc on: ${on.join(", ")}`;
    if (!data.arcs.length || time < data.arcs[0].start) return "before the first arc";
    const more = data.arcs.some((a) => a.start > time) || data.arcs.length < data.welds.length;
    return more ? "pause" : "cooling";
  };
})();
