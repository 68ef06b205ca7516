// A recording with the accelerometer of the device that shows the page: W3C, Device Orientation
// and Motion. The browser asks for leave only inside a tap, and sends events only while
// the page can be seen and the connection is encrypted.
import { h } from "./dom.js"

const longest = 180 // s
const countdown = 5 // s

// round writes a number as people read it.
const round = (x, digits) => Number(x.toFixed(digits)).toString()

// recorder is the section that offers it; keep sends a recording and returns what it was.
export function recorder(ride, keep) {
  const state = h("p", { class: "ride-state", role: "status" })
  const button = h("button", { type: "button", class: "give" }, "Record with this device")
  const again = h("div", { class: "row" }, button)
  const result = h("div", {})
  let phase = "idle" // asking, counting, recording, sending
  let readings, begun, timers, lock, heard, unseen

  const say = (text) => { state.textContent = text }
  const fail = (text) => {
    stop()
    say(text)
  }

  function stop() {
    removeEventListener("devicemotion", take)
    document.removeEventListener("visibilitychange", hidden)
    for (const t of timers || []) { clearInterval(t); clearTimeout(t) }
    timers = []
    lock?.release?.().catch(() => {})
    lock = undefined
    phase = "idle"
    button.textContent = "Record with this device"
    button.disabled = false
  }

  function take(e) {
    const a = e.accelerationIncludingGravity
    if (!a || a.x === null || a.y === null || a.z === null) return
    heard = true
    if (phase !== "recording") return
    readings.time.push(e.timeStamp / 1000)
    readings.x.push(a.x)
    readings.y.push(a.y)
    readings.z.push(a.z)
  }

  function hidden() { if (document.visibilityState !== "visible" && phase === "recording") unseen = true }

  async function start() {
    if (!isSecureContext) return fail("This page is not encrypted, and browsers then keep the accelerometer to themselves. Your lecturer can serve it encrypted.")
    if (typeof DeviceMotionEvent === "undefined") return fail("This browser gives no accelerometer. Use a phone or a tablet, with the same card.")
    phase = "asking"
    button.disabled = true
    if (typeof DeviceMotionEvent.requestPermission === "function") {
      let leave
      try { leave = await DeviceMotionEvent.requestPermission() } catch { leave = "denied" }
      if (leave !== "granted") return fail("You or the browser did not allow it, and nothing was recorded. Tap again and allow it; if it does not ask, allow motion sensors for this page in the settings of the browser.")
    }
    button.disabled = false
    readings = { time: [], x: [], y: [], z: [] }
    heard = unseen = false
    result.replaceChildren()
    phase = "counting"
    button.textContent = "Cancel"
    addEventListener("devicemotion", take)
    document.addEventListener("visibilitychange", hidden)
    try { lock = await navigator.wakeLock?.request("screen") } catch {} // the screen may go dark; that is told as a gap
    if (phase !== "counting") return // cancelled meanwhile
    let left = countdown
    const count = () => {
      if (left > 0) return say(`Lay it down. Recording begins in ${left--} s.`)
      if (!heard) return fail("No readings come: this device has no accelerometer, or the browser keeps it back. Use a phone or a tablet, with the same card.")
      clearInterval(timers[0])
      phase = "recording"
      begun = performance.now()
      button.textContent = "Stop"
      timers.push(setInterval(() => {
        const n = readings.time.length
        say(`Recording: ${Math.round((performance.now() - begun) / 1000)} s, ${n} readings.`)
      }, 1000), setTimeout(finish, longest * 1000))
      say("Recording.")
    }
    timers = [setInterval(count, 1000)]
    count()
  }

  async function finish() {
    stop()
    await send()
  }

  async function send() {
    phase = "sending"
    button.disabled = true
    say("Saving…")
    try {
      const had = await keep(readings)
      say("")
      result.replaceChildren(...told(had))
    } catch (e) {
      say(e.status ? `Not saved: ${e.message}.` : "Not saved yet: there is no connection. The recording waits in this tab.")
      if (!e.status || e.status >= 500) {
        result.replaceChildren(h("button", { type: "button", onclick: send }, "Try to save it again"))
      }
    }
    phase = "idle"
    button.disabled = false
  }

  // told says what was really had, and what to do with it.
  function told(r) {
    const gaps = r.gaps || []
    const facts = [
      `${r.samples} readings in ${round(r.seconds, 1)} s: ${round(r.rate, 1)} per second.`,
      r.step > 0 ? `Steps of ${round(r.step, 4)} m/s². The browser may make them coarser than the sensor's own.` : "All readings are the same.",
      gaps.length === 0 ? "No gaps." : `${gaps.length} ${gaps.length === 1 ? "gap" : "gaps"}: ` +
        gaps.slice(0, 5).map((g) => `${round(g.long, 2)} s at ${round(g.at, 1)} s`).join(", ") + (gaps.length > 5 ? " and more" : "") + ". The reading in a gap is not known; look whether the ride depends on it.",
      `At rest it read ${round(r.rest, 2)} m/s² upward.`,
    ]
    if (!r.still) facts.push("It did not lie still in the first three seconds, so that the direction of up is uncertain. Record again.")
    if (r.turned) facts.push("It lay another way at the end than at the begin. The column reading is then not upward all the time.")
    if (unseen) facts.push("The page was not in view for some time. Browsers send no readings then.")
    if (r.dropped > 0) facts.push(`${r.dropped} readings with no time of their own were left out.`)
    return [
      h("p", {}, h("strong", {}, "Saved beside your notebook as ", h("code", {}, r.file), ".")),
      h("ul", {}, ...facts.map((f) => h("li", {}, f))),
      h("p", {}, "To use it, write ", h("code", {}, `rec := sheet.OwnRecording("${r.file}")`), " in the boxes above, and the times at which your lift stood still. Its columns are ", h("code", {}, "time"), " and ", h("code", {}, "reading"),
        ", as in the recording there, and the three axes. Steps between the times are not all the same: add up with the times themselves. The answers of your own ride are judged only if your lecturer has measured it too."),
    ]
  }

  button.addEventListener("click", () => {
    if (phase === "idle") start()
    else if (phase === "recording") finish()
    else if (phase === "counting") fail("Cancelled. Nothing was recorded.")
  })
  return h("section", { class: "ride", "aria-labelledby": "ride" },
    h("h3", { id: "ride" }, "Your own ride, recorded with this device"),
    h("p", {}, ride.does, ` It stops by itself after ${longest / 60} minutes. Keep this page in view.`),
    h("ul", { class: "cautions" }, ...ride.cautions.map((c) => h("li", {}, c))),
    again, state, result)
}
