// The page of some changes: all of them are there, and the chosen one is shown.
(function () {
  var plan = document.getElementById("plan");
  var rows = Array.prototype.slice.call(document.querySelectorAll("#list a[data-item]"));
  if (!plan || !rows.length) { return; }
  var marks = {}, groups = {}, details = {}, chosen = null, cameFrom = null;
  var view = planView(plan, function () { return groups[chosen]; });
  document.documentElement.classList.add("scripted");
  document.querySelectorAll("#plan g.item").forEach(function (group) { groups[group.dataset.item] = group; });
  document.querySelectorAll("#plan a.mark").forEach(function (mark) { marks[mark.dataset.item] = mark; });
  document.querySelectorAll("article.detail").forEach(function (detail) { details[detail.id.slice(5)] = detail; });
  document.querySelectorAll(".hint").forEach(function (node) { node.hidden = false; });

  function choose(number, quietly) {
    if (chosen !== null) {
      toggle(chosen, false);
    }
    chosen = number;
    toggle(number, true);
    [groups[number], marks[number]].forEach(function (node) { if (node) { node.parentNode.appendChild(node); } });
    if (!quietly) {
      document.getElementById("row-" + number).scrollIntoView({ block: "nearest" });
      view.follow();
    }
  }

  function toggle(number, on) {
    var row = document.getElementById("row-" + number);
    if (on) { row.setAttribute("aria-current", "true"); } else { row.removeAttribute("aria-current"); }
    row.tabIndex = on ? 0 : -1;
    if (groups[number]) { groups[number].classList.toggle("chosen", on); }
    if (marks[number]) {
      marks[number].setAttribute("tabindex", on ? "0" : "-1");
      marks[number].classList.toggle("chosen", on);
    }
    if (details[number]) { details[number].hidden = !on; }
  }

  function order() { return rows.map(function (row) { return row.dataset.item; }); }

  function step(event, number, names, focus) {
    var list = names, place = list.indexOf(number), next = null;
    if (event.key === "ArrowDown" || event.key === "ArrowRight") { next = Math.min(place + 1, list.length - 1); }
    if (event.key === "ArrowUp" || event.key === "ArrowLeft") { next = Math.max(place - 1, 0); }
    if (event.key === "Home") { next = 0; }
    if (event.key === "End") { next = list.length - 1; }
    if (next === null || event.ctrlKey || event.altKey || event.metaKey) { return; }
    event.preventDefault();
    choose(list[next]);
    focus(list[next]);
  }

  function show(number) {
    details[number].focus({ preventScroll: true });
    details[number].scrollIntoView({ block: "nearest" });
  }

  rows.forEach(function (row) {
    var number = row.dataset.item;
    row.addEventListener("click", function (event) {
      event.preventDefault();
      cameFrom = row;
      choose(number);
      if (event.detail === 0) { show(number); }
    });
    row.addEventListener("keydown", function (event) {
      step(event, number, order(), function (next) { document.getElementById("row-" + next).focus(); });
    });
  });

  [groups, marks].forEach(function (nodes) {
    Object.keys(nodes).forEach(function (number) {
      nodes[number].addEventListener("click", function (event) {
        event.preventDefault();
        cameFrom = marks[number] || null;
        choose(number);
        if (event.detail === 0) { show(number); }
      });
    });
  });

  Object.keys(marks).forEach(function (number) {
    marks[number].addEventListener("keydown", function (event) {
      var names = order().filter(function (name) { return marks[name]; });
      step(event, number, names, function (next) { marks[next].focus(); });
    });
  });

  document.addEventListener("keydown", function (event) {
    if (event.key !== "Escape" || chosen === null) { return; }
    var inside = document.activeElement && document.activeElement.closest("article.detail");
    if (inside) { (cameFrom || document.getElementById("row-" + chosen)).focus(); }
  });

  order().forEach(function (number) { toggle(number, false); });
  var first = /^#item-(\d+)$/.exec(window.location.hash);
  choose(first && details[first[1]] ? first[1] : rows[0].dataset.item, true);
})();
