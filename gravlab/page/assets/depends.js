// What the output of a box depends on, as madeOf of the program has it: its code, and what the
// boxes above it declare, but for functions that it does not use.

const topLevel = /^(?:func|var|const|type|import)\b(?: ([a-zA-Z_]\w*)\()?/gm
const unread = /"(?:[^"\\\n]|\\.)*"|`[^`]*`|\/\/[^\n]*|\/\*[^]*?\*\//g

// onlyFunctions are the names of the functions of a text that declares functions and nothing
// else; else there are none.
function onlyFunctions(text) {
  const names = [...text.matchAll(topLevel)].map((m) => m[1])
  return names.some((name) => !name || name === "init") ? [] : names
}

// uses reports whether a text names something that it does not declare itself.
function uses(text, name) {
  if (!text.includes(name)) return false
  const read = text.replace(unread, " ")
  return new RegExp(`\\b${name}\\b`).test(read) && !new RegExp(`\\bvar [\\w, ]*\\b${name}\\b|\\b${name}\\b[\\w, ]*:=`).test(read)
}

// madeOf is a text that differs where the output may. above are the sources of the boxes above.
export function madeOf(above, source) {
  const declared = above.map((text) => text.split(/^%%/m, 1)[0])
  const names = declared.map(onlyFunctions)
  const counts = names.map((list) => list.length === 0)
  const using = [source, ...declared.filter((_, i) => counts[i])]
  for (let k = 0; k < using.length; k++) {
    declared.forEach((text, i) => {
      if (counts[i] || !names[i].some((name) => uses(using[k], name))) return
      counts[i] = true
      using.push(text)
    })
  }
  return [...declared.filter((_, i) => counts[i]), source].join("\0")
}
