// The values of a box that are there to be changed: lines such as
//
//	speed, apart := 1.7, 6.0 // m/s, m: what it is
//
// which are ordinary Go, so that every front end has them.

const number = String.raw`[-+]?\d*\.?\d+(?:e[-+]?\d+)?`
const line = new RegExp(String.raw`^\t?(\w+(?:, \w+)*) := (${number}(?:, ${number})*)[ \t]+// (.*)$`, "gm")

// fields lists them: name, value, unit ("" if the line does not say) and, with the last
// of a line, what the line says besides.
export function fields(source) {
  const all = []
  for (const [, left, right, comment] of source.matchAll(line)) {
    const names = left.split(", "), values = right.split(", ")
    if (names.length !== values.length) continue
    const { units, note } = read(comment, names.length)
    names.forEach((name, i) => {
      if (name !== "_") all.push({ name, value: values[i], unit: units[i] || "", note: i < names.length - 1 ? "" : note })
    })
  }
  return all
}

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

// put puts a value into the source; null if it is no number. A value that was written
// with a point keeps one, since 2 would be a whole number in Go.
export function put(source, name, text) {
  let value = text.trim().replace(",", ".").replace("−", "-")
  if (!new RegExp(`^${number}$`, "i").test(value)) return null
  return source.replace(line, (whole, left, right) => {
    const names = left.split(", "), values = right.split(", ")
    const i = names.indexOf(name)
    if (i < 0 || names.length !== values.length) return whole
    if (/[.e]/.test(values[i]) && !/[.e]/i.test(value)) value += ".0"
    values[i] = value
    return whole.replace(left + " := " + right, left + " := " + values.join(", "))
  })
}
