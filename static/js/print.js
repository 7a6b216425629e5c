// A button that prints the page; without JavaScript it stays hidden and the browser's own command does it.
(function () {
  "use strict";
  document.querySelectorAll("[data-print]").forEach(function (button) {
    button.hidden = false;
    button.addEventListener("click", function () { window.print(); });
  });
})();
