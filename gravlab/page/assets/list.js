// The list of labs.
import { h, outOf, setting } from "./dom.js"
import { call } from "./link.js"

const about = {
  "laboratory class": "Measure gravity indoors: from weighing the Earth to detecting a mass that swings past.",
  "new survey hire": "From the sensor to a day in the field, and to an honest statement of what lies below.",
  "planetary and space": "Quiet instruments, free fall, and masses measured from above.",
}

const capital = (s) => s[0].toUpperCase() + s.slice(1)

export async function showList(main) {
  const { labs, tracks, last } = await call("/api/labs")
  document.getElementById("bar").replaceChildren(h("span", { class: "mark" }, "gravlab"))
  const own = labs.filter((l) => !l.file)
  const others = labs.filter((l) => l.file)
  document.title = "Gravity labs"
  main.className = "list"
  main.replaceChildren(...[
    h("h1", {}, "Gravity labs"),
    h("p", { class: "lead" }, "Each lab is a text to read, code to change and questions to answer. " + (labs.length && labs.every((l) => l.assessed) ?
      "Your answers are recorded; what they are worth comes with the marks." :
      "Each answer is checked at once: you see whether it is right and, if not, which mistake it looks like.")),
    goOn(labs.filter((l) => !l.closed), last),
    others.length > 0 && h("section", { "aria-labelledby": "yours" }, h("h2", { id: "yours" }, "Notebooks you opened"), h("ul", { class: "labs" }, ...others.map(card))),
    own.length > 0 && all(own, setting.shared ? [] : tracks),
    !setting.shared && lecturers(),
    h("p", { class: "soft small" }, setting.shared ? "Your work is kept on the computer of the class. Your card opens it from any device." :
      "Your work is kept on this machine, in working copies; the notebooks of the project stay as they are."),
  ].filter(Boolean))
}

// goOn is where the reader goes on: the last lab, or another that is begun and not done,
// or the next.
function goOn(labs, last) {
  const done = (l) => l.count > 0 && l.right === l.count
  const open = (l) => (l.begun || l.given > 0) && !done(l)
  const at = labs.find((l) => l.name === last && open(l)) || labs.find(open)
  const next = !at && labs.some((l) => l.begun || l.given > 0) && labs.find((l) => !l.begun && l.given === 0 && !l.file)
  const to = at || next
  if (!to) return null
  return h("p", { class: "continue" }, h("a", { href: "/lab/" + to.name, class: "big-link" }, at ? "Continue " : "Next: ", (to.number ? to.number + " " : "") + to.title),
    " ", h("span", { class: "soft" }, progress(to)))
}

// all is the list, each lab once, and the tracks as a filter.
function all(labs, tracks) {
  const words = h("p", { class: "soft about", role: "status" })
  const list = h("ul", { class: "labs" })
  const buttons = new Map()
  const choose = (track) => {
    for (const [t, b] of buttons) b.setAttribute("aria-pressed", t === track)
    const shown = labs.filter((l) => !track || l.tracks.length === 0 || l.tracks.includes(track))
    const hours = shown.reduce((sum, l) => sum + l.minutes, 0) / 60
    words.textContent = (about[track] ? about[track] + " " : "") + `${shown.length} ${shown.length === 1 ? "lab" : "labs"}, about ${hours < 2 ? hours.toFixed(1) : Math.round(hours)} hours.`
    list.replaceChildren(...shown.map(card))
    sessionStorage.setItem("track", track)
  }
  for (const t of tracks.length ? ["", ...tracks] : []) {
    buttons.set(t, h("button", { type: "button", onclick: () => choose(t) }, t ? capital(t) : "All labs"))
  }
  const kept = sessionStorage.getItem("track") || ""
  choose(buttons.has(kept) ? kept : "")
  return h("section", { "aria-labelledby": "all" }, h("h2", { id: "all", class: "unseen" }, "The labs"),
    h("div", { class: "filter", role: "group", "aria-label": "show the labs of a track" }, ...buttons.values()), words, list)
}

function card(l) {
  const facts = [l.minutes && "about " + l.minutes + " min", l.of && (l.of === 1 ? "1 mark" : l.of + " marks"),
    l.buildsOn.length && "builds on " + l.buildsOn.join(", "), l.file, l.closed].filter(Boolean)
  const share = l.of ? l.marks / l.of : 0
  const touched = l.begun || l.given > 0
  return h("li", { class: touched ? "card begun" : "card" },
    h("div", { class: "still" }, l.picture && h("img", { src: l.picture, alt: "", width: 320, height: 180, loading: "lazy" })),
    h("h3", {}, l.number && h("span", { class: "number" }, l.number + " "), l.closed ? l.title : h("a", { href: "/lab/" + l.name }, l.title)),
    l.asks && h("p", { class: "asks" }, l.asks),
    h("p", { class: "facts" }, facts.join(" · ")),
    touched && h("p", { class: "how-far" }, progress(l), l.of > 0 && h("span", { class: "gauge", "aria-hidden": "true" }, h("span", { style: `width:${Math.round(100 * share)}%` }))))
}

function progress(l) {
  if (!l.count) return l.begun ? "begun" : ""
  if (!l.begun && l.given === 0) return l.count === 1 ? "1 question" : `${l.count} questions`
  if (l.right === l.count) return "done, " + outOf(l.marks, l.of)
  return `${l.given} of ${l.count} answered` + (l.marks ? ", " + outOf(l.marks, l.of) : "")
}

function lecturers() {
  const step = (title, command, ...text) => h("li", {}, h("h3", {}, title), command && h("pre", { tabindex: "0" }, command), h("p", {}, ...text))
  return h("section", { class: "lecturers", "aria-labelledby": "lecturers" }, h("h2", { id: "lecturers" }, "For lecturers"),
    h("p", {}, "Every student gets the same lab with numbers and recordings of their own, and you mark the whole class with one command. Run these in a terminal in the folder of your clone."),
    h("ol", {},
      step("Hand out", "go run ./gravlab/cmd/gravlab handout --class class.csv --lab 01 --out handout-01 --assessed",
        "makes a folder for each student on your class list (a table with the columns id and name). It keeps a class key and the list of codes beside them, for you alone. With ", h("code", {}, "--assessed"), " the sheets are sealed: nothing in the student's copy can tell whether an answer is right."),
      step("Mark", "go run ./gravlab/cmd/gravlab mark --class class.csv --out marks-01 returned",
        "reads what came back, in whatever folders it lies, runs each notebook confined, and writes the marks, a page about the class, and a reply to each student. Mark again after you change a tolerance: nothing has to be run anew."),
      step("See what comes out", "",
        "Invented students, real pages: ", h("a", { href: "/sample/reply.html" }, "a reply to a student"), " and ", h("a", { href: "/sample/class.html" }, "the page about the class"), ". To see the lab as a student does, open it above.")),
    h("p", { class: "soft" }, "What a mark proves, resits, rosters and written answers: ", h("code", {}, "notebooks/README.md"), " is the page for lecturers. ", h("code", {}, "go run ./gravlab/cmd/gravlab verify"),
      " compares every model with published numbers."))
}
