// The lecturer's page: where the class stands, live.
import { h, notice, timeLeft } from "./dom.js"
import { Refused, ask, call, enter, ownKey, whenBack, whenKey } from "./link.js"

const main = document.getElementById("main")
const bar = document.getElementById("bar")
const dialog = document.getElementById("student")
const told = document.getElementById("told")
const words = { right: "right", carried: "carried", slip: "slip", unit: "unit", off: "off", unreadable: "unreadable", waiting: "waiting", recorded: "recorded" }
const often = 3 // tries after which a question is worth a look

let data = null
let received = 0 // when, for the seconds that are left
let lab = "" // the one that is shown
let focus = null // the cell of the grid with the keyboard: [student, question]

const view = () => { const v = location.hash.slice(1); return ["list", "projector"].includes(v) ? v : "grid" }
const current = () => data.labs.find((l) => l.id === lab) || data.labs[0]
const cellOf = (s, q) => s.cells[current().id]?.[q]
const sign = (c) => c.half ? "◐" : c.sign // as the students see it
const stuck = (c) => c && c.tries >= often && c.outcome !== "right" && c.outcome !== "carried"
const post = async (what, body) => {
  try {
    const answer = await call("/api/class/" + what, body)
    notice("refused")
    await look()
    return answer
  } catch (e) {
    notice("refused", h("p", {}, h("strong", {}, "Not done: "), e.message))
    return null
  }
}

async function look() {
  const r = await ask("/api/class/now?since=" + (data?.version ?? 0))
  if (r.status === 204) return
  const before = data
  data = await r.json()
  received = Date.now()
  if (!data.labs.some((l) => l.id === lab)) lab = data.labs[0].id
  tell(before)
  show()
}

// tell says aloud who has asked for help since.
function tell(before) {
  const asked = data.students.filter((s) => s.help && !before?.students.find((o) => o.id === s.id)?.help)
  if (asked.length && before && view() !== "projector") told.textContent = asked.map((s) => s.name).join(", ") + (asked.length === 1 ? " asks for help" : " ask for help")
}

function show() {
  const helping = data.students.filter((s) => s.help)
  document.title = (helping.length ? `(${helping.length}) ` : "") + "Lab hour"
  notice("trouble")
  if (data.trouble) notice("trouble", h("p", {}, h("strong", {}, "Look at this: "), data.trouble))
  document.body.dataset.view = view()
  showBar()
  const active = document.activeElement
  const kept = active?.id && main.contains(active) ? [active.id, active.value, active.selectionStart] : null
  if (view() === "projector") main.replaceChildren(projector())
  else main.replaceChildren(
    h("div", { class: "standing" }, h("h1", {}, current().number + " " + current().title), view() === "list" ? list() : grid(), legend(), orders()),
    h("div", { class: "side" }, help(), rounds(), triedOften()))
  if (kept) { // what is being typed stays
    const again = document.getElementById(kept[0])
    if (again) {
      if (kept[1] !== undefined && again.value !== undefined) again.value = kept[1]
      again.focus()
      if (kept[2] !== null && kept[2] !== undefined && again.setSelectionRange && again.type !== "number") again.setSelectionRange(kept[2], kept[2])
    }
  } else if (focus && active?.closest?.(".grid") === null && active === document.body) {
    refocus()
  }
  document.body.dataset.ready = "yes"
}

const secondsLeft = () => Math.max(0, Math.round(data.left - (Date.now() - received) / 1000))
const clock = () => data.left < 0 ? "" : secondsLeft() === 0 ? "time is up" : timeLeft(secondsLeft())

function showBar() {
  const here = data.students.filter((s) => s.here).length
  const link = (to, text) => h("a", { href: "#" + to, "aria-current": view() === to ? "page" : null }, text)
  const active = document.activeElement?.dataset?.bar
  bar.replaceChildren(
    h("nav", { "aria-label": "Labs", class: "labs-nav" }, ...data.labs.map((l) =>
      h("button", { type: "button", "data-bar": l.id, "aria-pressed": String(l.id === current().id), onclick: () => { lab = l.id; show() } }, "Lab " + l.number + (l.open ? "" : " (closed)")))),
    h("span", { class: "where" }, `${here} of ${data.students.length} here` + (data.waiting ? ` · ${data.waiting} ${data.waiting === 1 ? "box waits" : "boxes wait"}` : "")),
    h("span", { class: "total", id: "clock" }, clock()),
    h("nav", { "aria-label": "Views", class: "views" }, link("grid", "Grid"), link("list", "Table in words"), link("projector", "Projector")))
  if (active) bar.querySelector(`[data-bar="${active}"]`)?.focus()
}

