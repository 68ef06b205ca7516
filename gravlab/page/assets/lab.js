// A lab: its text in one column, answers where they are asked, boxes of code.
import { Box, lines } from "./box.js"
import { madeOf } from "./depends.js"
import { h, half, notice, outOf, setting } from "./dom.js"
import { Form } from "./form.js"
import { Refused, ask, call, hasStopped, isLost, own, taken, whenBack, whenTaken } from "./link.js"
import { rail } from "./rail.js"
import { recorder } from "./record.js"

// A tab keeps its name when it is loaded again. While it is open the name is
// not in its storage, so that a copy of the tab gets a name of its own.
const tab = sessionStorage.getItem("tab") || crypto.randomUUID()
sessionStorage.removeItem("tab")
addEventListener("pagehide", () => sessionStorage.setItem("tab", tab))
addEventListener("pageshow", () => sessionStorage.removeItem("tab"))

let lab // the one that is shown

export async function showLab(main, name) {
  lab = new Lab(main, name)
  await lab.open(false)
  const look = async () => { if (document.visibilityState === "visible" && !isLost()) await lab.here() }
  const tick = async () => {
    await look()
    setTimeout(tick, 5000)
  }
  setTimeout(tick, 5000)
  document.addEventListener("visibilitychange", look)
  whenTaken((name) => { if (name === lab.name && lab.writer) lab.here() })
  whenBack(() => lab.back())
  addEventListener("pagehide", () => lab.flush(true))
  addEventListener("leaving", () => lab.flush(true))
  addEventListener("beforeunload", (e) => { if (lab.dirty.size > 0 && hasStopped()) e.preventDefault() })
  main.addEventListener("click", openChart)
}

// openChart puts a chart in the place of the button that offers it, under its
// still image.
async function openChart(e) {
  const button = e.target.closest("[data-chart]")
  if (!button) return
  let there
  try {
    ({ there } = await call(lab.path + button.dataset.chart))
  } catch { // it is said above the page
    return
  }
  if (!there) {
    const gone = h("p", { class: "label", tabindex: "-1" }, "Run the cell again to explore the chart.")
    button.replaceWith(gone)
    gone.focus()
    return
  }
  // The chart takes the place of its still image and gives it back.
  const still = button.closest("figure")?.querySelector("img")
  const frame = h("iframe", { class: "chart", sandbox: "allow-scripts", title: "interactive chart", src: button.dataset.chart })
  if (still) frame.style.height = Math.max(still.clientHeight, 300) + "px"
  const back = h("button", { type: "button", class: "quiet-button" }, "Back to the still figure")
  back.addEventListener("click", () => {
    still?.classList.remove("behind")
    frame.remove()
    back.replaceWith(button)
    button.focus()
  })
  button.replaceWith(frame, back)
  still?.classList.add("behind")
  frame.scrollIntoView({ block: "nearest" })
  frame.focus()
}

class Lab {
  dirty = new Map() // what is not saved yet, by cell: the text of a box, the fields of a form
  boxes = new Map()
  forms = new Map()
  timer = 0
  saving = Promise.resolve() // the last save
  place = ""

  constructor(main, name) {
    this.main = main
    this.name = name
    this.path = "/api/lab/" + encodeURIComponent(name)
  }

  post(what, body) { return call(`${this.path}/${what}`, { tab, ...body }) }

  // start starts a run, which saves its box too, and returns its stream.
  async start(box, unchanged) {
    clearTimeout(this.timer)
    await this.saving
    const { id, source } = box.block
    this.dirty.delete(id)
    if (this.dirty.size > 0) this.timer = setTimeout(() => this.flush(), 400)
    return ask(`${this.path}/run`, { tab, cell: id, source, unchanged })
  }

  // give submits what stands in a form: after what is being saved, and before
  // what is typed meanwhile.
  give(form, fields) {
    const { id, ask } = form.block
    this.dirty.delete(id)
    const given = this.saving.then(() => this.post("answer", { question: ask.question, fields }))
    this.saving = given.catch(() => {})
    return given
  }

