// A box of code: edit, run, stop, see what comes.
import { h, hintsOf, setting } from "./dom.js"
import { editor } from "./editor.js"
import { call } from "./link.js"
import { fields, put } from "./values.js"

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
    this.older = h("p", { class: "older", hidden: true, role: "status" }, "This is older than its code: run the box again.")
    this.fields = h("div", { class: "values", hidden: true })
    // Where all that comes of a box is a figure, the figure is what is read.
    this.how = block.draws && h("details", { class: "how" }, h("summary", {}, /show\.(?!Table|Caption)/.test(block.source) ? "How this figure is made" : "How this table is made"), frame)
    const results = [this.older, this.output]
    const whole = h("div", { class: "box" + (block.draws ? " draws" : ""), role: "group", "aria-label": name },
      ...this.how ? [this.fields, ...results, h("div", { class: "made" }, this.how, tools)] : [frame, this.fields, tools, ...results])
    const hints = block.ask && hintsOf(block.ask)
    if (hints) tools.after(hints)
    if (block.window) whole.append(this.touch())
    place.append(block.sheet ? h("details", { class: "packages" }, h("summary", {}, "Packages and sheet of this lab"), whole) : whole)
    this.made = block.output && !block.older ? lab.madeOf(block) : ""
    if (block.awaits && lab.writer && !block.output) this.await()
    this.older.hidden = !block.older
    if (!block.ask && !block.sheet) this.showFields()
    this.ready = editor(frame, {
      text: block.source, label: name, readOnly: !lab.writer,
      change: (text) => { block.source = text; lab.changed(block.id, text); this.showFields(); lab.compare() },
      run: () => this.run(), // the caret stays: what is typed next is seen
    }).then((e) => { this.editor = e })
  }

  // touch is a fit to a part of the recording, with ends that can be dragged. It is loaded when it
  // is opened.
  touch() {
    const host = h("div", {})
    const all = h("details", { class: "window" }, h("summary", {}, "Fit a part of this recording"), host)
    all.addEventListener("toggle", async () => {
      if (!all.open || host.firstChild) return
      host.replaceChildren(h("p", { class: "label" }, "Loading."))
      try {
        const record = await call(`${this.lab.path}/window/${encodeURIComponent(this.block.id)}`)
        const { mountWindow } = await import(setting.apparatus + "window.js")
        await mountWindow(host, record, setting.apparatus)
      } catch (e) {
        host.replaceChildren(h("p", { class: "label" }, "It cannot be shown: " + e.message + "."))
      }
    })
    return all
  }

  async toForm() {
    await this.lab.flush()
    const block = await this.lab.post("form", { question: this.block.ask.question, code: false })
    const place = document.getElementById("c-" + this.block.id)
    await this.lab.fill(place, block)
    place.querySelector("input, textarea")?.focus()
  }

  // await keeps the place of a figure that is worked out.
  await() {
    this.awaited = true
    this.output.replaceChildren(h("div", { class: "ghost" }, h("p", {}, "This figure is being worked out.")))
  }

  // arrived takes what the program has worked out; "" is nothing.
  arrived(html) {
    if (!this.awaited) return
    this.awaited = false
    if (html) this.output.innerHTML = html // built and escaped by the program
    else this.output.replaceChildren(h("p", { class: "label" }, "Nothing is shown here yet: run the box."))
    this.made = html ? this.lab.madeOf(this.block) : ""
    this.compare()
  }

  // compare says whether what is shown is older than the code.
  compare() { if (this.made) this.older.hidden = this.made === this.lab.madeOf(this.block) }

  // showFields shows the values of the box that are there to be changed, with their units:
  // they are its own declarations.
  showFields() {
    if (this.block.ask || this.block.sheet) return
    const all = fields(this.block.source)
    this.fields.hidden = all.length === 0
    const same = this.shown?.map((f) => f.name).join() === all.map((f) => f.name).join()
    if (same) {
      this.shown.forEach((f, i) => { if (f.input !== document.activeElement) f.input.value = all[i].value })
      return
    }
    this.shown = all
    this.wrong = h("span", { class: "note wrong", role: "alert" })
    this.fields.replaceChildren(...all.map((f) => {
      f.input = h("input", { value: f.value, "aria-label": f.name + (f.unit ? " in " + f.unit : ""), autocomplete: "off", spellcheck: "false", readonly: !this.lab.writer, size: 8 })
      f.input.addEventListener("change", () => this.change(f))
      f.input.addEventListener("keydown", (e) => { if (e.key === "Enter") this.change(f) })
      return h("label", { class: "value" }, h("code", {}, f.name), " = ", f.input, f.unit && " " + f.unit)
    }), ...all.filter((f) => f.note).map((f) => h("span", { class: "note" }, f.note)), this.wrong)
  }

  // change puts a field's value into the code and runs it.
  change(f) {
    const { source, problem } = put(this.editor.text(), f.name, f.input.value)
    f.input.setAttribute("aria-invalid", Boolean(problem))
    this.wrong.textContent = problem || ""
    if (problem || source === this.editor.text()) return
    this.editor.set(source)
    this.run()
  }

  // run runs the box and says whether it came to its end. One whose outcome cannot be another
  // one is not run again if that is all right with the caller.
  async run(unchanged = false) {
    if (this.busy || !this.lab.writer) return false
    this.busy = true
    this.start.hidden = true
    this.end.hidden = false
    this.awaited = false
    this.older.hidden = true
    this.output.replaceChildren()
    this.output.setAttribute("aria-busy", "true")
    this.runs.textContent = "running"
    this.editor.faults([])
    let ok = false
    try {
      this.block.source = this.editor.text()
      this.made = this.lab.madeOf(this.block)
      const r = await this.lab.start(this, unchanged)
      this.lab.say("saved")
      for await (const e of lines(r.body)) ok = this.take(e) || ok
    } catch (e) {
      this.lab.changed(this.block.id, this.editor.text())
      this.output.append(h("div", { class: "failure" }, h("p", {}, e.status ? "Not run: " + e.message + ". Your text is still here." : "The run was cut off: the program behind this page has stopped.")))
    }
    this.busy = false
    this.compare()
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
      if (this.how && at.length > 0) this.how.open = true
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
export async function* lines(stream) {
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
