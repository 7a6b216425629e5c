// Hides the page at once when nobody has touched it for a while, and never lets a left page come back by itself.
// The server locks on its own; this only makes the screen follow without waiting for the next request.
(function () {
  "use strict";
  var body = document.body;
  var limit = Number(body.dataset.idleSeconds || 0) * 1000;

  // Whether somebody changed this control since the page came. A list without a choice begins with its first line.
  function changed(control) {
    if (control.type === "hidden" || control.tagName === "BUTTON" || control.tagName === "FIELDSET") { return false; }
    if (control.type === "checkbox" || control.type === "radio") { return control.checked !== control.defaultChecked; }
    if (control.tagName !== "SELECT") { return control.value !== control.defaultValue; }
    var lines = Array.prototype.slice.call(control.options);
    var first = !control.multiple && !lines.some(function (line) { return line.defaultSelected; }) ? lines[0] : null;
    return lines.some(function (line) { return line.selected !== (line.defaultSelected || line === first); });
  }
  window.wearwindow = { changed: changed };

  function empty() {
    try { window.sessionStorage.clear(); window.localStorage.clear(); } catch (refused) { /* nothing is kept there anyway */ }
  }

  // The browser may keep a whole page in memory and show it again with "back", after somebody logged out.
  window.addEventListener("pagehide", function (event) { if (event.persisted) { document.documentElement.hidden = true; } });
  window.addEventListener("pageshow", function (event) { if (event.persisted) { window.location.reload(); } });
  empty();
  if (!limit) { return; }

  var last = Date.now(), told = Date.now(), gone = false;
  var others = "BroadcastChannel" in window ? new BroadcastChannel("wearwindow-touch") : null;

  function token() {
    var field = document.querySelector("input[name=csrfmiddlewaretoken]");
    return field ? field.value : "";
  }

  // A form that keeps its own draft on the server says so with data-draft.
  function unsent() {
    return Array.prototype.find.call(document.forms, function (form) {
      return form.method === "post" && !form.hasAttribute("data-draft") && Array.prototype.some.call(form.elements, changed);
    });
  }

  function typed(form) {
    var pairs = new URLSearchParams();
    new FormData(form).forEach(function (value, name) {
      if (typeof value === "string" && name.indexOf("password") < 0 && name !== "csrfmiddlewaretoken") { pairs.append(name, value); }
    });
    return pairs.toString();
  }

  function lock() {
    if (gone) { return; }
    gone = true;
    var values = { csrfmiddlewaretoken: token(), next: window.location.pathname + window.location.search };
    var form = unsent();
    if (form) {
      var target = new URL(form.action);
      values.kept_address = target.pathname + target.search;
      values.kept = typed(form);
    }
    var leave = document.createElement("form");
    leave.method = "post";
    leave.action = body.dataset.lock;
    Object.keys(values).forEach(function (name) {
      var field = document.createElement("input");
      field.type = "hidden";
      field.name = name;
      field.value = values[name];
      leave.append(field);
    });
    var button = document.createElement("button");
    button.textContent = "Locked: open the lock page";
    leave.append(button);
    body.replaceChildren(leave);
    document.title = "Locked";
    leave.submit();
  }

  function check() {
    if (Date.now() - last >= limit) { lock(); }
    return gone;
  }

  function tell() {
    told = Date.now();
    window.fetch(body.dataset.awake, { method: "POST", headers: { "X-CSRFToken": token() }, redirect: "manual" }).then(
      function (answer) {
        // Locked or logged out elsewhere: the same address leads to the lock, or to the log-in, and back.
        if (answer.type === "opaqueredirect") { document.documentElement.hidden = true; window.location.replace(window.location.href); }
      },
      function () { told = 0; }
    );
  }

  function touched() {
    if (gone || check()) { return; }
    last = Date.now();
    if (others) { others.postMessage(last); }
    if (last - told > 60000) { tell(); }
  }

  if (others) { others.addEventListener("message", function (event) { last = Math.max(last, Number(event.data) || 0); }); }
  ["pointerdown", "keydown", "input", "wheel", "touchmove"].forEach(function (name) {
    document.addEventListener(name, touched, { passive: true, capture: true });
  });
  document.addEventListener("visibilitychange", check);
  window.addEventListener("focus", check);
  window.setInterval(check, 1000);
  document.addEventListener("submit", function (event) {
    if (event.target.action.endsWith("/log-out/")) { empty(); }
  });
})();