// in words, for those who do not see the signs
function said(s, q) {
  const c = cellOf(s, q.id)
  const parts = [c ? words[c.outcome] || c.outcome : "not answered"]
  if (c?.half) parts.push("half the marks")
  if (c?.slip) parts.push(c.slip)
  if (c && c.tries > 1) parts.push(c.tries + " tries")
  if (s.at === q.id && s.lab === current().id && s.here) parts.push("is here now")
  return parts.join(", ")
}

function nameButton(s) {
  return h("button", { type: "button", class: "name", onclick: () => openStudent(s.id) },
    s.help && h("span", { class: "asks", "aria-hidden": "true" }, "?"), s.name,
    h("span", { class: "unseen" }, (s.help ? ", asks for help" : "") + (s.here ? "" : ", not here") + (s.frozen ? ", taken in" : "")))
}

function grid() {
  const { questions } = current()
  const head = h("tr", {}, h("th", { scope: "col" }, "Student"), ...questions.map((q) => h("th", { scope: "col", class: "question-head" }, h("span", {}, q.title))), h("th", { scope: "col", class: "sum" }, data.assessed ? "entered" : "right"))
  const rows = data.students.map((s) => h("tr", { class: (s.here ? "" : "away ") + (s.help ? "helping" : ""), "data-student": s.id },
    h("th", { scope: "row" }, nameButton(s)),
    ...questions.map((q) => {
      const c = cellOf(s, q.id)
      const at = s.here && s.at === q.id && s.lab === current().id
      return h("td", { role: "gridcell", tabindex: "-1", "data-q": q.id, "data-outcome": c?.outcome || "blank", class: (at ? "at " : "") + (stuck(c) ? "often" : ""), title: `${s.name}, ${q.title}: ${said(s, q)}` },
        h("span", { "aria-hidden": "true" }, c ? sign(c) : ""), stuck(c) && h("small", { "aria-hidden": "true" }, c.tries), h("span", { class: "unseen" }, said(s, q)))
    }),
    h("td", { class: "sum" }, String(questions.filter((q) => { const c = cellOf(s, q.id); return c && (data.assessed || c.outcome === "right" || c.outcome === "carried") }).length))))
  const table = h("table", { class: "grid", "aria-label": "Students and questions; the arrow keys move between the cells" }, h("thead", {}, head), h("tbody", {}, ...rows))
  const first = table.querySelector("[role=gridcell]")
  const stop = (focus && table.querySelector(`[data-student="${CSS.escape(focus[0])}"] [data-q="${CSS.escape(focus[1])}"]`)) || first
  if (stop) stop.tabIndex = 0
  table.addEventListener("keydown", move)
  table.addEventListener("focusin", (e) => {
    const td = e.target.closest("[role=gridcell]")
    if (!td) return
    table.querySelectorAll("[role=gridcell][tabindex='0']").forEach((o) => { o.tabIndex = -1 })
    td.tabIndex = 0
    focus = [td.closest("tr").dataset.student, td.dataset.q]
  })
  table.addEventListener("click", (e) => { const td = e.target.closest("[role=gridcell]"); if (td) openStudent(td.closest("tr").dataset.student) })
  return h("div", { class: "wide", tabindex: "0", role: "region", "aria-label": "The class" }, table)
}

function move(e) {
  const td = e.target.closest("[role=gridcell]")
  if (!td) return
  const row = td.closest("tr")
  const i = [...row.cells].indexOf(td)
  const to = { ArrowRight: row.cells[i + 1], ArrowLeft: row.cells[i - 1], ArrowDown: row.nextElementSibling?.cells[i], ArrowUp: row.previousElementSibling?.cells[i],
    Home: row.cells[1], End: row.cells[row.cells.length - 2] }[e.key]
  if (e.key === "Enter") return openStudent(row.dataset.student)
  if (!(e.key.startsWith("Arrow") || e.key === "Home" || e.key === "End")) return
  e.preventDefault()
  if (to?.matches("[role=gridcell]")) to.focus()
}

