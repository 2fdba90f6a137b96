// The picture itself: nearer to the chosen one, and back.
function planView(plan, chosen) {
  var whole = plan.getAttribute("viewBox").split(" ").map(Number);
  var letters = Number(plan.dataset.letter);
  var near = document.getElementById("nearer"), all = document.getElementById("all");

  function look(x, y, w, h) {
    plan.setAttribute("viewBox", [x, y, w, h].join(" "));
    var scale = w / whole[2];
    plan.querySelectorAll("g.words").forEach(function (group) { group.setAttribute("font-size", letters * scale); });
    plan.querySelectorAll(".ring").forEach(function (ring) { ring.setAttribute("r", 0.75 * letters * scale); });
    plan.querySelectorAll(".mark").forEach(function (mark) {
      var at = mark.dataset.at.split(" ");
      mark.setAttribute("transform", "translate(" + at[0] + " " + at[1] + ") scale(" + scale + ") translate(" +
        -at[0] + " " + -at[1] + ")");
    });
  }

  function nearer() {
    var group = chosen();
    if (!group) { return; }
    var box = group.getBBox();
    var w = Math.max(box.width * 1.5, box.height * 1.5 * whole[2] / whole[3], whole[2] / 8);
    w = Math.min(w, whole[2]);
    var h = w * whole[3] / whole[2];
    look(box.x + box.width / 2 - w / 2, box.y + box.height / 2 - h / 2, w, h);
    plan.classList.add("near");
    all.hidden = false;
  }

  near.hidden = false;
  near.addEventListener("click", nearer);
  all.addEventListener("click", function () {
    look(whole[0], whole[1], whole[2], whole[3]);
    plan.classList.remove("near");
    all.hidden = true;
    near.focus();
  });
  return { follow: function () { if (plan.classList.contains("near")) { nearer(); } }, letters: letters };
}
