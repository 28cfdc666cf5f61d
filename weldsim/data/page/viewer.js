// weldsimView(element, data): a welded part in three dimensions that one turns, zooms and runs
// through time, with the target of its light pointer beside it. `data` is what
// weldsim.viewer.scene_data gives. Needs three.min.js, viewer_kit.js, viewer_sketch.js, viewer_target.js,
// viewer_scene.js, viewer_overlay.js and viewer_chart.js before it. Asks nothing of any server.
(function () {
  "use strict";
  const kit = window.weldsimKit;
  const FINE = 1000; // steps of the time slider
  const WARPS = [0, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000];
  const SECONDS = 24; // that a whole run plays for

  // Returns {setTime, setWarp, setField, setUnits, play, pause, onTime, update, time, destroy}.
  // Times are seconds since the first arc started.
  window.weldsimView = function (element, data, options) {
    const set = { time: 0, warp: data.warp, field: data.complete ? "displacement" : "temperature",
      units: "metric", outline: true, welds: true, playing: false, speed: 1, chart: true, ...options };
    const listeners = [];
    const id = { time: kit.id("time"), warp: kit.id("warp"), field: kit.id("field"),
      help: kit.id("help") };
    const ui = build();
    element.classList.add("wv");
    element.replaceChildren(ui.root);

    let touched = false;
    let scene = null, overlay = null, targets = [], chart = null, last = null, pending = false;
    try {
      scene = window.weldsimScene(ui.canvas, data.up);
      overlay = window.weldsimOverlay(ui.over, scene);
    } catch (error) {
      ui.stage.replaceChildren(kit.html("p", { class: "wv-none", text:
        "This browser cannot draw in three dimensions (WebGL is off). "
        + "The pictures and plots of the report show the same run." }));
    }

    function build() {
      const canvas = kit.html("canvas", { "aria-hidden": "true" });
      const over = kit.svg("svg", { class: "wv-over", "aria-hidden": "true" });
      const bar = kit.html("div", { class: "wv-legend" });
      const tip = kit.html("div", { class: "wv-tip", hidden: true });
      const readout = kit.html("p", { class: "wv-readout" });
      const stage = kit.html("div", { class: "wv-stage", tabindex: 0, role: "group",
        "aria-roledescription": "three-dimensional view", "aria-describedby": id.help },
        canvas, over, tip);
      const help = kit.html("p", { class: "wv-small wv-help", id: id.help, text:
        "Drag to turn, Shift and drag to move. Click, then wheel or + and − to zoom, "
        + "arrow keys to turn, 0 for the whole part, space to play." });
      const play = kit.html("button", { type: "button", class: "wv-play", text: "Play",
        onclick: () => (set.playing ? api.pause() : api.play()) });
      const slider = kit.html("input", { type: "range", id: id.time, min: 0, max: FINE, step: 1,
        class: "wv-time", oninput: () => { api.pause(); show(timeOf(slider.value / FINE)); } });
      const speeds = kit.html("select", { "aria-label": "Speed", class: "wv-speed", onchange: (e) => { set.speed = Number(e.target.value); } },
        ...[[0.25, "¼ speed"], [0.5, "½ speed"], [1, "1 × speed"], [2, "2 × speed"], [4, "4 × speed"]].map(([v, t]) =>
          kit.html("option", { value: v, selected: v === set.speed, text: t })));
      const whole = kit.html("button", { type: "button", class: "wv-whole", text: "Full screen", onclick: fullScreen });
      const strip = kit.svg("svg", { class: "wv-strip", "aria-hidden": "true",
        preserveAspectRatio: "none", viewBox: `0 0 ${FINE} 10` });
      const warp = kit.html("input", { type: "range", id: id.warp, min: 0, max: WARPS.length - 1,
        step: 1, oninput: () => api.setWarp(WARPS[warp.value]) });
      const warpWord = kit.html("output", { for: id.warp });
      const fields = [["temperature", "temperature"], ["displacement", "movement"]].map(
        ([value, word]) => kit.html("label", {}, kit.html("input", { type: "radio", name: id.field,
          value, onchange: () => api.setField(value) }), ` ${word}`));
      const check = (word, key) => kit.html("label", {}, kit.html("input", { type: "checkbox",
        checked: set[key], onchange: (e) => { set[key] = e.target.checked; paint(); } }), ` ${word}`);
      const targets = kit.html("div", { class: "wv-targets" });
      const chart = kit.html("div", { class: "wv-chart" });
      const player = kit.html("div", { class: "wv-row wv-player" }, play,
        kit.html("div", { class: "wv-track" },
          kit.html("label", { for: id.time, class: "wv-hide", text: "Time" }), slider, strip), speeds, whole);
      const controls = kit.html("div", { class: "wv-controls" },
        kit.html("div", { class: "wv-row wv-options" },
          kit.html("fieldset", {}, kit.html("legend", { text: "Colours" }), ...fields),
          kit.html("div", {}, kit.html("label", { for: id.warp, text: "Movement drawn " }), warpWord,
            kit.html("br"), warp),
          kit.html("div", {}, check("shape before welding", "outline"), kit.html("br"),
            check("welds and clamps", "welds")),
          kit.html("div", { class: "wv-eyes" },
            kit.html("button", { type: "button", text: "Whole part", onclick: () => look(false) }),
            kit.html("button", { type: "button", text: "Welds", "aria-label": "Close to the welds",
              onclick: () => look(true) }))));
      const root = kit.html("div", { class: "wv-root" },
        kit.html("div", { class: "wv-main" },
          kit.html("div", { class: "wv-left" }, readout, stage, player, bar), kit.html("div", { class: "wv-beside" }, targets, chart)),
        controls, help);
      return { chart, whole, root, canvas, over, bar, tip, readout, stage, play, slider, strip, warp, warpWord,
        fields, targets, controls };
    }

    function fullScreen() {
      if (document.fullscreenElement) document.exitFullscreen();
      else if (element.requestFullscreen) element.requestFullscreen().catch(() => { ui.whole.disabled = true; });
    }
    const screened = () => { ui.whole.textContent = document.fullscreenElement === element ? "Leave full screen" : "Full screen"; };
    document.addEventListener("fullscreenchange", screened);

    function look(near) {
      if (!scene) return;
      touched = near;
      if (near) scene.near(data.welds.flatMap((w) => w.points));
      else scene.home();
      paint();
    }

    // The slider goes by frames, which lie close while an arc burns, not by the clock.
    const timeOf = (share) => {
      const at = share * (data.times.length - 1), k = Math.min(Math.floor(at), data.times.length - 2);
      if (k < 0) return data.times[0];
      return data.times[k] + (at - k) * (data.times[k + 1] - data.times[k]);
    };
    const shareOf = (time) => {
      const [k, s] = kit.place(data.times, time);
      return data.times.length < 2 ? 0 : (k + s) / (data.times.length - 1);
    };

    function load(record, keep) {
      const followed = !keep || set.time >= data.times[data.times.length - 1] - 1e-9;
      if (keep && set.warp === data.warp) set.warp = record.warp; // grows with the run until one is chosen
      data = record;
      if (scene) { scene.load(data); overlay.load(data); }
      ui.stage.setAttribute("aria-label", `${data.title}: part with ${data.welds.length} welds`);
      ui.strip.replaceChildren(...data.arcs.map((a) => kit.svg("rect", {
        x: FINE * shareOf(a.start), y: 1, height: 8, fill: a.colour,
        width: Math.max(3, FINE * (shareOf(a.end) - shareOf(a.start))) })));
      targets = data.pointers.map((pointer) => {
        const place = kit.html("div", { class: "wv-target" });
        ui.targets.append(place);
        return [place, window.weldsimTarget(place, pointer, data, set.units)];
      });
      ui.targets.replaceChildren(...targets.map(([place]) => place));
      targets = targets.map(([, target]) => target);
      ui.chart.hidden = !set.chart || data.times.length < 2;
      chart = ui.chart.hidden ? null : window.weldsimChart(ui.chart, data, set.units, shareOf);
      element.classList.toggle("wv-alone", !targets.length && !chart);
      set.time = followed ? data.times[data.times.length - 1] : set.time;
      legend();
      last = null;
      show(set.time);
    }

    function legend() {
      ui.bar.replaceChildren(window.weldsimColourBar(data, set.field, set.units));
      for (const label of ui.fields) {
        label.firstChild.checked = label.firstChild.value === set.field;
      }
      const step = WARPS.reduce((b, w, i) =>
        (Math.abs(w - set.warp) < Math.abs(WARPS[b] - set.warp) ? i : b), 0);
      ui.warp.value = step;
      const word = set.warp === 1 ? "true to size" : set.warp === 0 ? "not at all"
        : `exaggerated ${kit.number(set.warp, set.warp < 10 ? undefined : 0).replace(/\.0+$/, "")} times`;
      ui.warpWord.textContent = word;
      ui.warp.setAttribute("aria-valuetext", word);
    }

    function show(time) {
      set.time = Math.max(data.times[0], Math.min(time, data.times[data.times.length - 1]));
      const phase = kit.phase(data, set.time), clock = kit.number(set.time, set.time < 100 ? 1 : 0);
      ui.slider.value = Math.round(FINE * shareOf(set.time));
      ui.slider.setAttribute("aria-valuetext", `${clock} seconds, ${phase}`);
      ui.readout.replaceChildren(kit.html("strong", { text: `${clock} s` }), ` ${phase}`,
        kit.html("span", { class: "wv-warp-note", text: ` · movement drawn ${ui.warpWord.textContent}` }));
      for (const target of targets) target.setTime(set.time);
      if (chart) chart.setTime(set.time);
      paint();
      for (const tell of listeners) tell(set.time);
    }

    // At most one drawing a frame of the screen.
    function paint() {
      if (!scene || pending) return;
      pending = true;
      requestAnimationFrame(now);
    }
    function now() {
      pending = false;
      if (!scene) return;
      if (last !== set.time) scene.time(set.time);
      last = set.time;
      scene.paint(set.field);
      scene.warp(set.warp);
      scene.outline(set.outline);
      scene.draw();
      overlay.draw(set.time, set.welds);
    }

    function step(stamp) {
      if (!set.playing) return;
      const passed = step.before === undefined ? 0 : (stamp - step.before) / 1000;
      step.before = stamp;
      const share = shareOf(set.time) + (set.speed * passed) / SECONDS;
      show(timeOf(Math.min(share, 1)));
      if (share >= 1) api.pause();
      else requestAnimationFrame(step);
    }

    const api = {
      setTime(seconds) { show(Number(seconds)); },
      setWarp(x) { set.warp = Math.max(0, Number(x) || 0); legend(); show(set.time); },
      setField(name) {
        if (!(name in data.ranges)) throw new RangeError(`field ${name}: temperature or displacement`);
        set.field = name;
        legend();
        paint();
      },
      setUnits(word) {
        set.units = word === "us" ? "us" : "metric";
        for (const target of targets) target.setUnits(set.units);
        if (chart) chart.setUnits(set.units);
        legend();
      },
      play() {
        if (set.playing) return;
        if (shareOf(set.time) >= 1) show(data.times[0]);
        set.playing = true;
        step.before = undefined;
        ui.play.textContent = "Pause";
        requestAnimationFrame(step);
      },
      pause() { set.playing = false; ui.play.textContent = "Play"; },
      onTime(callback) { listeners.push(callback); },
      // New data of the same run, longer than before: eye and settings stay; a view that stood at
      // the end follows it.
      update(record) { load(record, record.title === data.title); },
      get time() { return set.time; },
      get targets() { return targets; },
      destroy() {
        api.pause();
        watch.disconnect();
        window.removeEventListener("beforeprint", printing);
        document.removeEventListener("fullscreenchange", screened);
        if (scene) scene.free();
        scene = null; // what was asked for the next frame of the screen finds nothing to draw
        element.replaceChildren();
      },
    };

    const watch = new ResizeObserver(() => {
      // on paper the picture only shrinks with its shape kept: nothing to draw anew
      if (!scene || window.matchMedia("print").matches) return;
      scene.scale = parseFloat(getComputedStyle(element).fontSize) / 15 || 1; // larger words on a large screen
      if (touched) scene.fit();
      else scene.home(); // the whole part again, unless somebody has turned or zoomed it
      paint();
    });
    watch.observe(ui.stage);
    if (scene) {
      scene.controls.addEventListener("start", () => { touched = true; });
      scene.controls.addEventListener("change", paint);
      ui.stage.addEventListener("focus", () => { scene.controls.enableZoom = true; });
      ui.stage.addEventListener("blur", () => { scene.controls.enableZoom = false; });
      ui.canvas.addEventListener("pointerdown", () => ui.stage.focus({ preventScroll: true }));
      ui.canvas.addEventListener("pointermove", hover);
      ui.canvas.addEventListener("pointerleave", () => { ui.tip.hidden = true; });
    }
    ui.stage.addEventListener("keydown", (event) => {
      const keys = { ArrowLeft: () => scene.turn(-0.09, 0), ArrowRight: () => scene.turn(0.09, 0),
        ArrowUp: () => scene.turn(0, -0.09), ArrowDown: () => scene.turn(0, 0.09),
        "+": () => scene.zoom(1.15), "=": () => scene.zoom(1.15), "-": () => scene.zoom(1 / 1.15),
        0: () => scene.home(), Home: () => scene.home(),
        " ": () => (set.playing ? api.pause() : api.play()) };
      if (!scene || !keys[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      touched = event.key !== "0" && event.key !== "Home" && (touched || event.key !== " ");
      keys[event.key]();
      paint();
    });
    const printing = () => now();
    window.addEventListener("beforeprint", printing);

    // Temperature and movement under the mouse.
    function hover(event) {
      ui.tip.hidden = true;
      if (event.buttons) return;
      const box = ui.canvas.getBoundingClientRect();
      const x = event.clientX - box.left, y = event.clientY - box.top;
      const found = scene.pick(x, y);
      if (!found) return;
      const heat = kit.unit(set.units, "temperature"), size = kit.unit(set.units, "length");
      ui.tip.textContent = `${kit.number(heat.from(found.temperature), 0)} ${heat.word}, moved `
        + `${kit.number(size.from(found.moved))} ${size.word}`;
      ui.tip.style.left = `${Math.min(x + 14, box.width - 150)}px`;
      ui.tip.style.top = `${Math.max(y - 30, 2)}px`;
      ui.tip.hidden = false;
    }

    load(data, false);
    return api;
  };
})();