  async open(take) {
    const view = await call(`${this.path}?tab=${tab}${take ? "&take=1" : ""}`)
    this.view = view
    this.writer = view.writer
    document.title = view.title + " – gravity labs"
    this.build()
    if (!this.writer) {
      notice("other", h("p", {}, h("strong", {}, setting.shared ? "This lab is open in another tab or on another device." : "This lab is open in another tab."), " You can read it here; what you write there is saved."),
        h("button", { type: "button", onclick: () => this.open(true) }, "Work in this tab instead"))
    } else {
      notice("other")
      taken(this.name)
      this.restore()
    }
  }

  build() {
    const v = this.view
    delete this.main.dataset.ready
    this.boxes.clear()
    this.forms.clear()
    this.state = h("span", { class: "state" }, "")
    this.total = h("span", { class: "total" })
    this.bar = h("span", {})
    this.gauge = h("span", { class: "gauge", "aria-hidden": "true", hidden: true }, this.bar)
    this.results = h("section", { class: "results", "aria-label": "Where you stand" })
    document.getElementById("bar").replaceChildren(
      h("a", { href: "/", class: "mark" }, "All labs"), h("span", { class: "where" }, v.title), this.gauge, this.total, this.state)
    const text = h("div", { class: "column" })
    if (v.foreign && !v.allowed) text.append(this.permission())
    if (v.fault) text.append(h("p", { class: "warning" }, "Answers cannot be checked here: " + v.fault))
    const facts = [v.number && "Lab " + v.number, v.minutes && "about " + v.minutes + " minutes", v.remark, !v.confined && "code runs in the Go kernel"].filter(Boolean)
    let card = null
    const ready = []
    for (const b of v.blocks) {
      const place = h("div", { class: "block " + b.kind, id: "c-" + b.id, html: b.kind === "text" ? b.html : undefined })
      if (b.of) {
        card = h("section", { class: "question", "data-question": b.of })
        text.append(card)
      } else if (!b.ask) card = null
      ;(card || text).append(place)
      if (b.kind === "raw") place.append(h("pre", { tabindex: "0" }, b.source))
      if (b.kind === "code") ready.push(this.fill(place, b))
    }
    const title = text.querySelector("h1")
    if (title && facts.length) title.after(h("p", { class: "facts" }, facts.join(" · ")))
    if (v.ride) {
      const last = text.querySelector(`[data-question="${CSS.escape(v.ride.after)}"]`)
      const own = recorder(v.ride, (r) => this.post("record", r))
      if (last) last.after(own)
      else text.append(own)
    }
    text.append(this.results, this.ending())
    const apparatus = h("section", { id: "apparatus", "data-lab": v.number, "aria-label": "Virtual apparatus", hidden: true })
    this.rail = rail(text)
    this.main.className = "lab"
    this.main.replaceChildren(this.rail.element, text, apparatus)
    this.standing(v)
    this.watchPlace(text)
    this.reach(text)
    this.ready = Promise.all(ready).then(() => {
      if (v.place && !location.hash) document.getElementById("c-" + v.place)?.scrollIntoView({ block: "center" })
      this.main.dataset.ready = "yes"
      performance.mark("lab ready")
      this.figures()
    })
    if (setting.apparatus && v.number) mount(apparatus, this, v.number)
  }

  // fill puts a form or a box into the place of a cell.
  fill(place, b) {
    place.replaceChildren()
    this.boxes.delete(b.id)
    this.forms.delete(b.id)
    if (b.ask?.form) {
      this.forms.set(b.id, new Form(this, place, b))
      return Promise.resolve()
    }
    const box = new Box(this, place, b)
    this.boxes.set(b.id, box)
    return box.ready
  }

  // madeOf is what the output of a box depends on.
  madeOf(block) {
    const above = []
    for (const b of this.view.blocks) {
      if (b.kind !== "code") continue
      if (b.id === block.id) return madeOf(above, b.source)
      above.push(b.source)
    }
  }

  // compare marks results that are older than their code.
  compare() { for (const box of this.boxes.values()) box.compare() }

  // figures asks for the figures of boxes that nobody has run, and shows each as it comes.
  async figures() {
    const waiting = () => [...this.boxes.values()].filter((box) => box.awaited)
    if (!this.writer || waiting().length === 0) return
    try {
      const r = await ask(`${this.path}/figures`, { tab })
      for await (const e of lines(r.body)) this.boxes.get(e.cell)?.arrived(e.html)
    } catch {}
    for (const box of waiting()) box.arrived("")
    performance.mark("figures there")
  }