function refocus() {
  main.querySelector(`[data-student="${CSS.escape(focus[0])}"] [data-q="${CSS.escape(focus[1])}"]`)?.focus({ preventScroll: true })
}

function list() {
  const { questions } = current()
  const names = (s, of) => questions.filter((q) => of(cellOf(s, q.id), q)).map((q) => q.title + (cellOf(s, q.id)?.slip ? ` (${cellOf(s, q.id).slip})` : "")).join("; ") || "none"
  const right = (c) => c && (c.outcome === "right" || c.outcome === "carried")
  return h("div", { class: "wide", tabindex: "0", role: "region", "aria-label": "The class in words" }, h("table", { class: "in-words" },
    h("thead", {}, h("tr", {}, ...["Student", "Where", data.assessed ? "Entered" : "Right", data.assessed ? "Cannot be read" : "Not right", "Tried three times or more", "Help"].map((t) => h("th", { scope: "col" }, t)))),
    h("tbody", {}, ...data.students.map((s) => h("tr", {},
      h("th", { scope: "row" }, nameButton(s)),
      h("td", {}, s.here ? questions.find((q) => q.id === s.at && s.lab === current().id)?.title || (s.lab && s.lab !== current().id ? "in another lab" : "in the text") : s.ever ? "away" : "not come yet"),
      h("td", {}, data.assessed ? `${questions.filter((q) => cellOf(s, q.id)).length} of ${questions.length}` : `${questions.filter((q) => right(cellOf(s, q.id))).length} of ${questions.length}`),
      h("td", {}, names(s, (c) => c && (data.assessed ? c.outcome === "unreadable" : !right(c) && c.outcome !== "waiting" && c.outcome !== "recorded"))),
      h("td", {}, names(s, (c) => stuck(c))),
      h("td", {}, s.help ? "asks for help" : "no"))))))
}

const legend = () => h("p", { class: "soft small legend" }, data.assessed ? "• entered · ✗ cannot be read · … waits for a reader" : "✓ right or carried · ◐ half the marks · △ slip or unit · ✗ off or unreadable · … waits for a reader",
  " · framed: the student is here now · a number: tries of a question that is not right yet · ? asks for help")

const section = (id, title, ...content) => h("section", { "aria-labelledby": id }, h("h2", { id }, title), ...content)
const since = (when) => Math.max(0, Math.floor((Date.now() - Date.parse(when)) / 60000))

function help() {
  const all = data.students.filter((s) => s.help).sort((a, b) => a.help.localeCompare(b.help))
  const titles = (s) => data.labs.find((l) => l.id === s.lab)?.questions.find((q) => q.id === s.at)?.title
  return section("h-help", "Asks for help", all.length === 0 ? h("p", { class: "soft" }, "No one at the moment.") : h("ul", { class: "people" }, ...all.map((s) =>
    h("li", {}, nameButton(s), h("span", { class: "soft" }, [titles(s), since(s.help) ? since(s.help) + " min" : "just now"].filter(Boolean).join(" · ")),
      h("button", { type: "button", id: "helped-" + s.id, "aria-label": "Helped " + s.name, onclick: () => post("helped", { student: s.id }) }, "Helped")))))
}

function triedOften() {
  const all = data.students.flatMap((s) => current().questions.filter((q) => stuck(cellOf(s, q.id))).map((q) => [s, q, cellOf(s, q.id)]))
  if (data.assessed || all.length === 0) return ""
  return section("h-often", "Tried three times or more", h("ul", { class: "people" }, ...all.sort((a, b) => b[2].tries - a[2].tries).slice(0, 10).map(([s, q, c]) =>
    h("li", {}, nameButton(s), h("span", { class: "soft" }, `${q.title} · ${c.tries} tries`)))))
}

