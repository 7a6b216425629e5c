// Runs before the first paint: light or dark as the device wishes. Nothing is stored.
(function () {
  var dark = window.matchMedia("(prefers-color-scheme: dark)");
  function apply() {
    document.documentElement.setAttribute("data-bs-theme", dark.matches ? "dark" : "light");
  }
  apply();
  dark.addEventListener("change", apply);
})();
