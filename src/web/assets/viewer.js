// The viewer of pictures: original and working copy side by side, moved together. Everything here is display only; nothing
// is sent. Without it both pictures stand on the page as they are.
"use strict";

// --- Where a point of the original lies in the working copy: one affine map, [a b c d e f] as a canvas has it. ---
const times = (m, n) => [
  m[0] * n[0] + m[2] * n[1], m[1] * n[0] + m[3] * n[1],
  m[0] * n[2] + m[2] * n[3], m[1] * n[2] + m[3] * n[3],
  m[0] * n[4] + m[2] * n[5] + m[4], m[1] * n[4] + m[3] * n[5] + m[5],
];
const at = (m, x, y) => [m[0] * x + m[2] * y + m[4], m[1] * x + m[3] * y + m[5]];
function inverse(m) {
  const det = m[0] * m[3] - m[1] * m[2];
  const n = [m[3] / det, -m[1] / det, -m[2] / det, m[0] / det, 0, 0];
  [n[4], n[5]] = at(n, -m[4], -m[5]);
  return n;
}

function mapOf(ops, width, height, copy) {
  let [w, h, m] = [width, height, [1, 0, 0, 1, 0, 0]];
  for (const op of ops) {
    let n = [1, 0, 0, 1, 0, 0];
    if (op.op === "flip") n = [-1, 0, 0, 1, w, 0];
    else if (op.op === "quarter-turns") {
      n = [[0, 1, -1, 0, h, 0], [-1, 0, 0, -1, w, h], [0, -1, 1, 0, 0, w]][op.turns - 1];
      if (op.turns % 2) [w, h] = [h, w];
    } else if (op.op === "rotate") {
      const angle = (op.hundredths / 18000) * Math.PI;
      const [sin, cos] = [Math.sin(angle), Math.cos(angle)];
      const around = (v) => Math.ceil(v - 1e-4);
      const size = [around(w * Math.abs(cos) + h * Math.abs(sin)), around(w * Math.abs(sin) + h * Math.abs(cos))];
      n = times(times([1, 0, 0, 1, size[0] / 2, size[1] / 2], [cos, sin, -sin, cos, 0, 0]), [1, 0, 0, 1, -w / 2, -h / 2]);
      [w, h] = size;
    } else if (op.op === "crop") {
      n = [1, 0, 0, 1, -op.x, -op.y];
      [w, h] = [op.width, op.height];
    } else if (op.op === "resample") {
      // The recipes of the page resample last, so the copy's own size says by how much.
      n = [copy.naturalWidth / w, 0, 0, copy.naturalHeight / h, 0, 0];
      [w, h] = [copy.naturalWidth, copy.naturalHeight];
    }
    m = times(n, m);
  }
  return m;
}