  permission() {
    const box = h("div", { class: "warning" },
      h("p", {}, h("strong", {}, "This notebook comes from elsewhere. "), "You can read it. Nothing in it runs until you allow it; ", this.view.confined ?
        "what runs is confined and reaches neither your files nor the network." :
        "what runs then can read and change all your files and use the network, because gravlab was started with --kernel. Allow it only if you trust its author. Without --kernel its code is confined."),
      h("button", { type: "button", onclick: async () => { await this.post("allow"); box.remove(); await this.flush(); await this.open(false) } }, "Allow its code to run"))
    return box
  }

  ending() {
    const save = async (what, file, type) => {
      await this.flush()
      const r = await ask(`${this.path}/${what}`)
      const link = h("a", { href: URL.createObjectURL(new Blob([await r.arrayBuffer()], { type })), download: file })
      link.click()
      setTimeout(() => URL.revokeObjectURL(link.href), 10000)
    }
    // bring sends a file of the reader's; what it replaces is put aside.
    const said = h("p", { role: "status" })
    const chosen = async (e) => {
      const file = e.target.files[0]
      e.target.value = ""
      if (!file) return
      if (file.size > 7e6) return (said.textContent = `${file.name} has more than 7 MB; nothing of it was taken.`)
      try {
        await this.flush()
        const { aside } = await this.post("bring", { name: file.name, text: await file.text() })
        this.dirty.clear()
        const text = `${file.name} was taken.` + (aside ? ` What stood here before is kept as ${aside}.` : "")
        await this.open(false)
        notice("brought", h("p", {}, text), h("button", { type: "button", class: "quiet-button", onclick: () => notice("brought") }, "Close"))
      } catch (err) {
        said.textContent = "Not taken: " + err.message + "."
      }
    }
    const picker = h("input", { type: "file", accept: ".ipynb,.csv", class: "unseen", id: "bring", tabindex: "-1", "aria-hidden": "true", onchange: chosen })
    const bring = h("button", { type: "button", onclick: () => picker.click() }, "Bring a file…")
    const sure = h("button", { type: "button", class: "quiet-button", onclick: () => confirmAnew() }, "Start again…")
    const confirmAnew = () => sure.replaceWith(h("span", { class: "sure" }, "Your copy is moved aside, not deleted. ",
      h("button", { type: "button", onclick: async () => { await this.flush(); await this.post("anew"); this.dirty.clear(); scrollTo(0, 0); await this.open(false) } }, "Start this lab again")))
    return h("section", { class: "ending", "aria-labelledby": "keep" }, h("h2", { id: "keep" }, setting.shared ? "Keep a copy" : "Save it, hand it in"),
      h("p", {}, setting.shared ? "Everything you write is saved at once, on the computer of the class. You need not hand anything in: your lecturer collects the labs there." :
        "Everything you write is saved at once, in your working copy: ", !setting.shared && h("code", { class: "path" }, this.view.copy)),
      h("p", { class: "row" },
        h("button", { type: "button", onclick: () => save("report", this.name + ".html", "text/html") }, "Save as a web page"),
        h("button", { type: "button", onclick: () => save("notebook", this.name + ".ipynb", "application/json") }, "Save the notebook file"),
        h("button", { type: "button", class: "quiet-button", onclick: () => print() }, "Print"), sure),
      this.writer !== false && h("p", {}, "Did you work on this sheet elsewhere, or do you have a recording of your own? Bring the notebook file or the CSV file: a notebook replaces this one, which is put aside."),
      this.writer !== false && h("p", { class: "row" }, bring, picker, ...this.view.beside.map((name) =>
        h("button", { type: "button", class: "quiet-button", onclick: () => save("recording/" + name, name, "text/csv") }, "Save " + name))), said)
  }

