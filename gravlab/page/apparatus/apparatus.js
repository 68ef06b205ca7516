// The virtual apparatus beside a lab. All numbers come from the Go models,
// compiled to WebAssembly; this file only draws them and passes settings on.

const svgNS = "http://www.w3.org/2000/svg";

let loading; // one program serves every scene of a page

// load starts the Go program once.
export function load(base) {
  loading ??= (async () => {
    await new Promise((resolve, reject) => {
      const script = document.createElement("script");
      script.src = base + "wasm_exec.js";
      script.onload = resolve;
      script.onerror = () => reject(new Error("its starting script could not be loaded"));
      document.head.append(script);
    });
    const go = new globalThis.Go();
    const bytes = await (await fetch(base + "apparatus.wasm")).arrayBuffer();
    const { instance } = await WebAssembly.instantiate(bytes, go.importObject);
    go.run(instance); // never returns while the page lives
    while (!globalThis.gravlabApparatus) await new Promise((r) => setTimeout(r, 5));
    return JSON.parse(globalThis.gravlabApparatus());
  })();
  return loading;
}

function element(name, attributes = {}, ...children) {
  const e = document.createElement(name);
  for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
  e.append(...children);
  return e;
}

function shape(s) {
  const p = s.points;
  const make = (name, attributes) => {
    const e = document.createElementNS(svgNS, name);
    for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
    e.setAttribute("class", "a-" + (s.role || "plain") + (s.kind === "text" ? " a-text" : ""));
    return e;
  };
  switch (s.kind) {
    case "circle":
      return make("circle", { cx: p[0], cy: p[1], r: s.r });
    case "line":
      return make("line", { x1: p[0], y1: p[1], x2: p[2], y2: p[3] });
    case "arrow": {
      const e = make("line", { x1: p[0], y1: p[1], x2: p[2], y2: p[3] });
      e.setAttribute("marker-end", "url(#a-tip)");
      return e;
    }
    case "box":
      return make("rect", {
        x: Math.min(p[0], p[2]), y: Math.min(p[1], p[3]),
        width: Math.abs(p[2] - p[0]), height: Math.abs(p[3] - p[1]),
      });
    case "path": {
      const pairs = [];
      for (let i = 0; i + 1 < p.length; i += 2) pairs.push(p[i] + "," + p[i + 1]);
      return make("polyline", { points: pairs.join(" ") });
    }
    default: {
      const e = make("text", { x: p[0], y: p[1] });
      e.textContent = s.text;
      return e;
    }
  }
}

// between is the value of a drag at a place.
function between({ places, values }, place) {
  let i = 1;
  while (i < places.length - 1 && places[i] < place) i++;
  const share = Math.min(1, Math.max(0, (place - places[i - 1]) / (places[i] - places[i - 1])));
  return values[i - 1] + share * (values[i] - values[i - 1]);
}

// drags lets a pointer on the picture set what lies there: at once where it goes down, and as it
// moves. all() are the drags of the state that is shown; put sets a control or the time.
function drags(picture, all, put) {
  const at = (event) => new DOMPoint(event.clientX, event.clientY).matrixTransform(picture.getScreenCTM().inverse());
  const under = ({ x, y }) => all().find(({ area: [left, top, right, bottom] }) => x >= left && x <= right && y >= top && y <= bottom);
  const value = (drag, place) => between(drag, drag.down ? place.y : place.x);
  let held; // the place of the drag in the list
  picture.style.touchAction = "pan-y";
  picture.addEventListener("pointerdown", (event) => {
    const drag = under(at(event));
    if (!drag || event.button !== 0 || (drag.down && event.pointerType === "touch")) return; // a finger that goes down scrolls the page
    picture.setPointerCapture(event.pointerId);
    held = all().indexOf(drag);
    put(drag.control, value(drag, at(event)));
  });
  picture.addEventListener("pointermove", (event) => {
    const place = at(event), drag = held === undefined ? under(place) : all()[held];
    picture.style.cursor = !drag ? "" : drag.down ? "ns-resize" : "ew-resize";
    if (held !== undefined && drag) put(drag.control, value(drag, place));
  });
  for (const over of ["pointerup", "pointercancel", "lostpointercapture"]) picture.addEventListener(over, () => { held = undefined; });
}

