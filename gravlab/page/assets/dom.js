// h makes an element: h("p", { class: "x", onclick: f }, "text", child).
export function h(tag, attributes = {}, ...children) {
  const e = document.createElement(tag)
  for (const [name, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue
    if (name.startsWith("on")) e.addEventListener(name.slice(2), value)
    else if (name === "html") e.innerHTML = value // built and escaped by the program
    else e.setAttribute(name, value === true ? "" : value)
  }
  e.append(...children.filter((c) => c !== null && c !== undefined && c !== false))
  return e
}

// outOf says how many of how many marks: "2 of 3 marks".
export const outOf = (marks, of) => `${marks} of ${of} ${of === 1 ? "mark" : "marks"}`

// half reports whether a part of the marks of a question is earned.
export const half = (s) => s.marks > 0 && s.marks < s.of

// timeLeft says how many minutes are left, or seconds at the end.
export const timeLeft = (seconds) => seconds > 90 ? `${Math.ceil(seconds / 60)} min left` : `${seconds} s left`

// setting is what the program wrote into the page's head.
export const setting = document.querySelector("meta[name=page]").dataset

// notice shows a line above the page until it is replaced or taken away.
export function notice(id, ...content) {
  document.getElementById("notice-" + id)?.remove()
  if (content.length === 0) return
  document.getElementById("notices").append(h("div", { id: "notice-" + id, class: "notice" }, ...content))
}

// hintsOf are the hints of a question, each shown when it is asked for; undefined if it has none.
export function hintsOf(ask) {
  const all = (ask.hints || []).map((text, i) => h("details", { class: "hints" }, h("summary", {}, i ? "Next hint" : "Hint (costs nothing)"), h("p", {}, text)))
  if (all.length > 1) all[0].append(...all.slice(1))
  return all[0]
}
