// A box to write in: the built editor if there is one, else a plain text area.
import { h, setting } from "./dom.js"

let built

// editor puts a box into parent; see gravlab/page/web/editor.js for what it is
// given and gives.
export async function editor(parent, options) {
  if (setting.editor) {
    built ||= import(setting.editor)
    try {
      return (await built).make(parent, { ...options, nonce: setting.nonce })
    } catch (e) {
      console.warn("the editor cannot be used:", e.message)
    }
  }
  return plain(parent, options)
}

// plain is a text area over a copy of its text. The copy makes it as tall as the text is,
// wrapped lines and all, numbers the lines, marks those at fault, and is what is printed.
function plain(parent, { text, label, readOnly, change, run }) {
  const area = h("textarea", { class: "plain", rows: 1, "aria-label": label, spellcheck: "false", autocapitalize: "off", autocomplete: "off", readonly: readOnly })
  const copy = h("pre", { class: "copy", "aria-hidden": "true" })
  area.value = text
  const fit = () => {
    const lines = area.value.split("\n")
    while (copy.childElementCount > lines.length) copy.lastElementChild.remove()
    lines.forEach((line, i) => {
      const at = copy.children[i] || copy.appendChild(h("span", {}))
      if (at.textContent !== line + "\n") at.textContent = line + "\n"
    })
  }
  const faults = (lines) => { [...copy.children].forEach((at, i) => at.classList.toggle("fault-line", lines.includes(i + 1))) }
  fit()
  area.addEventListener("input", () => { fit(); change(area.value) })
  let leaving = false // Escape, then Tab leaves the box
  area.addEventListener("keydown", (e) => {
    if (e.key === "Enter" && (e.shiftKey || e.ctrlKey || e.metaKey)) {
      e.preventDefault()
      run()
    } else if (e.key === "Tab" && !e.shiftKey && !leaving && !readOnly) {
      e.preventDefault()
      area.setRangeText("\t", area.selectionStart, area.selectionEnd, "end")
      area.dispatchEvent(new Event("input"))
    } else if (e.key === "Enter" && !readOnly) { // the next line begins where this one does
      const before = area.value.slice(0, area.selectionStart)
      const line = before.slice(before.lastIndexOf("\n") + 1)
      e.preventDefault()
      const indent = /^[ \t]*/.exec(line)[0] + (/[{(]\s*$/.test(line) ? "\t" : "")
      if (!document.execCommand("insertText", false, "\n" + indent)) {
        area.setRangeText("\n" + indent, area.selectionStart, area.selectionEnd, "end")
        area.dispatchEvent(new Event("input"))
      }
    }
    leaving = e.key === "Escape"
  })
  parent.append(h("div", { class: "plain-box" }, copy, area))
  return {
    text: () => area.value,
    set: (t) => { area.value = t; fit(); change(t) },
    focus: () => area.focus(),
    faults,
    jump(line) {
      const lines = area.value.split("\n")
      const at = lines.slice(0, line - 1).join("\n").length + (line > 1 ? 1 : 0)
      area.focus()
      area.setSelectionRange(at, at + (lines[line - 1] || "").length)
    },
  }
}
