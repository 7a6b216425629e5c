// Errors follow the cut: what the corrected numbers mend is taken back beside the field and in the summary.
// An error that is not shown yet is not shown while somebody types; the line with the cut says why there is none.
// What is taken back keeps its room: the number keys must not move away under a finger.
(function () {
  "use strict";
  var SUMMARY = "Put right. Nothing of it is saved yet.";
  function emptied(one) {
    one.style.minHeight = one.offsetHeight + "px";
    one.replaceChildren();
  }
  function without(words, word) {
    return words.split(" ").filter(function (one) { return one && one !== word; }).join(" ");
  }
  function mended(slot) {
    var box = slot.closest(".field-wrong");
    box.classList.remove("field-wrong");
    [box].concat(Array.from(box.querySelectorAll("[aria-invalid], [aria-describedby]"))).forEach(function (one) {
      var told = without(one.getAttribute("aria-describedby") || "", slot.id);
      one.removeAttribute("aria-invalid");
      if (told) { one.setAttribute("aria-describedby", told); } else { one.removeAttribute("aria-describedby"); }
    });
    emptied(slot);
    slot.removeAttribute("id");
  }
  function follow(found) {
    var slot = document.getElementById(found.dataset.slot);
    var errors = Array.from(found.children);
    if (slot && errors.length) {
      slot.replaceChildren.apply(slot, errors.map(function (one) { return one.cloneNode(true); }));
    } else if (slot) { mended(slot); }
    document.querySelectorAll('.error-summary a[href="#' + found.dataset.control + '"]').forEach(function (link, at) {
      if (at < errors.length) { link.textContent = errors[at].lastChild.textContent; }
      else { link.closest("li").remove(); }
    });
  }
  document.addEventListener("htmx:afterSwap", function (event) {
    var found = document.querySelectorAll("#strip-errors > li");
    if (event.detail.target.id !== "cut-line" || !found.length) { return; }
    var summary = document.querySelector(".error-summary");
    var high = summary ? summary.offsetHeight : 0;
    found.forEach(follow);
    if (!summary) { return; }
    summary.style.minHeight = high + "px";
    if (!summary.querySelector("li")) {
      summary.className = "notice notice-info mb-4";
      summary.removeAttribute("role");
      summary.removeAttribute("aria-labelledby");
      summary.textContent = SUMMARY;
      document.title = document.title.replace(/^Error: /, "");
    }
  });
})();
