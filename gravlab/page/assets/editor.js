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

function plain(parent, { text, label, readOnly, change, run }) {
  const area = h("textarea", { class: "plain", "aria-label": label, spellcheck: "false", autocapitalize: "off", autocomplete: "off", readonly: readOnly })
  area.value = text
  const fit = () => { area.rows = Math.max(2, area.value.split("\n").length) }
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
    }
    leaving = e.key === "Escape"
  })
  parent.append(area)
  return {
    text: () => area.value,
    set: (t) => { area.value = t; fit(); change(t) },
    focus: () => area.focus(),
    faults: () => {},
    jump(line) {
      const lines = area.value.split("\n")
      const at = lines.slice(0, line - 1).join("\n").length + (line > 1 ? 1 : 0)
      area.focus()
      area.setSelectionRange(at, at + (lines[line - 1] || "").length)
    },
  }
}