function rounds(named = true) {
  if (data.assessed) return ""
  const all = data.rounds.filter((r) => r.lab === current().id).slice(0, named ? 5 : 4)
  return section("h-rounds", "Slips going round", all.length === 0 ? h("p", { class: "soft" }, "None in the last 20 minutes.") : h("ol", { class: "rounds" }, ...all.map((r) =>
    h("li", {}, h("strong", {}, r.slip), h("span", { class: "soft" }, ` ${r.title} · ${r.students} ${r.students === 1 ? "student" : "students"}`), h("p", {}, ...r.remedy.split("\n").flatMap((t, i) => i ? [h("br"), t] : [t]))))))
}

function orders() {
  const note = h("textarea", { id: "note", rows: "2", maxlength: "500" })
  note.value = data.note
  const minutes = h("input", { id: "minutes", type: "number", min: "1", max: "1440", value: "50", class: "minutes" })
  const frozen = data.students.length > 0 && data.students.every((s) => s.frozen)
  const take = h("button", { type: "button", id: "take", onclick: () => sure(take, "Everyone's work is closed and copied.", "Take in now", () => post("take", {})) }, "Freeze and take in…")
  return section("h-orders", "The hour",
    h("ul", { class: "people" }, ...data.labs.map((l) => h("li", {}, h("span", {}, `Lab ${l.number} ${l.title}`),
      h("button", { type: "button", id: "lab-" + l.id, "aria-label": (l.open ? "Close" : "Open") + " lab " + l.number, onclick: () => post("lab", { lab: l.id, on: !l.open }) }, l.open ? "Close" : "Open")))),
    h("label", { class: "field", for: "note" }, h("span", {}, "A note to all"), note),
    h("p", { class: "row" }, h("button", { type: "button", id: "send", onclick: () => post("note", { note: note.value }) }, data.note ? "Change the note" : "Show the note"),
      data.note && h("button", { type: "button", id: "unsend", class: "quiet-button", onclick: () => { document.getElementById("note").value = ""; post("note", { note: "" }) } }, "Remove it")),
    h("p", { class: "row" }, h("label", { for: "minutes" }, "Ends in "), minutes, " min",
      h("button", { type: "button", id: "set-end", onclick: () => post("end", { on: true, minutes: Number(minutes.value) }) }, "Set the end"),
      data.left >= 0 && h("button", { type: "button", id: "no-end", class: "quiet-button", onclick: () => post("end", { on: false }) }, "No end")),
    h("p", { class: "row" }, take,
      h("button", { type: "button", id: "freeze", class: "quiet-button", onclick: () => post("freeze", { on: !frozen }) }, frozen ? "Let all go on" : "Freeze only")),
    data.taken && h("div", { class: "taken" }, h("p", {}, h("strong", {}, data.taken + "."), " Mark them with"), ...data.labs.map((l) => h("pre", { tabindex: "0" }, l.mark))))
}

// sure asks once more, in the place of the button.
function sure(button, why, word, act) {
  const yes = h("button", { type: "button", class: "run", onclick: act }, word)
  button.replaceWith(h("span", { class: "sure" }, why + " ", yes))
  yes.focus()
}

function openStudent(id) {
  const s = data.students.find((o) => o.id === id)
  if (!s) return
  const extra = h("input", { id: "extra", type: "number", min: "0", max: "1440", value: String(s.extra), class: "minutes" })
  const card = h("div", {})
  const make = h("button", { type: "button", onclick: async () => {
    const c = await post("card", { student: id })
    if (c) card.replaceChildren(h("p", {}, "The old card opens nothing any more. Show or copy this one now; it cannot be shown again."), h("p", { class: "new-code" }, c.code), h("p", {}, c.address), h("div", { class: "new-qr", html: c.qr }))
  } }, "Make another card")
  const rows = current().questions.filter((q) => cellOf(s, q.id)).map((q) => h("li", {}, h("span", { "aria-hidden": "true" }, sign(cellOf(s, q.id)) + " "), q.title + ": " + said(s, q)))
  dialog.replaceChildren(
    h("h2", { id: "student-name" }, s.name), h("p", { class: "soft" }, s.id + (s.here ? " · here" : s.ever ? " · away" : " · has not come yet") + (s.frozen ? " · taken in" : "")),
    rows.length ? h("ul", { class: "answers" }, ...rows) : h("p", { class: "soft" }, "Nothing entered yet."),
    h("p", { class: "row" }, h("label", { for: "extra" }, "Extra time "), extra, " min", h("button", { type: "button", onclick: () => post("extra", { student: id, minutes: Number(extra.value) }) }, "Set")),
    h("p", { class: "row" }, s.help && h("button", { type: "button", onclick: () => { dialog.close(); post("helped", { student: id }) } }, "Helped"),
      h("button", { type: "button", onclick: () => { dialog.close(); post("freeze", { student: id, on: !s.frozen }) } }, s.frozen ? "Let go on" : "Freeze"), make),
    card, h("p", { class: "row end" }, h("button", { type: "button", class: "run", onclick: () => dialog.close() }, "Close")))
  dialog.showModal()
}
dialog.addEventListener("close", () => { dialog.replaceChildren(); if (focus && view() === "grid") refocus() })

