// The values of a box that are there to be changed: lines such as
//
//	speed, apart := 1.7, 6.0 // m/s, m: what it is
//
// which are ordinary Go, so that every front end has them.

const digits = String.raw`[-+]?\d*\.?\d+(?:e[-+]?\d+)?`
const line = new RegExp(String.raw`^\t?(\w+(?:, \w+)*) := (${digits}(?:, ${digits})*)[ \t]+// (.*)$`, "gm")

// fields lists them: name, value, unit ("" if the line does not say) and, with the last
// of a line, what the line says besides.
export function fields(source) {
  const all = []
  for (const [, left, right, comment] of source.matchAll(line)) {
    const names = left.split(", "), values = right.split(", ")
    if (names.length !== values.length) continue
    const { units, note } = read(comment, names.length)
    names.forEach((name, i) => {
      if (name !== "_" && !grows(source, name)) all.push({ name, value: values[i], unit: units[i] || "", note: i < names.length - 1 ? "" : note })
    })
  }
  return all
}

// grows reports whether the code gives a name another value later: then the first one is no input.
const grows = (source, name) => new RegExp(String.raw`^.*\b${name}(?:\+\+|--|,[\w, ]*[^:=<>!]=[^=]| *[-+*/]?=[^=])`, "m").test(source.replace(/\/\/.*/g, ""))

// read takes the units of n values from what stands behind them: "m/s, m", "m along the
// swing; try 0.3", or one for all of them.
function read(comment, n) {
  const at = comment.search(/[:;]/)
  const list = (at < 0 ? comment : comment.slice(0, at)).split(", ")
  const [last, ...words] = list.at(-1).split(" ")
  const isUnit = (u) => /^(?:1\/|[\p{L}°%])\S*$/u.test(u)
  if (list.length === n && [...list.slice(0, -1), last].every(isUnit)) {
    const rest = at < 0 ? "" : comment.slice(at + 1).trim()
    return { units: [...list.slice(0, -1), last], note: [words.join(" "), rest].filter(Boolean).join("; ") }
  }
  if (list.length === 1 && words.length === 0 && isUnit(last)) return { units: Array(n).fill(last), note: at < 0 ? "" : comment.slice(at + 1).trim() }
  return { units: [], note: comment }
}

// put puts a value into the source, and says in problem why it cannot. A value that was written with
// a point keeps one, since 2 would be a whole number in Go, and a whole number stays one.
export function put(source, name, text) {
  const value = number(text)
  if (value === null) return { problem: "Enter a number, such as 1.5, 2e-3 or 1/3, without its unit." }
  let problem
  const changed = source.replace(line, (whole, left, right) => {
    const names = left.split(", "), values = right.split(", ")
    const i = names.indexOf(name)
    if (i < 0 || names.length !== values.length) return whole
    const pointed = /[.e]/i.test(values[i])
    if (!pointed && !/^[-+]?\d+$/.test(value)) {
      problem = `${name} counts something: enter a whole number.`
      return whole
    }
    values[i] = pointed && !/[.e]/.test(value) ? value + ".0" : value
    return whole.replace(left + " := " + right, left + " := " + values.join(", "))
  })
  return problem ? { problem } : { source: changed }
}

// number is what people type for one, as Go writes it: 1,5 and 1.5, −2, 1/3, 2*1.04; null if it is none.
function number(text) {
  const typed = text.trim().replaceAll(",", ".").replaceAll("−", "-").replaceAll("×", "*")
  if (new RegExp(`^${digits}$`, "i").test(typed)) return typed.toLowerCase()
  if (!new RegExp(String.raw`^\(*${digits}\)*(?: *[-+*/] *\(*${digits}\)*)*$`, "i").test(typed)) return null
  const parts = typed.toLowerCase().match(new RegExp(String.raw`\d*\.?\d+(?:e[-+]?\d+)?|[-+*/()]`, "g"))
  let at = 0
  const factor = () => {
    const p = parts[at++]
    if (p === "(") {
      const v = sum()
      return parts[at++] === ")" ? v : NaN
    }
    return p === "-" ? -factor() : p === "+" ? factor() : p === undefined ? NaN : Number(p)
  }
  const product = () => {
    let v = factor()
    while (parts[at] === "*" || parts[at] === "/") v = parts[at++] === "*" ? v * factor() : v / factor()
    return v
  }
  const sum = () => {
    let v = product()
    while (parts[at] === "+" || parts[at] === "-") v = parts[at++] === "+" ? v + product() : v - product()
    return v
  }
  const v = sum()
  return at === parts.length && Number.isFinite(v) ? String(Number(v.toPrecision(12))) : null
}
