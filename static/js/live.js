// Says aloud when a live answer did not come. htmx swaps nothing then, and an old verdict or cut would look current.
(function () {
  "use strict";
  var WORDS = "No answer from the program. What is typed is kept; this line may be out of date. Use the button below, or try again.";
  function lost(event) {
    var target = event.detail && event.detail.target;
    // A line that asks again by itself stays as it was and says nothing each time.
    if (!target || target.hasAttribute("data-quiet-errors")) { return; }
    target.textContent = WORDS;
    target.classList.add("answer-lost");
  }
  ["htmx:responseError", "htmx:sendError", "htmx:timeout"].forEach(function (name) {
    document.addEventListener(name, lost);
  });
  document.addEventListener("htmx:beforeSwap", function (event) {
    event.detail.target.classList.remove("answer-lost");
  });
})();
