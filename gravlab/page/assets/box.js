// A box of code: edit, run, stop, see what comes.
import { h } from "./dom.js"
import { editor } from "./editor.js"

let count = 0

export class Box {
  constructor(lab, place, block) {
    this.lab = lab
    this.block = block
    this.isSheet = block.sheet
    const n = ++count
    this.output = h("div", { class: "output", "aria-live": "polite", html: block.output })
    this.runs = h("span", { class: "run-state", role: "status" })
    this.start = h("button", { type: "button", class: "run", onclick: () => this.run() }, "Run")
    this.end = h("button", { type: "button", class: "stop", hidden: true, onclick: () => this.stop() }, "Stop")
    const name = block.ask ? "your code for " + block.ask.title : block.sheet ? "packages and sheet" : "code " + n
    const tools = h("div", { class: "tools" }, this.start, this.end,
      !block.sheet && h("button", { type: "button", class: "quiet-button", onclick: () => lab.runAbove(this) }, "Run from the top to here"),
      block.ask && block.ask.kind !== "function" && h("button", { type: "button", class: "quiet-button", onclick: () => this.toForm() }, "Answer in a form"),
      this.runs, h("span", { class: "hint" }, "Shift+Enter runs · Esc, then Tab leaves the box"))
    for (const b of [this.start, this.end]) b.setAttribute("aria-label", `${b.textContent} ${name}`)
    const frame = h("div", { class: "editor" })
    const whole = h("div", { class: "box", role: "group", "aria-label": name }, frame, tools, this.output)
    place.append(block.sheet ? h("details", { class: "packages" }, h("summary", {}, "Packages and sheet of this lab"), whole) : whole)
    this.ready = editor(frame, {
      text: block.source, label: name, readOnly: !lab.writer,
      change: (text) => { block.source = text; lab.changed(block.id, text) },
      run: () => this.run(), // the caret stays: what is typed next is seen
    }).then((e) => { this.editor = e })
  }

  async toForm() {
    await this.lab.flush()
    const block = await this.lab.post("form", { question: this.block.ask.question, code: false })
    const place = document.getElementById("c-" + this.block.id)
    await this.lab.fill(place, block)
    place.querySelector("input, textarea")?.focus()
  }

  // run runs the box and says whether it came to its end.
  async run() {
    if (this.busy || !this.lab.writer) return false
    this.busy = true
    this.start.hidden = true
    this.end.hidden = false
    this.output.replaceChildren()
    this.output.setAttribute("aria-busy", "true")
    this.runs.textContent = "running"
    this.editor.faults([])
    let ok = false
    try {
      this.block.source = this.editor.text()
      const r = await this.lab.start(this)
      this.lab.say("saved")
      for await (const e of lines(r.body)) ok = this.take(e) || ok
    } catch (e) {
      this.lab.changed(this.block.id, this.editor.text())
      this.output.append(h("div", { class: "failure" }, h("p", {}, e.status ? "Not run: " + e.message + ". Your text is still here." : "The run was cut off: the program behind this page has stopped.")))
    }
    this.busy = false
    this.start.hidden = false
    if (document.activeElement === this.end) this.start.focus()
    this.end.hidden = true
    this.output.removeAttribute("aria-busy")
    this.runs.textContent = ok ? "done" : ""
    return ok
  }

  take(e) {
    if (e.anew) this.output.replaceChildren()
    if (e.say) this.runs.textContent = e.say
    if (e.text) {
      let last = this.output.lastElementChild
      if (!last?.classList.contains("live")) {
        last = h("pre", { class: "printed live", tabindex: "0" })
        this.output.append(last)
      }
      last.append(e.text)
    }
    if (e.html) this.output.append(h("div", { class: "shown-piece", html: e.html }))
    if (e.trouble) {
      const at = [...new Set(e.trouble.map((t) => t.line).filter(Boolean))]
      this.editor.faults(at)
      for (const line of at.slice(0, 5)) {
        this.output.append(h("button", { type: "button", class: "quiet-button", onclick: () => this.editor.jump(line) }, "Go to line " + line))
      }
    }
    if (e.end) this.lab.standing(e)
    return e.ok
  }

  stop() {
    this.runs.textContent = "stopping"
    this.lab.post("stop", { cell: this.block.id })
  }
}

// lines reads a stream of JSON, one object a line.
async function* lines(stream) {
  const reader = stream.pipeThrough(new TextDecoderStream()).getReader()
  let rest = ""
  for (;;) {
    const { value, done } = await reader.read()
    if (done) return
    const all = (rest + value).split("\n")
    rest = all.pop()
    for (const line of all) if (line) yield JSON.parse(line)
  }
}
