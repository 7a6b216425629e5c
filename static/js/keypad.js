// The on-page number keys. They write into the length or tension field that was touched last, and say which it is.
(function () {
  "use strict";
  var pad = document.getElementById("keypad");
  if (!pad) { return; }
  var form = pad.closest("form");
  var target = document.getElementById(pad.dataset.start);
  var told = pad.querySelector(".keypad-for");
  function takes(field) {
    return field && field.tagName === "INPUT" && field.type === "text" && /^(decimal|text|numeric)$/.test(field.inputMode || "");
  }
  function name(field) {
    var label = form.querySelector('label[for="' + field.id + '"]');
    return label ? label.textContent.trim() : "";
  }
  function aim(field) {
    if (target) { target.classList.remove("keypad-target"); }
    target = field;
    target.classList.add("keypad-target");
    told.textContent = "The keys write into: " + name(field);
  }
  function write(key) {
    var text = target.value;
    if (key === "clear") { text = ""; }
    else if (key === "back") { text = text.slice(0, -1); }
    else { text = (text + key).replace(/^ +/, "").replace(/ {2,}/g, " "); }
    target.value = text;
    target.dispatchEvent(new Event("input", { bubbles: true }));
  }
  pad.hidden = false;
  if (target) { aim(target); }
  form.addEventListener("focusin", function (event) {
    if (takes(event.target)) { aim(event.target); }
  });
  pad.addEventListener("click", function (event) {
    var key = event.target.closest("[data-key]");
    if (key && target) { write(key.dataset.key); }
  });
})();