  standing({ standings, marks, of, assessed }) {
    if (!standings) return
    this.rail.standing(standings)
    for (const s of standings) {
      const card = this.main.querySelector(`[data-question="${CSS.escape(s.question)}"]`)
      if (!card) continue
      card.dataset.outcome = s.outcome
      card.classList.toggle("part", half(s))
    }
    this.showResults(standings, marks, of)
    const given = standings.filter((s) => s.outcome !== "blank").length
    this.total.textContent = of ? (this.view.assessed ? `${given} of ${standings.length} entered` : outOf(marks, of)) : ""
    this.gauge.hidden = !of
    this.bar.style.width = `${Math.round(100 * (this.view.assessed ? given / standings.length : marks / of))}%`
  }

  // showResults shows what is left to do, and what the reader has measured: a page to keep.
  showResults(standings, marks, of) {
    const { assessed } = this.view
    const left = standings.filter((s) => assessed ? s.outcome === "blank" || s.outcome === "unreadable" : s.outcome !== "waiting" && s.marks < s.of)
    const found = assessed ? [] : standings.filter((s) => ["number", "measured"].includes(s.kind) && s.marks === s.of && s.of > 0 && s.read)
    const link = (s) => h("a", { href: "#q-" + s.question }, s.title)
    const parts = []
    if (found.length > 0) {
      parts.push(h("p", { class: "on-paper" }, this.view.title), h("h2", {}, left.length > 0 ? "What you have found so far" : "What you found"),
        h("table", {}, h("thead", {}, h("tr", {}, h("th", {}, "question"), h("th", {}, "your result"))),
          h("tbody", {}, ...found.map((s) => h("tr", {}, h("td", {}, link(s)), h("td", {}, s.read))))),
        h("p", { class: "soft kept" }, `${this.view.title} · ${this.view.remark} · ${outOf(marks, of)}`),
        h("p", { class: "row" }, h("button", { type: "button", onclick: () => this.printResults() }, "Print this page of results")))
    }
    parts.push(h("h2", {}, "Left to do"), left.length > 0
      ? h("ul", { class: "left" }, ...left.map((s) => h("li", {}, h("span", { class: "sign", "aria-hidden": "true", "data-outcome": s.outcome }, half(s) ? "◐" : s.sign), " ", link(s),
        h("span", { class: "soft" }, " " + [s.outcome === "blank" ? "" : s.outcome, half(s) && outOf(s.marks, s.of)].filter(Boolean).join(", ")))))
      : h("p", {}, assessed ? "Every question has an answer." : `Nothing: ${outOf(marks, of)}. Well measured.`))
    this.results.replaceChildren(...parts)
  }

  // printResults prints the results alone.
  printResults() {
    const all = document.documentElement
    all.classList.add("only-results")
    addEventListener("afterprint", () => all.classList.remove("only-results"), { once: true })
    print()
  }

  // reach makes formulas that are wider than the column scroll inside themselves,
  // by keyboard too.
  reach(text) {
    this.sized?.disconnect()
    this.sized = new ResizeObserver(() => {
      for (const e of text.querySelectorAll(".wide")) e.replaceWith(...e.childNodes)
      const room = text.getBoundingClientRect().right
      for (const m of text.querySelectorAll("math")) {
        if (m.closest(".math") || m.getBoundingClientRect().right <= room) continue
        const around = h("span", { class: "math wide" })
        m.replaceWith(around)
        around.append(m)
      }
      for (const e of text.querySelectorAll(".math")) {
        if (e.scrollWidth > e.clientWidth) e.tabIndex = 0
        else e.removeAttribute("tabindex")
      }
    })
    this.sized.observe(text)
  }

  watchPlace(text) {
    this.seen?.disconnect()
    this.seen = new IntersectionObserver((all) => {
      for (const e of all) if (e.isIntersecting) this.place = e.target.id.slice(2)
    }, { rootMargin: "-40% 0px -55% 0px" })
    for (const b of text.querySelectorAll(".block")) this.seen.observe(b)
  }

  // changed notes what was typed; after a pause it is saved, and a box is built.
  changed(cell, what) {
    this.dirty.set(cell, what)
    this.say("saving…")
    clearTimeout(this.timer)
    this.timer = setTimeout(() => this.flush(), 300)
  }

  say(state) { this.state.textContent = state }

  // flush saves what is not saved yet, one save after the other, so that an older
  // text never arrives after a newer one.
  flush(leaving) {
    clearTimeout(this.timer)
    if (leaving) { // there is no time to wait
      if (isLost() && this.dirty.size > 0) this.keepHere(localStorage)
      return this.save(true)
    }
    return (this.saving = this.saving.then(() => this.save(false)))
  }

