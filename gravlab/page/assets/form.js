// A form for a typed answer, judged when it is entered.
import { h, hintsOf } from "./dom.js"

export class Form {
  constructor(lab, place, block) {
    this.lab = lab
    this.block = block
    const { ask } = block
    const shown = ask.draft || ask.fields
    const id = "f-" + block.id
    this.output = h("div", { class: "output", "aria-live": "polite", html: block.output })
    this.give = h("button", { type: "submit", class: "give" }, lab.view.assessed ? "Record answer" : "Check answer")
    this.unsent = h("span", { class: "unsent", role: "status" })
    const form = h("form", { class: "answer " + ask.kind, "aria-label": "answer to " + ask.title, onsubmit: (e) => { e.preventDefault(); this.submit() } })
    const field = (name, label, more = {}) => h("label", { class: "field " + name }, h("span", {}, label),
      h("input", { name, value: shown[name] || "", autocomplete: "off", spellcheck: "false", ...more }))
    if (ask.kind === "choice") {
      form.append(h("fieldset", {}, h("legend", { class: "quiet-legend" }, "Choose one"), ...ask.options.map((o) =>
        h("label", { class: "option" }, h("input", { type: "radio", name: "choice", value: o.letter, checked: shown.choice === o.letter }),
          h("span", { class: "letter" }, o.letter), h("span", { html: o.html })))))
    } else if (ask.kind === "text") {
      const words = h("textarea", { name: "words", rows: "5", id })
      words.value = shown.words || ""
      form.append(h("label", { class: "field words", for: id }, h("span", {}, "Your answer"), words))
    } else {
      form.append(field("number", "Number", { inputmode: "text", placeholder: "e.g. 0.45 or 9/20" }))
      if (ask.kind === "measured") form.append(field("u", "± standard uncertainty"))
      form.append(ask.unit === "1" ? field("unit", "Unit (none: a dimensionless number)") : field("unit", "Unit", { placeholder: "e.g. " + ask.unit }))
    }
    form.append(h("div", { class: "row" }, this.give, this.unsent,
      ask.kind !== "choice" && ask.kind !== "text" && h("button", { type: "button", class: "quiet-button", onclick: () => this.toCode() }, "Work it out in code")))
    const hints = hintsOf(ask)
    if (hints) form.append(hints)
    form.addEventListener("input", () => this.changed())
    this.form = form
    this.tell()
    place.append(form, this.output)
    if (!lab.writer) for (const e of form.elements) e.disabled = true
  }

  // fields are what stands in the form now.
  fields() {
    return Object.fromEntries([...new FormData(this.form)].map(([name, text]) => [name, text.replaceAll("\r\n", "\n")]))
  }

  // set puts into the form what was typed and not entered.
  set(fields) {
    for (const [name, text] of Object.entries(fields)) {
      const field = this.form.elements[name]
      if (field) field.value = text
    }
    this.changed()
  }

  changed() {
    this.lab.changed(this.block.id, this.fields())
    this.tell()
  }

  // tell says whether what stands in the form was entered.
  tell() {
    const { ask } = this.block
    const now = this.fields()
    const names = ["number", "u", "unit", "choice", "words"]
    const same = names.every((name) => (now[name] || "") === (ask.fields[name] || ""))
    const before = names.some((name) => ask.fields[name])
    this.unsent.textContent = same ? "" : before ? "Changed since you entered it." : (ask.kind === "choice" ? "Chosen" : "Typed") + ", not entered yet."
  }

  async submit() {
    const fields = this.fields()
    try {
      const r = await this.lab.give(this, fields)
      this.output.innerHTML = r.output // built and escaped by the program
      this.block.ask.fields = fields
      this.tell()
      this.lab.standing(r)
      this.lab.say("saved")
    } catch (e) {
      this.output.replaceChildren(h("p", { class: "warning" }, "Not entered: " + e.message + ". What you typed is still here."))
      this.changed()
    }
  }

  async toCode() {
    await this.lab.flush()
    const block = await this.lab.post("form", { question: this.block.ask.question, code: true })
    const place = document.getElementById("c-" + this.block.id)
    await this.lab.fill(place, block)
    this.lab.boxes.get(block.id)?.editor.focus()
  }
}
