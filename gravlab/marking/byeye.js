(function () {
  "use strict"
  var data = JSON.parse(document.getElementById("rows").textContent)
  var inputs = Array.from(document.querySelectorAll("input.given"))
  var comments = Array.from(document.querySelectorAll("textarea.comment"))
  var key = "gravlab by eye " + data.print
  var kept = {}
  try { kept = JSON.parse(localStorage.getItem(key) || "{}") } catch (e) { kept = {} }
  function value(input) { return input.value.trim().replace(",", ".") }
  function good(input) {
    var v = value(input)
    return v === "" || (/^[0-9]+(\.[0-9]+)?$/.test(v) && Number(v) <= Number(input.dataset.of))
  }
  function look() {
    var n = 0, bad = 0
    inputs.forEach(function (input) {
      var ok = good(input)
      input.setAttribute("aria-invalid", ok ? "false" : "true")
      if (!ok) bad++
      else if (value(input) !== "") n++
    })
    document.getElementById("progress").textContent = n + " of " + inputs.length + " texts have marks" + (bad ? "; " + bad + " cannot be read" : "") + "."
  }
  function keep() {
    var all = {}
    inputs.forEach(function (input, i) { all[data.rows[input.dataset.row][5] + data.rows[input.dataset.row][0]] = [input.value, comments[i].value] })
    try { localStorage.setItem(key, JSON.stringify(all)) } catch (e) { /* the file can still be saved */ }
    look()
  }
  inputs.forEach(function (input, i) {
    var had = kept[data.rows[input.dataset.row][5] + data.rows[input.dataset.row][0]]
    if (had) { input.value = had[0]; comments[i].value = had[1] }
    input.addEventListener("input", keep)
    comments[i].addEventListener("input", keep)
    input.addEventListener("keydown", function (e) {
      if (e.key !== "Enter") return
      e.preventDefault()
      var next = inputs[i + (e.shiftKey ? -1 : 1)]
      if (next) { next.focus(); next.select(); next.closest("article").scrollIntoView({ block: "start" }) }
    })
  })
  function cell(text) { return '"' + String(text).replace(/"/g, '""') + '"' }
  document.getElementById("save").addEventListener("click", function () {
    var bad = inputs.find(function (input) { return !good(input) })
    if (bad) { bad.focus(); return }
    var lines = [data.header.map(cell).join(",")]
    inputs.forEach(function (input, i) {
      var row = data.rows[input.dataset.row].slice()
      row[6] = value(input)
      row[7] = row[6] === "" ? "" : comments[i].value
      lines.push(row.map(cell).join(","))
    })
    data.others.forEach(function (row) { lines.push(row.map(cell).join(",")) })
    var a = document.createElement("a")
    a.href = URL.createObjectURL(new Blob([lines.join("\r\n") + "\r\n"], { type: "text/csv" }))
    a.download = "by-eye.csv"
    a.click()
  })
  look()
  if (inputs[0]) inputs[0].focus()
})()
