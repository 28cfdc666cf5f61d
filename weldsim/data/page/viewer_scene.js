// The part itself: skin, sharp edges and outline in WebGL, with a camera that turns about it.
(function () {
  "use strict";
  const kit = window.weldsimKit;
  const NEVER = 65535;
  const VERTEX = `
    attribute vec3 move; attribute float share; uniform float warp;
    varying float paint; varying vec3 built;
    void main() {
      paint = share;
      built = (modelViewMatrix * vec4(position, 1.0)).xyz;
      gl_Position = projectionMatrix * modelViewMatrix * vec4(position + warp * move, 1.0);
    }`;
  // Light as on the part as built: exaggerated movement would crease the faces.
  const SKIN = `
    uniform sampler2D map; varying float paint; varying vec3 built;
    void main() {
      vec3 normal = normalize(cross(dFdx(built), dFdy(built)));
      float light = 0.70 + 0.34 * abs(dot(normal, normalize(vec3(0.25, 0.45, 0.85))));
      vec3 colour = texture2D(map, vec2(clamp(paint, 0.002, 0.998), 0.5)).rgb;
      gl_FragColor = vec4(min(light, 1.0) * colour, 1.0);
    }`;
  const LINE = "uniform vec3 colour; void main() { gl_FragColor = vec4(colour, 1.0); }";

  const rgb = (hex) => [1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16));

  function ramp(colours) {
    const n = 256, bytes = new Uint8Array(4 * n), stops = colours.map(rgb);
    for (let i = 0; i < n; i++) {
      const at = (i / (n - 1)) * (stops.length - 1), k = Math.min(Math.floor(at), stops.length - 2);
      for (let c = 0; c < 3; c++) {
        bytes[4 * i + c] = Math.round(stops[k][c] + (at - k) * (stops[k + 1][c] - stops[k][c]));
      }
      bytes[4 * i + 3] = 255;
    }
    const map = new THREE.DataTexture(bytes, n, 1);
    map.minFilter = map.magFilter = THREE.LinearFilter;
    map.needsUpdate = true;
    return map;
  }

  // weldsimScene(canvas, up) -> scene, or throws where the browser has no WebGL; `up` such as "-y" is
  // up in the workshop and in the picture
  window.weldsimScene = function (canvas, up) {
    const renderer = new THREE.WebGLRenderer({ canvas, antialias: true, preserveDrawingBuffer: true });
    renderer.setClearColor(0xffffff, 1);
    const scene = new THREE.Scene();
    const camera = new THREE.OrthographicCamera(-1, 1, 1, -1, 0.1, 10);
    const word = up || "+z", sign = word[0] === "-" ? -1 : 1;
    camera.up.set(...["x", "y", "z"].map((axis) => (axis === word[1] ? sign : 0)));
    const controls = new THREE.OrbitControls(camera, canvas);
    controls.enableZoom = false; // until the view has been clicked, the wheel belongs to the page
    const warp = { value: 1 };
    const map = { value: null };
    const stuff = (fragment, more) => new THREE.ShaderMaterial({
      vertexShader: VERTEX, fragmentShader: fragment, side: THREE.DoubleSide, ...more });
    const skinStuff = stuff(SKIN, { uniforms: { warp, map }, polygonOffset: true,
      polygonOffsetFactor: 1, polygonOffsetUnits: 1 });
    const colour = (hex) => ({ value: new THREE.Vector3(...rgb(hex).map((v) => v / 255)) });
    const edgeStuff = stuff(LINE, { uniforms: { warp, colour: colour(kit.paint("ink")) } });
    const outlineStuff = stuff(LINE, { uniforms: { warp: { value: 0 }, colour: colour(kit.paint("faint")) } });
    const skin = new THREE.Mesh(new THREE.BufferGeometry(), skinStuff);
    const edges = new THREE.LineSegments(new THREE.BufferGeometry(), edgeStuff);
    const outline = new THREE.LineSegments(new THREE.BufferGeometry(), outlineStuff);
    for (const thing of [skin, edges, outline]) {
      thing.frustumCulled = false;
      scene.add(thing);
    }
    let data, points, faces, lines, moves, heats, moved, heat, reach = 1, shown = -1;
    const maps = {};
    const self = { camera, controls, renderer, onDraw: null };

    self.load = function (record) {
      const fresh = !data || data.points !== record.points;
      data = record;
      points = kit.array(data.points, Float32Array);
      const table = (t) => ({ index: kit.array(t.index, Uint32Array),
        on: kit.array(t.on, Uint16Array), off: kit.array(t.off, Uint16Array) });
      faces = table(data.faces);
      lines = table(data.edges);
      moves = data.move.map((m) => kit.array(m, Int16Array));
      heats = data.heat.map((h) => kit.array(h, Uint16Array));
      moved = new Float32Array(points.length);
      heat = new Float32Array(points.length / 3);
      for (const thing of [skin, edges, outline]) {
        thing.geometry.dispose();
        thing.geometry = new THREE.BufferGeometry();
        thing.geometry.setAttribute("position", new THREE.BufferAttribute(points, 3));
      }
      const move = new THREE.BufferAttribute(moved, 3);
      const share = new THREE.BufferAttribute(new Float32Array(heat.length), 1);
      for (const thing of [skin, edges]) {
        thing.geometry.setAttribute("move", move);
        thing.geometry.setAttribute("share", share);
      }
      outline.geometry.setIndex(
        new THREE.BufferAttribute(kit.array(data.outline, Uint32Array), 1));
      for (const [name, list] of Object.entries(data.colours)) maps[name] ||= ramp(list);
      shown = -1;
      if (fresh) self.home();
    };

    // Eye and frame as at the beginning.
    self.home = function () {
      const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
      for (let i = 0; i < points.length; i++) {
        low[i % 3] = Math.min(low[i % 3], points[i]);
        high[i % 3] = Math.max(high[i % 3], points[i]);
      }
      const size = high.map((v, k) => v - low[k]);
      const middle = high.map((v, k) => (v + low[k]) / 2);
      reach = 0.5 * Math.hypot(...size);
      camera.near = 0.1 * reach;
      camera.far = 40 * reach;
      const eye = new THREE.Vector3(...data.view).normalize().multiplyScalar(20 * reach);
      controls.target.set(...middle);
      camera.position.copy(controls.target).add(eye);
      camera.zoom = 1;
      self.fit();
      controls.update();
      camera.zoom = Math.min(self.filling(low, high), 6);
      camera.updateProjectionMatrix();
    };

    // The same eye, close to some places of the part.
    self.near = function (places) {
      const list = places.length ? places : [[0, 0, 0]];
      const low = [0, 1, 2].map((k) => Math.min(...list.map((p) => p[k])));
      const high = [0, 1, 2].map((k) => Math.max(...list.map((p) => p[k])));
      const middle = new THREE.Vector3(...low.map((v, k) => (v + high[k]) / 2));
      camera.position.add(middle).sub(controls.target);
      controls.target.copy(middle);
      camera.zoom = 1;
      camera.updateProjectionMatrix();
      controls.update();
      camera.zoom = Math.max(1, Math.min(12, 0.75 * self.filling(low, high)));
      camera.updateProjectionMatrix();
    };

    // How much nearer the corners of the part's box may come before they leave the picture.
    self.filling = function (low, high) {
      camera.updateMatrixWorld();
      let most = 1e-6;
      for (let c = 0; c < 8; c++) {
        const corner = new THREE.Vector3(c & 1 ? high[0] : low[0], c & 2 ? high[1] : low[1],
          c & 4 ? high[2] : low[2]).project(camera);
        most = Math.max(most, Math.abs(corner.x), Math.abs(corner.y));
      }
      return 0.86 / most;
    };

    self.fit = function () {
      const box = canvas.parentElement.getBoundingClientRect();
      const width = Math.max(box.width, 10), height = Math.max(box.height, 10);
      self.width = width;
      self.height = height;
      canvas.parentElement.style.setProperty("--wv-shape", width / height);
      renderer.setPixelRatio(Math.max(window.devicePixelRatio || 1, 1.5));
      renderer.setSize(width, height, false);
      const half = 1.08 * reach;
      const across = Math.max(1, width / height), tall = Math.max(1, height / width);
      camera.left = -half * across;
      camera.right = half * across;
      camera.top = half * tall;
      camera.bottom = -half * tall;
      camera.updateProjectionMatrix();
    };

    // Fields at a time, straight between frames; metal as laid in the frame before.
    self.time = function (seconds) {
      const [i, share] = kit.place(data.times, seconds);
      const j = Math.min(i + 1, moves.length - 1), unit = data.move_unit;
      const a = moves[i], b = moves[j], p = heats[i], q = heats[j];
      for (let k = 0; k < moved.length; k++) moved[k] = unit * (a[k] + share * (b[k] - a[k]));
      for (let k = 0; k < heat.length; k++) {
        heat[k] = data.heat_from + data.heat_unit * (p[k] + share * (q[k] - p[k]));
      }
      skin.geometry.attributes.move.needsUpdate = true;
      if (i !== shown) {
        skin.geometry.setIndex(new THREE.BufferAttribute(triangles(i), 1));
        edges.geometry.setIndex(new THREE.BufferAttribute(segments(i), 1));
        shown = i;
      }
    };

    const shows = (table, k, i) => table.on[k] <= i && (table.off[k] === NEVER || i < table.off[k]);

    function triangles(i) {
      const n = data.corners, out = [];
      for (let k = 0; k < faces.on.length; k++) {
        if (!shows(faces, k, i)) continue;
        const f = faces.index, o = n * k;
        out.push(f[o], f[o + 1], f[o + 2]);
        if (n === 4) out.push(f[o], f[o + 2], f[o + 3]);
      }
      return new Uint32Array(out);
    }

    function segments(i) {
      const out = [];
      for (let k = 0; k < lines.on.length; k++) {
        if (shows(lines, k, i)) out.push(lines.index[2 * k], lines.index[2 * k + 1]);
      }
      return new Uint32Array(out);
    }

    // Share of the colour range of every point: square-root spaced for temperature.
    self.paint = function (field) {
      const out = skin.geometry.attributes.share, [low, high] = data.ranges[field];
      for (let k = 0; k < heat.length; k++) {
        out.array[k] = field === "temperature"
          ? Math.sqrt(Math.max(0, Math.min(1, (heat[k] - low) / (high - low))))
          : Math.hypot(moved[3 * k], moved[3 * k + 1], moved[3 * k + 2]) / high;
      }
      out.needsUpdate = true;
      map.value = maps[field];
    };

    self.warp = (x) => { warp.value = x; };
    self.outline = (on) => { outline.visible = on; };

    self.draw = function () {
      renderer.render(scene, camera);
      if (self.onDraw) self.onDraw();
    };

    // Movement of a point of the skin as drawn, times the warp. [mm]
    self.movement = (near) => [0, 1, 2].map((c) => warp.value * moved[3 * near + c]);

    // Where a place of the part stands on the canvas [px], moved by `by` or as its nearest point.
    self.onCanvas = function (place, near, by) {
      const u = by || self.movement(near);
      const v = new THREE.Vector3(place[0] + u[0], place[1] + u[1], place[2] + u[2]);
      v.project(camera);
      return [0.5 * (v.x + 1) * self.width, 0.5 * (1 - v.y) * self.height, v.z];
    };

    // Some points of the part on the canvas, about so many. [px]
    self.places = function (count) {
      const step = Math.max(1, Math.floor(points.length / 3 / count)), out = [];
      for (let k = 0; 3 * k < points.length; k += step) {
        out.push(self.onCanvas([points[3 * k], points[3 * k + 1], points[3 * k + 2]], k));
      }
      return out;
    };

    // Whether a direction points away from the eye.
    self.away = function (direction) {
      const eye = new THREE.Vector3().subVectors(camera.position, controls.target);
      return eye.dot(new THREE.Vector3(...direction)) < 0;
    };

    // Temperature and movement of the skin near a place on the canvas; null beside the part.
    self.pick = function (x, y) {
      const index = skin.geometry.index.array, seen = new Set(index);
      let best = null;
      for (const k of seen) {
        const at = self.onCanvas([points[3 * k], points[3 * k + 1], points[3 * k + 2]], k);
        const off = Math.hypot(at[0] - x, at[1] - y);
        // of the points close to the mouse the foremost one
        if (off < 14 && (!best || at[2] + 4e-4 * off < best.rank)) {
          best = { rank: at[2] + 4e-4 * off, k };
        }
      }
      if (!best) return null;
      const m = 3 * best.k;
      return { temperature: heat[best.k], moved: Math.hypot(moved[m], moved[m + 1], moved[m + 2]) };
    };

    // Turn by angles [rad], zoom by a factor; for keys.
    self.turn = function (around, over) {
      const away = new THREE.Vector3().subVectors(camera.position, controls.target);
      away.applyAxisAngle(camera.up, around);
      const phi = away.angleTo(camera.up);
      const side = new THREE.Vector3().crossVectors(camera.up, away).normalize();
      away.applyAxisAngle(side, Math.max(0.02, Math.min(Math.PI - 0.02, phi + over)) - phi);
      camera.position.copy(controls.target).add(away);
      controls.update();
    };
    self.zoom = function (factor) {
      camera.zoom = Math.max(0.2, Math.min(60, camera.zoom * factor));
      camera.updateProjectionMatrix();
    };
    self.free = function () {
      controls.dispose();
      for (const thing of [skin, edges, outline]) thing.geometry.dispose();
      for (const texture of Object.values(maps)) texture.dispose();
      renderer.dispose();
      renderer.forceContextLoss(); // browsers lend a page about sixteen
    };
    return self;
  };
})();
