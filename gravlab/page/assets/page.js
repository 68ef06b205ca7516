// The page: the list of labs at /, a lab at /lab/NAME.
import { h, notice, setting } from "./dom.js"
import { Refused, enter, ownKey, whenKey } from "./link.js"
import { showLab } from "./lab.js"
import { showList } from "./list.js"
import { askCode, cardCode, enterPlace, showPlace } from "./place.js"

const main = document.getElementById("main")
document.querySelector(".skip").addEventListener("click", (e) => {
  e.preventDefault()
  const text = main.querySelector(".column") || main // past the list of the lab's parts
  text.tabIndex = -1
  text.focus()
})

// missing is a page that cannot be shown, and the link back. why begins small, as
// the program's messages do.
const missing = (why) => [h("h1", {}, "This page cannot be shown"), h("p", {}, why[0].toUpperCase() + why.slice(1) + "."), h("p", {}, h("a", { href: "/" }, "All labs"))]

async function show() {
  const lab = location.pathname.match(/^\/lab\/([^/]+)$/)
  if (!lab && location.pathname !== "/") {
    main.className = "list"
    main.replaceChildren(...missing(`there is nothing at the address “${location.pathname}”`))
    document.body.dataset.ready = "yes"
    return
  }
  const code = setting.shared && cardCode()
  if (code) return enterPlace(main, code)
  if (!(await enter())) return noKey()
  try {
    if (lab) await showLab(main, decodeURIComponent(lab[1]))
    else await showList(main)
    if (setting.shared) showPlace()
  } catch (e) {
    if (e instanceof Refused && e.status === 401) return noKey()
    main.className = "list"
    main.replaceChildren(...missing(e.message))
  }
  document.body.dataset.ready = "yes"
}

function noKey() {
  notice("lost") // what to do is said below
  main.className = "list"
  if (setting.shared) return askCode(main)
  main.replaceChildren(
    h("h1", {}, "This tab has no key"),
    h("p", {}, "Each address works only once. Press Enter in the terminal that runs ", h("code", {}, "gravlab open"),
      " to get a new one, and open it here or in another tab. Open tabs then carry on by themselves."))
  document.body.dataset.ready = "no"
}

whenKey(() => { if (document.body.dataset.ready === "no") show() })
// A fresh address that is put into an open tab changes no more than the part behind the #.
addEventListener("hashchange", () => { if (ownKey()) enter(); else if (setting.shared && cardCode()) show() })

show()
