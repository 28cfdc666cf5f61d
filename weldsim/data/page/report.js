// The report's own script: choice of units, the view, folded parts opened for paper.
(function () {
  "use strict";
  const body = document.body;
  const scenes = [...document.querySelectorAll("script.scene")];
  const place = document.getElementById("view");
  let view = null;

  function units(word) {
    body.dataset.units = word;
    for (const span of document.querySelectorAll("span.q")) {
      const { m, u } = span.dataset;
      span.textContent = word === "us" ? u : word === "both" ? `${m} (${u.trim()})` : m;
    }
    if (view) view.setUnits(word);
  }

  if (place && scenes.length) {
    const read = (i) => JSON.parse(scenes[i].textContent);
    view = window.weldsimView(place, read(0), { units: body.dataset.units });
    window.weldsimReportView = view;
    const which = document.getElementById("which");
    if (which) which.addEventListener("change", () => view.update(read(Number(which.value))));
  }
  for (const button of document.querySelectorAll('input[name="units"]')) {
    button.addEventListener("change", () => button.checked && units(button.value));
  }

  for (const button of document.querySelectorAll("button.print-bench")) {
    button.addEventListener("click", () => {
      const fold = button.closest("details");
      const drawing = fold.querySelector(".drawing");
      const layout = (fold.closest("details:not(.bench)") || document).querySelector("figure.layout img");
      if (layout && !drawing.firstChild) drawing.append(layout.cloneNode());
      fold.classList.add("printed");
      body.classList.add("bench-alone");
      window.print();
      body.classList.remove("bench-alone");
      fold.classList.remove("printed");
    });
  }

  let opened = [];
  window.addEventListener("beforeprint", () => {
    opened = [...document.querySelectorAll("details:not([open])")];
    for (const fold of opened) fold.open = true;
  });
  window.addEventListener("afterprint", () => {
    for (const fold of opened) fold.open = false;
    opened = [];
  });
})();
