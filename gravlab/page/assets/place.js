// A reader's place where many readers share one program: coming in with a card, the strip at
// the foot of the page, and leaving.
import { h, notice, setting, timeLeft } from "./dom.js"
import { call, isLost } from "./link.js"

// cardCode is the code in the address of a card. It is taken out of the address at once.
export function cardCode() {
  const code = new URLSearchParams(location.hash.slice(1)).get("code")
  if (code) history.replaceState(null, "", location.pathname)
  return code
}

// enterPlace opens the place of a code; a code that opens none leads to the form.
export async function enterPlace(main, code) {
  let r
  try {
    r = await fetch("/enter", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ code }) })
  } catch {
    return askCode(main, code, "The class cannot be reached. Is this device in the right network?")
  }
  const answer = await r.json().catch(() => ({ error: r.statusText }))
  if (!r.ok) return askCode(main, code, answer.error[0].toUpperCase() + answer.error.slice(1) + ".")
  sessionStorage.setItem("key:" + answer.place, answer.page)
  location.replace(location.pathname.startsWith("/lab/") ? location.pathname : "/")
}

// askCode asks for the code of a card.
export function askCode(main, code = "", problem = "") {
  document.title = "Gravity labs"
  document.getElementById("bar").replaceChildren(h("span", { class: "mark" }, "gravlab"))
  notice("lost")
  const input = h("input", { name: "code", id: "code", value: code, autocomplete: "off", autocapitalize: "characters", spellcheck: "false", size: "24", "aria-describedby": "code-help" })
  const wrong = h("p", { class: "warning", role: "alert", hidden: !problem }, problem)
  const send = async (e) => {
    e.preventDefault()
    if (input.value.trim()) await enterPlace(main, input.value)
  }
  main.className = "list"
  main.replaceChildren(
    h("h1", {}, "Gravity labs"),
    h("p", { class: "lead" }, "Enter the code of your card."),
    wrong,
    h("form", { class: "entry", onsubmit: send },
      h("label", { class: "field", for: "code" }, h("span", {}, "Code"), input),
      h("button", { type: "submit", class: "give" }, "Open my place")),
    h("p", { class: "soft small", id: "code-help" }, "Small letters and missing hyphens do no harm. Your card opens the same place from any device, also from home while the class is open."))
  document.body.dataset.ready = "no"
  input.focus()
}

let state = {}

// showPlace shows the strip at the foot, and keeps asking what the lecturer has to say.
export async function showPlace() {
  const strip = document.getElementById("place")
  const help = h("button", { type: "button", "aria-pressed": "false", onclick: askHelp }, "Ask for help")
  const left = h("span", { class: "left" })
  strip.replaceChildren(h("span", { class: "reader" }, setting.reader), left, help, h("button", { type: "button", class: "quiet-button", onclick: leave }, "Leave"))
  strip.hidden = false
  const tell = () => {
    help.setAttribute("aria-pressed", String(!!state.help))
    help.textContent = state.help ? "Your lecturer knows; cancel" : "Ask for help"
    left.textContent = state.frozen ? "closed" : state.left > 0 ? timeLeft(state.left) : ""
    notice("class")
    if (state.note) notice("class", h("p", {}, h("strong", {}, "From your lecturer: "), state.note))
    notice("frozen")
    if (state.frozen) notice("frozen", h("p", {}, h("strong", {}, "Your work has been taken in."), " You can read it; changes are not saved any more."))
  }
  let shown = ""
  const look = async () => {
    if (document.visibilityState !== "visible" || isLost()) return
    try {
      state = await call("/api/place")
      const now = JSON.stringify(state)
      if (now !== shown) tell()
      shown = now
    } catch {} // it is said above the page
  }
  async function askHelp() {
    try {
      state = await call("/api/place/help", { on: !state.help })
      tell()
    } catch {}
  }
  const tick = async () => {
    await look()
    setTimeout(tick, 4000)
  }
  document.addEventListener("visibilitychange", look)
  await look()
  setTimeout(tick, 4000)
}

// leave closes the place in this browser: the next reader at this computer finds nothing.
async function leave() {
  dispatchEvent(new Event("leaving")) // a lab saves what is not saved yet
  try { await call("/leave", {}) } catch {}
  sessionStorage.clear()
  location.replace("/")
}
