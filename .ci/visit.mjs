// Enters a page that `gravlab open` serves by the address that it printed, and runs
// code in it as a reader's browser would: each code cell of a notebook, or one
// line if none is given. Prints what came of it.
//
//	node visit.mjs ADDRESS [NOTEBOOK or CARDS]
import { readFile } from "node:fs/promises"

const [address, notebook] = process.argv.slice(2)
const { origin, hash, pathname } = new URL(address)
const headers = { "Content-Type": "application/json", Origin: origin, "Sec-Fetch-Site": "same-origin" }

const send = async (path, body) => {
  const r = await fetch(origin + path, { method: body ? "POST" : "GET", headers, body: body && JSON.stringify(body) })
  if (!r.ok) throw new Error(`${path}: ${r.status} ${await r.text()}`)
  return r
}

const entered = await send("/enter", { key: new URLSearchParams(hash.slice(1)).get("key") })
headers.Cookie = entered.headers.get("set-cookie").split(";")[0]
headers["X-Gravlab-Key"] = (await entered.json()).page

if (pathname === "/lecturer") { // of a class: NOTEBOOK is the file with the cards
  const cards = [...(await readFile(notebook, "utf8")).matchAll(/class="code">([^<]+)</g)].map((m) => m[1])
  const lecturer = { ...headers }
  for (const code of cards) {
    for (const name of ["Cookie", "X-Gravlab-Key"]) delete headers[name]
    const came = await send("/enter", { code })
    headers.Cookie = came.headers.get("set-cookie").split(";")[0]
    headers["X-Gravlab-Key"] = (await came.json()).page
    const lab = "/api/lab/01-weighing-the-earth"
    await send(`${lab}?tab=visit&take=yes`)
    const text = await (await send(lab + "/run", { tab: "visit", cell: "code-06", source: '%%\nprintln("ran")' })).text()
    if (!text.includes("ran")) throw new Error("a box did not run: " + text)
    await send(lab + "/answer", { tab: "visit", question: "kappa", fields: { number: "1", unit: "N m/rad" } })
  }
  Object.assign(headers, lecturer)
  const { students } = await (await send("/api/class/now?since=0")).json()
  console.log(`${students.length} students`)
  if (students.length === 0 || students.some((s) => !s.cells["01-weighing-the-earth"]?.kappa)) throw new Error("the lecturer does not see the answers")
  process.exit(0)
}

const { labs } = await (await send("/api/labs")).json()
console.log(`${labs.length} labs`)
if (labs.length < 15) throw new Error("there are fifteen")

const lab = "/api/lab/00-first-steps"
const tab = "visit"
await send(`${lab}?tab=${tab}&take=yes`)
let sources = ['%%\nfmt.Println("six times seven is", 6*7)']
if (notebook) {
  const { cells } = JSON.parse(await readFile(notebook, "utf8"))
  sources = cells.filter((c) => c.cell_type === "code").map((c) => c.source)
}
for (const source of sources) {
  const text = await (await send(lab + "/run", { tab, cell: "code-05", source })).text()
  const events = text.trim().split("\n").map((line) => JSON.parse(line))
  for (const e of events) if (e.text || e.trouble) console.log(e.text || e.trouble)
  if (!events.at(-1).ok || !events.some((e) => e.text)) throw new Error("this code did not run:\n" + source + "\n" + text)
}
