// The rail beside the text: its parts, and where the reader stands with each
// question.
import { h, half } from "./dom.js"

export function rail(text) {
  const list = h("ol", {})
  const signs = new Map()
  let n = 0
  for (const e of text.querySelectorAll("h2, .question")) {
    if (e.tagName === "H2") {
      e.id ||= "s-" + ++n
      list.append(h("li", { class: "part" }, h("a", { href: "#" + e.id }, e.textContent)))
      continue
    }
    const title = e.querySelector("h3")
    if (!title) continue
    title.id ||= "q-" + e.dataset.question
    const sign = h("span", { class: "sign", "aria-hidden": "true" }, "–")
    const word = h("span", { class: "word" })
    signs.set(e.dataset.question, { sign, word })
    list.append(h("li", { class: "ask" }, sign, h("a", { href: "#" + title.id }, title.textContent), word))
  }
  const details = h("details", {}, h("summary", {}, "In this lab"), list)
  const element = h("nav", { class: "rail", "aria-label": "In this lab" }, details)
  let wide
  const open = () => { details.open = wide.matches }
  // Where it lies over the text it gives way to the part that was chosen.
  list.addEventListener("click", (e) => { if (!wide.matches && e.target.closest("a")) details.open = false })
  const rail = {
    element,
    // openFrom says from which width on the rail stands open beside the text.
    openFrom(width) {
      wide?.removeEventListener("change", open)
      wide = matchMedia(`(min-width: ${width})`)
      wide.addEventListener("change", open)
      open()
    },
    standing(all) {
      for (const s of all) {
        const at = signs.get(s.question)
        if (!at) continue
        at.sign.textContent = half(s) ? "◐" : s.sign
        at.sign.dataset.outcome = s.outcome
        at.word.textContent = s.outcome === "blank" ? "" : half(s) ? `${s.outcome}, ${s.marks} of ${s.of}` : s.outcome
      }
    },
  }
  rail.openFrom("70rem")
  return rail
}
