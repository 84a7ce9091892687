"use strict";
(function () {
  document.documentElement.classList.add("scripted");
  function target() {
    try { return document.getElementById(decodeURIComponent(location.hash.slice(1))); } catch (error) { return null; }
  }
  // A place in a drawing that is not chosen is not on the page: choose its drawing before going there.
  function go() {
    var found = target(), sheet = found && found.closest(".sheet");
    if (!sheet) { return; }
    var pick = document.getElementById(sheet.dataset.pick);
    if (pick) { pick.checked = true; }
    // The flags that findings lead to stand in the plain form of the drawing.
    var plain = found.closest(".view.single") && found.closest(".drawings").querySelector(".view-single");
    if (plain) { plain.checked = true; }
    found.scrollIntoView({ block: found === sheet ? "start" : "center", inline: "center" });
  }
  window.addEventListener("hashchange", go);
  document.addEventListener("click", function (event) {
    var link = event.target.closest("a[href^='#']"), flag = event.target.closest("svg .flag");
    if (link && link.getAttribute("href") === location.hash) { setTimeout(go); }
    if (flag) {
      var number = flag.id.slice(flag.id.lastIndexOf("-") + 1);
      var back = flag.closest(".sheet").querySelector(".flags a[href$='finding-" + number + "']");
      if (back) { back.click(); }
    }
  });
  // What does not scroll need not be a stop on the way of the tabulator.
  function stops() {
    document.querySelectorAll(".scroll").forEach(function (box) {
      if (box.scrollWidth > box.clientWidth + 1) { box.tabIndex = 0; } else { box.removeAttribute("tabindex"); }
    });
  }
  window.addEventListener("resize", stops);
  stops();
  go();
})();
