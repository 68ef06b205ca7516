// The list of labs.
import { h, outOf } from "./dom.js"
import { call } from "./link.js"

const about = {
  "laboratory class": "Measure gravity on a lab server: from weighing the Earth to detecting a mass that swings past.",
  "new survey hire": "From the sensor to a day in the field, and to an honest statement of what lies below.",
  "planetary and space": "Quiet instruments, free fall, and masses measured from above.",
}

export async function showList(main) {
  const { labs, tracks, last } = await call("/api/labs")
  document.getElementById("bar").replaceChildren(h("span", { class: "mark" }, "gravlab"))
  const byName = Object.fromEntries(labs.map((l) => [l.name, l]))
  const parts = [
    h("h1", {}, "Gravity labs"),
    h("p", { class: "lead" }, "Each lab is a text to read, code to change and questions to answer. Each answer is checked at once: you see whether it is right and, if not, which mistake it looks like."),
  ]
  const at = byName[last]
  if (at) {
    parts.push(h("p", { class: "continue" }, h("a", { href: "/lab/" + at.name, class: "big-link" }, "Continue ", (at.number ? at.number + " " : "") + at.title),
      " ", h("span", { class: "soft" }, progress(at))))
  }
  const group = (title, text, list) => {
    if (list.length === 0) return
    const id = "g-" + title.replaceAll(" ", "-").toLowerCase()
    parts.push(h("section", { class: "track", "aria-labelledby": id }, h("h2", { id }, title), text && h("p", { class: "soft" }, text), h("ol", { class: "labs" }, ...list.map(row))))
  }
  const capital = (s) => s[0].toUpperCase() + s.slice(1)
  group("Notebooks you opened", "", labs.filter((l) => l.file))
  group("Start here", "", labs.filter((l) => !l.file && l.tracks.length === 0))
  for (const t of tracks) group(capital(t), about[t], labs.filter((l) => !l.file && l.tracks.includes(t)))
  parts.push(h("p", { class: "soft small" }, "Your work is kept on this machine, in working copies; the notebooks of the project stay as they are."))
  document.title = "Gravity labs"
  main.className = "list"
  main.replaceChildren(...parts)
}

function row(l) {
  const facts = []
  if (l.minutes) facts.push("about " + l.minutes + " min")
  if (l.buildsOn.length) facts.push("builds on " + l.buildsOn.join(", "))
  if (l.file) facts.push(l.file)
  const share = l.of ? l.marks / l.of : 0
  return h("li", { class: l.begun ? "begun" : "" },
    h("span", { class: "number", "aria-hidden": "true" }, l.number || "·"),
    h("div", { class: "what" }, h("a", { href: "/lab/" + l.name }, l.title), h("span", { class: "facts" }, facts.join(" · "))),
    h("div", { class: "how-far" }, h("span", {}, progress(l)),
      (l.begun || l.given > 0) && l.of > 0 && h("span", { class: "gauge", "aria-hidden": "true" }, h("span", { style: `width:${Math.round(100 * share)}%` }))))
}

function progress(l) {
  if (!l.count) return l.begun ? "begun" : ""
  if (!l.begun && l.given === 0) return l.count === 1 ? "1 question" : `${l.count} questions`
  if (l.right === l.count) return "done, " + outOf(l.marks, l.of)
  return `${l.given} of ${l.count} answered` + (l.marks ? ", " + outOf(l.marks, l.of) : "")
}
