// A fit that one can touch: a record, the window of it that is fitted, and what is left, under each
// other. The fit is the Go model's, compiled to WebAssembly; this file draws it and moves the
// window's ends.

import { load } from "./apparatus.js";

const svgNS = "http://www.w3.org/2000/svg";
const wide = 640, left = 62, right = 612;
const main = { top: 14, bottom: 210 }, rest = { top: 236, bottom: 318 };

function make(name, attributes = {}, ...children) {
  const e = document.createElementNS(svgNS, name);
  for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
  e.append(...children);
  return e;
}

function element(name, attributes = {}, ...children) {
  const e = document.createElement(name);
  for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
  e.append(...children);
  return e;
}

// ticks are some four round values from lo to hi.
function ticks(lo, hi) {
  const raw = (hi - lo) / 4, power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((k) => k * power).find((s) => s >= raw);
  const list = [];
  for (let v = Math.ceil(lo / step - 1e-9) * step; v <= hi + step * 1e-9; v += step) list.push(v);
  return { list, write: (v) => (Math.abs(v) < step / 100 ? 0 : v).toFixed(Math.max(0, Math.ceil(-Math.log10(step) - 1e-9))).replace("-", "−") };
}

// mountWindow shows the fit of a record in an element.
export async function mountWindow(host, record, base) {
  await load(base);
  const loaded = JSON.parse(globalThis.gravlabWindow(JSON.stringify({ Times: record.times, Readings: record.readings, Drift: record.drift, Unit: record.unit })));
  if (loaded.error) throw new Error(loaded.error);
  const t0 = record.times[0], t1 = record.times[record.times.length - 1];
  const lo = Math.min(...record.readings), hi = Math.max(...record.readings), room = 0.06 * (hi - lo);
  const x = (t) => left + (right - left) * (t - t0) / (t1 - t0);
  const y = (v) => main.bottom - (main.bottom - main.top) * (v - lo + room) / (hi - lo + 2 * room);
  const ends = { from: t0, to: t1 };

  const picture = make("svg", { viewBox: `0 0 ${wide} 356`, class: "w-picture" });
  const readings = make("path", { class: "w-readings", d: record.times.map((t, i) => `M${x(t).toFixed(1)} ${y(record.readings[i]).toFixed(1)}h0`).join("") });
  const model = make("path", { class: "w-model" }), left2 = make("path", { class: "w-readings" }), frame = make("g");
  const outside = [make("rect", { class: "w-outside", y: main.top, height: rest.bottom - main.top }), make("rect", { class: "w-outside", y: main.top, height: rest.bottom - main.top })];
  const leftTicks = make("g");
  const inside = make("clipPath", { id: "w-inside" }, make("rect", { x: left, y: main.top, width: right - left, height: main.bottom - main.top }));
  model.setAttribute("clip-path", "url(#w-inside)");
  picture.append(inside, ...outside, frame, leftTicks, readings, model, left2);

  const text = (px, py, s, anchor = "middle") => { const e = make("text", { x: px, y: py, "text-anchor": anchor }); e.textContent = s; return e; };
  for (const panel of [main, rest]) frame.append(make("path", { class: "w-axis", d: `M${left} ${panel.top}V${panel.bottom}H${right}` }));
  const vertical = ticks(lo - room, hi + room), across = ticks(t0, t1);
  for (const v of vertical.list) frame.append(make("path", { class: "w-axis", d: `M${left - 4} ${y(v)}h4` }), text(left - 7, y(v) + 4, vertical.write(v), "end"));
  for (const t of across.list) frame.append(make("path", { class: "w-axis", d: `M${x(t)} ${rest.bottom}v4` }), text(x(t), rest.bottom + 16, across.write(t)));
  frame.append(text((left + right) / 2, 352, "time (s)"), text(left + 4, main.top - 3, `reading (${record.unit})`, "start"), text(left + 4, rest.top - 5, `reading minus fit (${record.unit})`, "start"));

  const numbers = element("dl", { class: "a-numbers" });
  const says = element("p", { role: "status", class: "w-says" });
  const handles = {};
  for (const [end, label] of [["from", "begin of the window"], ["to", "end of the window"]]) {
    const h = make("g", { class: "w-handle", tabindex: "0", role: "slider", "aria-label": label, "aria-valuemin": t0, "aria-valuemax": t1 },
      make("path", { d: `M0 ${main.top}V${rest.bottom}` }), make("rect", { x: -7, y: (main.top + main.bottom) / 2 - 14, width: 14, height: 28, rx: 3 }));
    h.addEventListener("pointerdown", (e) => { h.setPointerCapture(e.pointerId); h.dragged = true; e.preventDefault(); h.focus(); });
    h.addEventListener("pointermove", (e) => {
      if (!h.dragged) return;
      const box = picture.getBoundingClientRect();
      move(end, t0 + (t1 - t0) * ((e.clientX - box.left) * wide / box.width - left) / (right - left));
    });
    for (const over of ["pointerup", "pointercancel"]) h.addEventListener(over, () => { h.dragged = false; });
    h.addEventListener("keydown", (e) => {
      const step = (t1 - t0) / (e.shiftKey ? 20 : 200);
      const by = { ArrowLeft: -step, ArrowDown: -step, ArrowRight: step, ArrowUp: step }[e.key];
      if (by === undefined) return;
      e.preventDefault();
      move(end, ends[end] + by);
    });
    handles[end] = h;
    picture.append(h);
  }

  let asked = false;
  function move(end, t) {
    const least = (t1 - t0) / 50;
    ends[end] = end === "from" ? Math.max(t0, Math.min(t, ends.to - least)) : Math.min(t1, Math.max(t, ends.from + least));
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; draw(); }); // once a frame is enough
  }

  function draw() {
    for (const [end, h] of Object.entries(handles)) {
      h.setAttribute("transform", `translate(${x(ends[end])} 0)`);
      h.setAttribute("aria-valuenow", ends[end]);
      h.setAttribute("aria-valuetext", `${Math.round(ends[end])} s`);
    }
    outside[0].setAttribute("x", left);
    outside[0].setAttribute("width", x(ends.from) - left);
    outside[1].setAttribute("x", x(ends.to));
    outside[1].setAttribute("width", right - x(ends.to));
    const fit = JSON.parse(globalThis.gravlabWindow(ends.from, ends.to));
    host.dataset.from = ends.from;
    host.dataset.to = ends.to;
    if (fit.error) {
      says.textContent = fit.error;
      model.setAttribute("d", "");
      left2.setAttribute("d", "");
      return;
    }
    says.textContent = fit.says;
    model.setAttribute("d", fit.times.map((t, i) => `${i ? "L" : "M"}${x(t).toFixed(1)} ${y(fit.model[i]).toFixed(1)}`).join(""));
    const most = Math.max(...fit.left.map(Math.abs)) * 1.1 || 1;
    const yl = (v) => (rest.top + rest.bottom) / 2 - v / most * (rest.bottom - rest.top) / 2;
    const times = record.times.filter((t) => t >= ends.from && t <= ends.to);
    left2.setAttribute("d", fit.left.map((v, i) => `M${x(times[i]).toFixed(1)} ${yl(v).toFixed(1)}h0`).join(""));
    const scale = ticks(-most, most);
    leftTicks.replaceChildren(make("path", { class: "w-zero", d: `M${left} ${yl(0)}H${right}` }), ...scale.list.filter((v) => Math.abs(v) < most * 0.95).flatMap((v) =>
      [make("path", { class: "w-axis", d: `M${left - 4} ${yl(v)}h4` }), text(left - 7, yl(v) + 4, scale.write(v), "end")]));
    numbers.replaceChildren(...fit.numbers.flatMap((n) => {
      const dd = element("dd", { "data-id": n.id }, n.text);
      dd.dataset.value = n.value;
      return [element("dt", {}, n.label), dd];
    }));
  }

  host.replaceChildren(element("p", { class: "a-note" }, "Drag the ends of the window, or move them with the arrow keys (with Shift farther). The fit follows. It is the one that the lab's code makes."), picture, numbers, says);
  draw();
}
