// Keeps "minutes left" right without a reload, also after the device has slept. Without it the page shows the
// minutes that were left when it was made, beside the time at which the wait ends.
(function () {
  "use strict";
  var ahead = 0;

  // The device's own clock may be wrong; only its pace is trusted, and a refresh sets it anew.
  function set() {
    var page = document.querySelector("[data-server-now]");
    if (page) { ahead = Date.parse(page.dataset.serverNow) - Date.now(); }
    tell();
  }

  function tell() {
    var now = Date.now() + ahead;
    document.querySelectorAll("[data-ends-at]").forEach(function (item) {
      var left = Math.ceil((Date.parse(item.dataset.endsAt) - now) / 60000);
      var word = left > 0 ? left + (left === 1 ? " minute left" : " minutes left") : "wait is over";
      if (item.textContent !== word) { item.textContent = word; }
      item.classList.toggle("is-over", left <= 0);
    });
  }

  set();
  window.setInterval(tell, 1000);
  window.addEventListener("pageshow", tell);
  document.addEventListener("clock:set", set);
  document.addEventListener("visibilitychange", tell);
})();
