(function () {
  var library = document.getElementById("echarts").textContent;
  document.querySelectorAll("script.chart").forEach(function (data) {
    var button = document.createElement("button");
    button.textContent = "open as an interactive chart";
    button.addEventListener("click", function () {
      var parts = JSON.parse(data.textContent), frame = document.createElement("iframe");
      frame.setAttribute("sandbox", "allow-scripts");
      frame.title = "interactive chart";
      frame.className = "chart";
      frame.srcdoc = parts[0] + library + parts[1];
      button.replaceWith(frame);
    });
    data.after(button);
  });
})();