function start(viewer) {
  const views = [...viewer.querySelectorAll("[data-view]")]
    .map((figure) => ({ figure, glass: figure.querySelector(".glass"), img: figure.querySelector("img") }))
    .filter((v) => v.img && v.img.naturalWidth > 0);
  if (views.length === 0) return;
  const original = views.find((v) => v.figure.dataset.view === "original");
  const base = original || views[0];
  for (const v of views) {
    let ops = [];
    try {
      ops = JSON.parse(v.figure.dataset.ops || "[]");
    } catch {
      ops = [];
    }
    v.map = v === base ? [1, 0, 0, 1, 0, 0] : mapOf(ops, base.img.naturalWidth, base.img.naturalHeight, v.img);
    v.back = inverse(v.map);
    v.k = Math.sqrt(Math.abs(v.map[0] * v.map[3] - v.map[1] * v.map[2]));
    v.flip = 1;
    v.pins = [];
  }
  const ppi = original ? Number(viewer.dataset.ppi) || 0 : 0;
  const state = { x: 0, y: 0, s: 1, fit: 1, loupe: false, point: null };
  const pick = { fields: null, ends: [] };

  const zoomOf = (v) => state.s / v.k;
  function paint() {
    for (const v of views) {
      const [px, py] = at(v.map, state.x, state.y);
      const z = zoomOf(v);
      const middle = `translate(${v.glass.clientWidth / 2}px, ${v.glass.clientHeight / 2}px)`;
      v.img.style.transform = `${middle} scale(${v.flip * z}, ${z}) translate(${-px}px, ${-py}px)`;
      v.img.classList.toggle("pixels", z > 3);
      v.glass.classList.toggle("zoomed", state.s > state.fit * 1.01);
      v.pins.forEach((pin, i) => {
        const end = pick.ends[i];
        pin.hidden = !end;
        if (!end) return;
        const [x, y] = onGlass(v, end);
        pin.style.transform = `translate(${x}px, ${y}px)`;
      });
    }
    if (state.loupe) lens();
  }
  // A point of the original on the glass, and back.
  function onGlass(v, [x, y]) {
    const [px, py] = at(v.map, x, y);
    const [cx, cy] = at(v.map, state.x, state.y);
    const z = zoomOf(v);
    return [v.glass.clientWidth / 2 + v.flip * z * (px - cx), v.glass.clientHeight / 2 + z * (py - cy)];
  }
  function under(v, x, y) {
    const [cx, cy] = at(v.map, state.x, state.y);
    const z = zoomOf(v);
    return at(v.back, cx + (x - v.glass.clientWidth / 2) / (v.flip * z), cy + (y - v.glass.clientHeight / 2) / z);
  }
  function whole() {
    state.fit = Math.min(
      ...views.map((v) => v.k * Math.min(v.glass.clientWidth / v.img.naturalWidth, v.glass.clientHeight / v.img.naturalHeight)),
    );
    state.s = state.fit;
    [state.x, state.y] = [base.img.naturalWidth / 2, base.img.naturalHeight / 2];
    paint();
  }
  function zoom(factor, point) {
    const s = Math.min(Math.max(state.s * factor, state.fit), 40);
    const real = s / state.s;
    const [x, y] = point || [state.x, state.y];
    state.x = x - (x - state.x) / real;
    state.y = y - (y - state.y) / real;
    state.s = s;
    keepIn();
    paint();
  }
  function keepIn() {
    state.x = Math.min(Math.max(state.x, 0), base.img.naturalWidth);
    state.y = Math.min(Math.max(state.y, 0), base.img.naturalHeight);
  }
  function pan(v, dx, dy) {
    const z = zoomOf(v);
    const [vx, vy] = [dx / (v.flip * z), dy / z];
    state.x -= v.back[0] * vx + v.back[2] * vy;
    state.y -= v.back[1] * vx + v.back[3] * vy;
    keepIn();
    paint();
  }

  // --- The loupe: the same place in every picture, larger, with millimetres where the scale is known. ---
  const readout = document.createElement("p");
  readout.className = "readout hint";
  function lens() {
    const point = state.point || [state.x, state.y];
    const s = Math.max(state.s * 3, 1.5);
    for (const v of views) {
      const side = v.lens.clientWidth;
      const dense = window.devicePixelRatio || 1;
      v.lens.width = v.lens.height = Math.round(side * dense);
      const pen = v.lens.getContext("2d");
      const z = s / v.k;
      const [px, py] = at(v.map, point[0], point[1]);
      pen.setTransform(dense, 0, 0, dense, 0, 0);
      pen.fillStyle = "#888";
      pen.fillRect(0, 0, side, side);
      pen.imageSmoothingEnabled = z < 3;
      pen.translate(side / 2, side / 2);
      pen.scale(v.flip * z, z);
      pen.drawImage(v.img, -px, -py);
      const [x] = onGlass(v, point);
      v.loupe.classList.toggle("left", x > v.glass.clientWidth / 2);
      const step = ppi && [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50].filter((mm) => (mm * ppi * s) / 25.4 <= side * 0.7).pop();
      v.rule.hidden = !step;
      if (step) {
        v.rule.style.width = `${(step * ppi * s) / 25.4}px`;
        v.rule.textContent = `${step} mm`;
      }
    }
    const mm = (v) => ((v * 25.4) / ppi).toFixed(2);
    readout.textContent = ppi
      ? `From the left ${mm(point[0])} mm, from above ${mm(point[1])} mm of the original.`
      : `From the left ${point[0].toFixed(1)}, from above ${point[1].toFixed(1)} pixels of the original; no scale is set.`;
  }
  function setLoupe(on) {
    state.loupe = on;
    loupeButton.setAttribute("aria-pressed", String(on));
    for (const v of views) {
      v.loupe.hidden = !on;
    }
    readout.hidden = !on;
    paint();
  }

  // --- Buttons. ---
  const bar = viewer.querySelector("[data-viewer-bar]");
  function button(label, act, into) {
    const b = document.createElement("button");
    b.type = "button";
    b.className = "second";
    b.textContent = label;
    b.addEventListener("click", act);
    into.append(b);
    return b;
  }
  button("Zoom in (+)", () => zoom(1.5), bar);
  button("Zoom out (\u2212)", () => zoom(1 / 1.5), bar);
  button("Whole picture (0)", whole, bar);
  const loupeButton = button("Loupe (L)", () => setLoupe(!state.loupe), bar);
  loupeButton.setAttribute("aria-pressed", "false");
  bar.append(readout);
  readout.hidden = true;
  bar.hidden = false;
  viewer.classList.add("live");

  for (const v of views) {
    v.glass.replaceChildren(v.img);
    v.img.draggable = false;
    v.img.style.width = `${v.img.naturalWidth}px`;
    v.img.style.height = `${v.img.naturalHeight}px`;
    v.glass.tabIndex = 0;
    v.glass.setAttribute("role", "group");
    v.glass.setAttribute("aria-label", `${v.figure.querySelector("figcaption b").textContent}: arrows move, plus and minus zoom, 0 the whole, L loupe, F flip, I invert`);
    v.lens = document.createElement("canvas");
    v.rule = document.createElement("span");
    v.rule.className = "lens-rule";
    v.rule.hidden = true;
    v.loupe = document.createElement("div");
    v.loupe.className = "lens";
    v.loupe.hidden = true;
    v.loupe.append(v.lens, v.rule);
    v.glass.append(v.loupe);
    for (let i = 0; i < 2; i += 1) {
      const pin = document.createElement("span");
      pin.className = "pin";
      pin.textContent = String(i + 1);
      pin.hidden = true;
      v.glass.append(pin);
      v.pins.push(pin);
    }
    const tools = document.createElement("p");
    tools.className = "viewer-tools";
    v.setFlip = () => {
      v.flip = -v.flip;
      flip.setAttribute("aria-pressed", String(v.flip < 0));
      said.textContent = v.flip < 0 ? "Shown flipped; the file is not changed." : "";
      paint();
    };
    v.setInvert = () => {
      const on = v.img.classList.toggle("inverted");
      v.lens.classList.toggle("inverted", on);
      invert.setAttribute("aria-pressed", String(on));
    };
    const flip = button("Show flipped (F)", v.setFlip, tools);
    const invert = button("Show inverted (I)", v.setInvert, tools);
    flip.setAttribute("aria-pressed", "false");
    invert.setAttribute("aria-pressed", "false");
    const said = document.createElement("span");
    said.setAttribute("role", "status");
    tools.append(said);
    v.figure.append(tools);
    touch(v);
  }

  // --- Fingers, mouse, wheel, keys. ---
  function place(v, event) {
    const box = v.glass.getBoundingClientRect();
    return [event.clientX - box.left - v.glass.clientLeft, event.clientY - box.top - v.glass.clientTop];
  }
  function touch(v) {
    const down = new Map();
    let moved = 0;
    v.glass.addEventListener("pointerdown", (event) => {
      if (event.button > 0) return;
      down.set(event.pointerId, place(v, event));
      moved = 0;
      if (event.pointerType === "mouse" || state.s > state.fit * 1.01) v.glass.setPointerCapture(event.pointerId);
    });
    v.glass.addEventListener("pointermove", (event) => {
      const now = place(v, event);
      state.point = under(v, now[0], now[1]);
      const before = down.get(event.pointerId);
      if (!before) {
        if (state.loupe) lens();
        return;
      }
      const others = [...down.entries()].filter(([id]) => id !== event.pointerId).map(([, p]) => p);
      if (others.length > 0) {
        const gap = (p) => Math.hypot(p[0] - others[0][0], p[1] - others[0][1]);
        if (gap(before) > 10) zoom(gap(now) / gap(before), under(v, (now[0] + others[0][0]) / 2, (now[1] + others[0][1]) / 2));
      } else {
        pan(v, now[0] - before[0], now[1] - before[1]);
      }
      moved += Math.hypot(now[0] - before[0], now[1] - before[1]);
      down.set(event.pointerId, now);
    });
    v.glass.addEventListener("pointerup", (event) => {
      if (down.delete(event.pointerId) && moved < 6) picked(v, place(v, event));
    });
    v.glass.addEventListener("pointercancel", (event) => down.delete(event.pointerId));
    v.glass.addEventListener("wheel", (event) => {
      // The page scrolls past; only a picture that was pressed, or the control key, zooms.
      if (!event.ctrlKey && document.activeElement !== v.glass) return;
      event.preventDefault();
      const [x, y] = place(v, event);
      zoom(Math.exp(-event.deltaY / 400), under(v, x, y));
    }, { passive: false });
    v.glass.addEventListener("dblclick", (event) => {
      if (!pick.fields) zoom(2, under(v, ...place(v, event)));
    });
    v.glass.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      const step = 0.1 * Math.min(v.glass.clientWidth, v.glass.clientHeight) * (event.shiftKey ? 0.1 : 1);
      const acts = {
        ArrowLeft: () => pan(v, step, 0), ArrowRight: () => pan(v, -step, 0),
        ArrowUp: () => pan(v, 0, step), ArrowDown: () => pan(v, 0, -step),
        "+": () => zoom(1.25), "=": () => zoom(1.25), "-": () => zoom(0.8), 0: whole,
        l: () => setLoupe(!state.loupe), f: v.setFlip, i: v.setInvert,
        Enter: () => picked(v, [v.glass.clientWidth / 2, v.glass.clientHeight / 2]),
        Escape: () => setPick(null),
      };
      const act = acts[event.key.length === 1 ? event.key.toLowerCase() : event.key];
      if (!act) return;
      event.preventDefault();
      state.point = null;
      act();
    });
  }

  // --- Two points for the scale go into the form's fields. ---
  const scale = document.querySelector("[data-scale]");
  const hint = document.createElement("p");
  hint.className = "notice attention";
  hint.setAttribute("role", "status");
  hint.hidden = true;
  bar.before(hint);
  const field = (name) => scale.querySelector(`[name="${name}"]`);
  function setPick(fields) {
    pick.fields = fields;
    viewer.classList.toggle("picking", Boolean(fields));
    hint.hidden = !fields;
    if (fields) hint.textContent = `Press point ${pick.ends.length + 1} of 2 on the scale in the picture. By keyboard: move the cross onto it, then Enter; Escape ends. Zoom in to be exact.`;
  }
  function picked(v, [x, y]) {
    if (!pick.fields) return;
    const point = under(v, x, y);
    if (point[0] < 0 || point[1] < 0 || point[0] > base.img.naturalWidth || point[1] > base.img.naturalHeight) return;
    pick.ends.push(point);
    const [fx, fy] = pick.fields[pick.ends.length - 1];
    field(fx).value = point[0].toFixed(1);
    field(fy).value = point[1].toFixed(1);
    paint();
    if (pick.ends.length < 2) {
      setPick(pick.fields);
      return;
    }
    setPick(null);
    const next = field(fx === "x2" ? "length" : "second_length");
    next.scrollIntoView({ block: "center" });
    next.focus();
    // What stood there was the length of another pair of points.
    next.select();
  }
  if (scale && original) {
    const offer = document.createElement("p");
    offer.className = "acts";
    const begin = (fields) => () => {
      pick.ends = [];
      field("kind").value = "picked";
      setPick(fields);
      viewer.scrollIntoView({ block: "start" });
      original.glass.focus({ preventScroll: true });
      paint();
    };
    button("Pick the two points in the picture", begin([["x1", "y1"], ["x2", "y2"]]), offer);
    button("Pick two points in the other direction", begin([["x3", "y3"], ["x4", "y4"]]), offer);
    scale.querySelector("form").prepend(offer);
  }

  window.addEventListener("resize", whole);
  whole();
}

const viewer = document.querySelector("[data-viewer]");
if (viewer) {
  const loaded = [...viewer.querySelectorAll("img")].map((img) => img.decode().catch(() => undefined));
  Promise.all(loaded).then(() => start(viewer));
}