// mount shows the scene of a lab in an element. It returns false where the lab
// has none. keep(name, text) puts a recording where the lab's code finds it; without it
// none is offered.
export async function mount(host, lab, base, keep) {
  let scenes;
  try {
    scenes = await load(base);
  } catch (err) {
    host.replaceChildren(element("p", { role: "status" }, "The apparatus could not be started: " + err.message));
    return false;
  }
  const scene = scenes.find((s) => s.labs.includes(lab));
  if (!scene) return false;

  const moves = scene.speed > 0;
  const set = Object.fromEntries(scene.controls.map((c) => [c.id, c.start]));
  let time = 0;
  let running = moves && !matchMedia("(prefers-reduced-motion: reduce)").matches;
  let last;

  const picture = document.createElementNS(svgNS, "svg");
  picture.setAttribute("role", "img");
  const problem = element("p", { class: "a-problem", role: "alert" });
  const numbers = element("dl", { class: "a-numbers" });
  const says = element("p", { class: "a-says", "aria-live": "polite" });
  const controls = element("div", { class: "a-controls" });
  const buttons = element("div", { class: "a-buttons" });

  for (const c of scene.controls) {
    const id = `a-${scene.id}-${c.id}`;
    const input = c.choices
      ? element("select", { id }, ...c.choices.map((name, i) => element("option", { value: i }, name)))
      : element("input", { type: "range", id, min: c.min, max: c.max, step: c.step });
    input.value = c.start;
    const value = element("output", { for: id });
    const write = () => {
      if (c.choices) return;
      value.textContent = `${input.value.replace("-", "−")}${c.unit === "°" ? "" : " "}${c.unit}`.trim();
      input.setAttribute("aria-valuetext", value.textContent);
    };
    input.addEventListener("input", () => {
      set[c.id] = Number(input.value);
      write();
      draw(true);
    });
    write();
    controls.append(element("label", { for: id }, c.label.replace(/ (\S{1,2})$/, "\u00a0$1")), input, value);
  }

  let reach = []; // what can be dragged now
  const draggable = element("p", { class: "a-note" });
  drags(picture, () => reach, (control, value) => {
    if (control === "time") {
      running = false;
      time = value;
      showToggle();
      draw(true);
      return;
    }
    const input = controls.querySelector(`#a-${scene.id}-${control}`);
    input.value = value; // the slider keeps its steps
    input.dispatchEvent(new Event("input"));
  });
  let toggle;
  if (moves) {
    toggle = element("button", { type: "button" });
    const step = element("button", { type: "button" }, "Step");
    const again = element("button", { type: "button" }, "From the start");
    toggle.addEventListener("click", () => { if (over) time = 0; over = false; running = !running; last = undefined; showToggle(); draw(true); if (running) requestAnimationFrame(frame); });
    step.addEventListener("click", () => { running = false; showToggle(); time += scene.speed * 0.25; draw(true); });
    again.addEventListener("click", () => { time = 0; over = false; draw(true); });
    buttons.append(toggle, step, again);
  }
  const kept = element("p", { class: "a-note", role: "status" });
  if (scene.record && keep) {
    const take = element("button", { type: "button" }, "Take this record");
    take.addEventListener("click", async () => {
      take.disabled = true;
      const { csv, error } = JSON.parse(globalThis.gravlabApparatus(scene.id, JSON.stringify(set), time, "record"));
      const name = `apparatus-${scene.id}.csv`;
      try {
        if (error) throw new Error(error);
        await keep(name, csv);
        kept.replaceChildren("A practice record of ", csv.split("\n").length - 2, " readings is kept. In a box: ", element("code", {}, `rec := sheet.OwnRecording("${name}")`), ". It is not your sheet's own, and no question is about it.");
      } catch (e) {
        kept.textContent = "Not taken: " + e.message + ".";
      }
      take.disabled = false;
    });
    buttons.append(take);
  }
  function showToggle() { if (toggle) toggle.textContent = running ? "Pause" : "Move"; }

  // draw works the scene out and shows it. Speech follows settings and steps,
  // not every frame.
  let shown, still = 0, over = false; // still: for how long nothing has changed (ms); over: it has come to its end
  function draw(speak) {
    const text = globalThis.gravlabApparatus(scene.id, JSON.stringify(set), time);
    if (text !== shown) still = 0;
    shown = text;
    const state = JSON.parse(text);
    host.dataset.time = time;
    if (state.error) {
      problem.textContent = state.error;
      return;
    }
    problem.textContent = "";
    reach = state.drags ?? [];
    const names = new Set(reach.map(({ control }) => scene.controls.find((c) => c.id === control)?.label ?? "time"));
    draggable.textContent = names.size ? `In the picture you can drag: ${[...names].join("; ")}.` : "";
    picture.setAttribute("viewBox", state.view.join(" "));
    picture.style.setProperty("--line", state.view[2] / 400);
    const tip = document.createElementNS(svgNS, "defs");
    tip.innerHTML = '<marker id="a-tip" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="5" markerHeight="5" orient="auto"><path d="M0 0 L8 4 L0 8 z"/></marker>';
    picture.replaceChildren(tip, ...state.shapes.map(shape), ...state.shapes.filter((s) => s.kind === "circle" && s.text).map((s) =>
      shape({ kind: "text", points: [s.points[0], s.points[1] + 4 * state.view[2] / 400], text: s.text })));
    if (numbers.children.length !== 2 * state.numbers.length) {
      numbers.replaceChildren(...state.numbers.flatMap((n) => [element("dt", {}, n.label), element("dd", { "data-id": n.id })]));
    }
    state.numbers.forEach((n, i) => {
      const dd = numbers.children[2 * i + 1];
      numbers.children[2 * i].textContent = n.label;
      dd.textContent = n.text;
      dd.dataset.id = n.id;
      dd.dataset.value = n.value;
    });
    picture.setAttribute("aria-label", `${scene.title}. ${state.says}`);
    if (speak) says.textContent = state.says;
  }

  function frame(now) {
    if (!running || !host.isConnected) return;
    const passed = last === undefined ? 0 : Math.min(now - last, 100);
    time += (scene.speed * passed) / 1000;
    still += passed;
    last = now;
    draw(false);
    if (still > 2500) {
      running = false;
      over = true;
      still = 0;
      showToggle();
      return;
    }
    requestAnimationFrame(frame);
  }

  host.replaceChildren(
    element("h2", { class: "a-title" }, scene.title), picture, draggable, buttons, kept, problem, controls, numbers, says,
    element("p", { class: "a-note" }, scene.note));
  host.dataset.scene = scene.id;
  showToggle();
  draw(true);
  if (running) requestAnimationFrame(frame);
  return true;
}