// The projector shows the class and no one in it.
function projector() {
  const { questions, number, title } = current()
  const groups = data.assessed ? [["recorded", "•", "entered"], ["off", "✗", "cannot be read"]] : [["right", "✓", "right"], ["slip", "△", "slip or unit"], ["off", "✗", "off"]]
  const group = (o) => o === "carried" ? "right" : o === "unit" ? "slip" : o === "unreadable" ? "off" : o === "waiting" && data.assessed ? "recorded" : o
  const n = Math.max(1, data.students.length)
  return h("div", { class: "projector" },
    h("h1", {}, `${number} ${title}`, clock() && h("span", { class: "soft", id: "big-clock" }, " " + clock())),
    data.note && h("p", { class: "big-note" }, data.note),
    h("div", { class: "beside" },
      h("table", { class: "bars" }, h("caption", { class: "unseen" }, "How many of the class have answered each question, and how"),
        h("thead", { class: "unseen" }, h("tr", {}, h("th", { scope: "col" }, "Question"), h("th", { scope: "col" }, "Answers"))),
        h("tbody", {}, ...questions.map((q) => {
          const count = Object.fromEntries(groups.map(([g]) => [g, data.students.filter((s) => { const c = cellOf(s, q.id); return c && group(c.outcome) === g }).length]))
          const some = groups.filter(([g]) => count[g])
          return h("tr", {}, h("th", { scope: "row" }, q.title), h("td", {}, h("div", { class: "bar", "aria-hidden": "true" }, ...some.map(([g, sign]) => h("span", { "data-outcome": g, style: `width:${100 * count[g] / n}%` }, `${sign} ${count[g]}`))),
            h("span", { class: "unseen" }, some.map(([g, , word]) => `${count[g]} ${word}`).join(", ") || "no answers yet")))
        }))),
      rounds(false)))
}

function noKey() {
  notice("lost")
  main.replaceChildren(h("h1", {}, "This tab has no key"), h("p", {}, "Each address works only once. Press Enter in the terminal that runs ", h("code", {}, "gravlab teach"), " to get a new one, and open it here or in another tab."))
  document.body.dataset.ready = "no"
}

async function begin() {
  if (!(await enter())) return noKey()
  try {
    await look()
  } catch (e) {
    if (e instanceof Refused && e.status === 401) return noKey()
  }
}

const tick = async () => {
  if (data && document.visibilityState === "visible") {
    try { await look() } catch {} // it is said above the page
    for (const id of ["clock", "big-clock"]) {
      const e = document.getElementById(id)
      if (e) e.textContent = (id === "big-clock" ? " " : "") + clock()
    }
  }
  setTimeout(tick, 1500)
}
setTimeout(tick, 1500)
document.querySelector(".skip").addEventListener("click", (e) => { e.preventDefault(); main.focus() })
addEventListener("keydown", (e) => { if (e.key === "Escape" && view() === "projector") location.hash = "grid" })
addEventListener("hashchange", () => { if (ownKey()) begin(); else if (data) { told.textContent = ""; show(); main.focus({ preventScroll: true }) } })
whenKey(() => { if (document.body.dataset.ready === "no") begin() })
whenBack(() => look().catch(() => {}))
begin()
