// The skin screen keeps its draft on the server. This says aloud when an answer did not get there, and tries again.
(function () {
  "use strict";
  var form = document.getElementById("screen-form");
  var notSaved = document.getElementById("not-saved");
  if (!form || !notSaved || !window.htmx) { return; }
  var lost = false;

  function show(isLost) {
    lost = isLost;
    notSaved.hidden = !isLost;
    // While the server lacks something, an idle lock keeps the form itself.
    if (isLost) { form.removeAttribute("data-draft"); } else { form.setAttribute("data-draft", ""); }
  }
  function again() { window.htmx.trigger(form, "change"); }

  ["htmx:responseError", "htmx:sendError", "htmx:timeout", "htmx:sendAbort"].forEach(function (name) {
    form.addEventListener(name, function () { show(true); });
  });
  form.addEventListener("htmx:afterRequest", function (event) { if (event.detail.successful) { show(false); } });
  form.addEventListener("click", function (event) {
    if (event.target.closest("[data-save-again]")) { event.preventDefault(); again(); }
  });
  window.addEventListener("online", function () { if (lost) { again(); } });
  form.addEventListener("input", function () { form.removeAttribute("data-draft"); });
})();
