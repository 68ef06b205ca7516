// The page: the list of labs at /, a lab at /lab/NAME.
import { h, notice } from "./dom.js"
import { Refused, enter, ownKey, whenKey } from "./link.js"
import { showLab } from "./lab.js"
import { showList } from "./list.js"

const main = document.getElementById("main")
document.querySelector(".skip").addEventListener("click", (e) => {
  e.preventDefault()
  const text = main.querySelector(".column") || main // past the list of the lab's parts
  text.tabIndex = -1
  text.focus()
})

async function show() {
  if (!(await enter())) return noKey()
  const lab = location.pathname.match(/^\/lab\/([^/]+)$/)
  try {
    if (lab) await showLab(main, decodeURIComponent(lab[1]))
    else await showList(main)
  } catch (e) {
    if (e instanceof Refused && e.status === 401) return noKey()
    main.className = "list"
    main.replaceChildren(h("h1", {}, "This cannot be shown"), h("p", {}, e.message), h("p", {}, h("a", { href: "/" }, "All labs")))
  }
  document.body.dataset.ready = "yes"
}

function noKey() {
  notice("lost") // what to do is said below
  main.className = "list"
  main.replaceChildren(
    h("h1", {}, "This tab has no key"),
    h("p", {}, "An address of this page works once. Go to the terminal in which ", h("code", {}, "gravlab open"),
      " runs and press Enter there: it prints a fresh address. Open it, in this tab or in another: this one then goes on by itself. So does a tab that is open already."))
  document.body.dataset.ready = "no"
}

whenKey(() => { if (document.body.dataset.ready === "no") show() })
// A fresh address that is put into an open tab changes no more than the part behind the #.
addEventListener("hashchange", () => { if (ownKey()) enter() })

show()
