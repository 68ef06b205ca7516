// The link to the program: the keys, and what to do when it is gone.
import { h, notice, setting } from "./dom.js"

// On a computer that several readers share each has a name, so that none of them
// meets what another has left in the browser.
export const own = (name) => (setting.place ? name + ":" + setting.place : name)
let key = sessionStorage.getItem(own("key")) || ""
let lost = "" // "stopped": the program does not answer; "unknown": it does not know this tab
let timer = 0
let start = "" // the command that starts the program again
const waiting = [] // told when the program is back
const hoping = [] // told when this tab gets a key
const hearing = [] // told when another tab works on a lab
const tabs = new BroadcastChannel(own("gravlab")) // tabs of this origin only

export class Refused extends Error {
  constructor(status, message) {
    super(message)
    this.status = status
  }
}

function keep(k) {
  key = k
  sessionStorage.setItem(own("key"), k)
  for (const f of hoping) f()
  if (lost) retry()
}

// Other tabs may ask for the key, and hear of a new one after the program was
// started again.
tabs.onmessage = ({ data }) => {
  if (data === "key?" && key && !lost) tabs.postMessage({ key })
  else if (data.key && data.key !== key) keep(data.key)
  else if (data.taken) for (const f of hearing) f(data.taken)
}

// taken tells the other tabs that this one works on a lab, and whenTaken hears it.
export function taken(lab) { tabs.postMessage({ taken: lab }) }
export function whenTaken(f) { hearing.push(f) }

// ownKey is the key in the tab's address.
export const ownKey = () => new URLSearchParams(location.hash.slice(1)).get("key")

// enter gets the keys: with the address's own key, from this tab's memory, or
// from another tab.
export async function enter() {
  const once = ownKey()
  if (once) {
    history.replaceState(null, "", location.pathname)
    try {
      const r = await fetch("/enter", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ key: once }) })
      if (r.ok) {
        keep((await r.json()).page)
        tabs.postMessage({ key })
        learn()
        return true
      }
    } catch {} // the program has ended meanwhile
  }
  if (!key && (setting.place || !setting.shared)) {
    tabs.postMessage("key?")
    for (let i = 0; i < 20 && !key; i++) await new Promise((done) => setTimeout(done, 50))
  }
  if (key) learn()
  return key !== ""
}

// learn asks for what can no longer be asked for when it is needed.
async function learn() {
  if (setting.place) return // others start the program
  try { start = await call("/api/start") } catch {} // then the notice does without
}

// ask sends a request and returns the response.
export async function ask(path, body, more = {}) {
  let r
  try {
    r = await fetch(path, {
      method: body === undefined ? "GET" : "POST",
      headers: { "X-Gravlab-Key": key, "Content-Type": "application/json" },
      body: body === undefined ? undefined : JSON.stringify(body),
      ...more,
    })
  } catch (e) {
    if (e.name === "AbortError") throw e
    gone("stopped")
    throw new Refused(0, "the program does not answer")
  }
  if (r.ok) return r
  if (setting.shared && r.status >= 502 && r.status <= 504) { // a proxy that waits for the program
    gone("stopped")
    throw new Refused(0, "the program does not answer")
  }
  const { error } = await r.json().catch(() => ({ error: r.statusText }))
  if (r.status === 401) {
    gone("unknown")
    throw new Refused(401, setting.shared ? "this tab does not belong to the place that is open in this browser now" : "the program has been restarted and does not know this tab yet; open the address that it printed")
  }
  throw new Refused(r.status, error)
}

export const call = async (path, body) => (await ask(path, body)).json()

// whenBack is called each time the program answers again.
export function whenBack(f) { waiting.push(f) }

// whenKey is called when this tab gets a key of which it did not know.
export function whenKey(f) { hoping.push(f) }

export const isLost = () => lost !== ""
export const hasStopped = () => lost === "stopped"

function gone(how) {
  if (lost === "") again()
  if (lost === how) return
  lost = how
  if (setting.shared) {
    notice("lost", how === "stopped" ?
      h("p", {}, h("strong", {}, "There is no connection to the class."), " Go on typing: what you type is kept in this browser and saved as soon as the connection is back.") :
      h("p", {}, h("strong", {}, "This tab does not belong to the place that is open in this browser now."), " What you typed is kept. ", h("a", { href: "/" }, "Enter the code of your card"), " to carry on."))
  } else if (how === "stopped") {
    notice("lost", h("p", {}, h("strong", {}, "The program behind this page has stopped."),
      " What you typed stays here, and you can go on typing. Start it again with ", h("code", {}, start || setting.start || "gravlab open --port " + location.port),
      ". If it does not open a page by itself, open the address that it prints; this page then carries on."))
  } else {
    notice("lost", h("p", {}, h("strong", {}, "The program has been restarted and does not know this tab yet."),
      " Open the address that it printed in the terminal: in another tab, and this page carries on by itself; or in this one, and you go back to the lab. What you typed is kept."))
  }
}

function again() {
  clearTimeout(timer)
  timer = setTimeout(retry, 1500)
}

async function retry() {
  if (!lost) return
  try {
    const r = await fetch(setting.alive || "/api/labs", { headers: { "X-Gravlab-Key": key } })
    if (r.ok) {
      lost = ""
      notice("lost")
      for (const f of waiting) f()
      return
    }
    if (r.status === 401) gone("unknown")
    tabs.postMessage("key?")
  } catch {
    gone("stopped")
  }
  again()
}