  async save(leaving) {
    if (this.dirty.size === 0 || !this.writer) return
    const all = [...this.dirty]
    const isText = ([, what]) => typeof what === "string"
    const body = { tab, cells: Object.fromEntries(all.filter(isText)), drafts: Object.fromEntries(all.filter((one) => !isText(one))) }
    try {
      const r = await ask(`${this.path}/save`, body, { keepalive: leaving && JSON.stringify(body).length < 60000 })
      const { aside } = await r.json()
      for (const [id, what] of all) if (this.dirty.get(id) === what) this.dirty.delete(id)
      if (this.dirty.size === 0) {
        localStorage.removeItem(own("unsaved:" + this.name))
        this.say("saved")
      }
      notice("save")
      if (aside) notice("aside", h("p", {}, "Another program had changed the file. Its version is kept as ", h("code", {}, aside), "."))
    } catch (e) {
      this.keepUnsaved(e)
    }
  }

  keepHere(store) { store.setItem(own("unsaved:" + this.name), JSON.stringify(Object.fromEntries(this.dirty))) }

  // keepUnsaved keeps in the browser what the program could not take.
  keepUnsaved(e) {
    if (e.status === 409) {
      this.keepHere(sessionStorage)
      this.dirty.clear()
      this.open(false)
      return
    }
    this.keepHere(localStorage)
    this.say("not saved yet")
    if (e.status && e.status !== 401) notice("save", h("p", {}, h("strong", {}, "Not saved: "), e.message))
  }

  // restore brings back what was kept in the browser.
  async restore() {
    for (const store of [localStorage, sessionStorage]) {
      const kept = store.getItem(own("unsaved:" + this.name))
      store.removeItem(own("unsaved:" + this.name))
      if (!kept) continue
      await this.ready
      for (const [id, what] of Object.entries(JSON.parse(kept))) {
        if (typeof what === "string") this.boxes.get(id)?.editor.set(what)
        else this.forms.get(id)?.set(what)
      }
      notice("restored", h("p", {}, "Text that could not be saved earlier has been restored."))
    }
  }

  // here tells the program that this tab is in use, and where.
  async here() {
    try {
      const { writer } = await this.post("here", { place: this.place })
      if (this.writer && !writer) {
        if (this.dirty.size > 0) return this.keepUnsaved(new Refused(409, ""))
        await this.open(false)
      }
    } catch {}
  }

  // back goes on after the program was started again.
  async back() {
    try {
      const view = await call(`${this.path}?tab=${tab}`)
      this.writer = view.writer
      if (!view.writer) return this.keepUnsaved(new Refused(409, ""))
      this.standing(view)
      await this.flush()
      this.say("saved")
    } catch {}
  }

  // runAbove runs the boxes above one, then that. Those above whose outcome cannot be
  // another one are shown as they are.
  async runAbove(box) {
    for (const other of this.boxes.values()) {
      if (other.isSheet) continue
      const ok = await other.run(other !== box)
      if (other === box || !ok) return
    }
  }
}

// mount shows the virtual apparatus, where the lab has one: mount(section, lab, base)
// of its module fills the section and returns false if there is none. On a wide
// screen it stands beside the text, else above its first part.
async function mount(section, lab, number) {
  const { main, rail } = lab
  const base = setting.apparatus
  try {
    const style = h("link", { rel: "stylesheet", href: base + "apparatus.css" })
    const { mount } = await import(base + "apparatus.js")
    document.head.append(style)
    const keep = lab.writer && ((name, text) => lab.post("bring", { name, text }))
    if ((await mount(section, number, base, keep)) === false) return
  } catch (e) {
    console.warn("the apparatus cannot be shown:", e.message)
    return
  }
  section.hidden = false
  main.classList.add("with-apparatus")
  rail.openFrom("92rem")
  const wide = matchMedia("(min-width: 70rem)")
  const put = () => {
    const part = main.querySelector(".column .block:has(h2)")
    if (wide.matches || !part) main.append(section)
    else part.before(section)
  }
  wide.addEventListener("change", put)
  put()
}
