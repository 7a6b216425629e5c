// Refreshes Today while it is looked at, and records what its buttons say. What somebody is typing in, has opened or
// stands on is left as it is; the rest of its list is brought up to date around it.
(function () {
  "use strict";
  var live = document.getElementById("today-live");
  if (!live) { return; }
  var news = document.getElementById("today-news"), state = document.getElementById("today-state");
  var served = {};
  var asOf = live.firstElementChild.dataset.asOf;

  // The form's token is written differently each time and says nothing about the list.
  function text(part) { return part.outerHTML.replace(/name="csrfmiddlewaretoken" value="[^"]*"/g, ""); }
  function parts(root) { return Array.prototype.slice.call(root.querySelectorAll("[data-part]")); }
  function urgent(root) {
    return Array.prototype.map.call(root.querySelectorAll("[data-urgent]"), function (item) { return item.dataset.key; });
  }
  parts(live).forEach(function (part) { served[part.dataset.part] = text(part); });

  var changed = window.wearwindow.changed;
  function busy(element) {
    return element.contains(document.activeElement) || element.querySelector("details[open]") !== null ||
      Array.prototype.some.call(element.querySelectorAll("input, select, textarea"), changed);
  }

  function items(root) {
    var found = {};
    root.querySelectorAll("[data-items] > [data-key]").forEach(function (item) { found[item.dataset.key] = item; });
    return found;
  }
  function around(part, fresh) {
    var list = part.querySelector("[data-items]"), have = items(part), want = items(fresh), before = null;
    if (!list) { return; }
    Object.keys(have).forEach(function (key) { if (!want[key] && !busy(have[key])) { have[key].remove(); } });
    fresh.querySelectorAll("[data-items] > [data-key]").forEach(function (item) {
      var old = have[item.dataset.key];
      if (!old) { list.insertBefore(item, before ? before.nextElementSibling : list.firstElementChild); old = item; }
      else if (!busy(old)) { old.replaceWith(item); old = item; }
      before = old;
    });
  }

  function read(html) { return new DOMParser().parseFromString(html, "text/html").body; }

  function bring(fresh) {
    var page = fresh.querySelector("[data-server-now]");
    if (!page) { return; }
    var known = urgent(live);
    var told = Array.prototype.filter.call(fresh.querySelectorAll("[data-urgent]"), function (item) {
      return known.indexOf(item.dataset.key) < 0;
    }).map(function (item) { return item.dataset.urgent; });
    // It is announced once, below; an alert that is written anew would be read out at every refresh.
    fresh.querySelectorAll("[role=alert]").forEach(function (item) { item.removeAttribute("role"); });
    parts(live).forEach(function (part) {
      var name = part.dataset.part, next = fresh.querySelector('[data-part="' + name + '"]');
      var now = next && text(next);
      if (!next || now === served[name]) { return; }
      if (busy(part)) { around(part, next); return; }
      served[name] = now;
      part.replaceWith(next);
    });
    live.firstElementChild.dataset.serverNow = page.dataset.serverNow;
    document.dispatchEvent(new CustomEvent("clock:set"));
    asOf = page.dataset.asOf;
    state.textContent = "As of " + asOf + ".";
    state.classList.remove("answer-lost");
    if (told.length) { news.textContent = "New urgent skin report: " + told.join("; ") + "."; }
  }

  // A button records without loading the page anew: a note begun at another call would be gone.
  function freed(item, form) {
    form.reset();
    item.querySelectorAll("details[open]").forEach(function (part) { part.open = false; });
    if (item.contains(document.activeElement)) { document.activeElement.blur(); }
  }
  function goOn(list, key, next) {
    var here = list && list.isConnected ? list : live;
    var same = here.querySelector('[data-key="' + key + '"]'), after = next && here.querySelector('[data-key="' + next + '"]');
    var target = (same || after || document).querySelector(same ? "button, a" : after ? "a, button" : "h1");
    if (target.tagName === "H1") { target.tabIndex = -1; }
    target.focus({ preventScroll: true });
  }
  function recorded(item, form, page) {
    var part = item.closest("[data-part]").dataset.part, key = item.dataset.key;
    var next = item.nextElementSibling || item.previousElementSibling;
    var said = page.querySelector(".page-messages");
    freed(item, form);
    bring(page);
    document.querySelector(".page-messages").replaceChildren.apply(
      document.querySelector(".page-messages"), said ? Array.prototype.slice.call(said.childNodes) : []);
    goOn(live.querySelector('[data-part="' + part + '"]'), key, next && next.dataset.key);
  }
  function unanswered(words) {
    state.textContent = words;
    state.classList.add("answer-lost");
    news.textContent = words;
  }
  function answered(item, form, answer, page) {
    var card = item.querySelector("article[id]"), wrong = card && page.querySelector("#" + card.id);
    if (answer.ok && page.querySelector("#today-live")) { recorded(item, form, page); return; }
    if (answer.status === 422 && wrong) {
      card.replaceWith(wrong);
      (wrong.querySelector("[aria-invalid]") || wrong.querySelector("button")).focus();
      return;
    }
    if (answer.redirected) { window.location.assign(answer.url); return; }
    unanswered("That was not recorded. What you typed is still here; load the page anew in another window and try again.");
  }
  live.addEventListener("submit", function (event) {
    var form = event.target, item = form.closest("[data-key]"), button = event.submitter;
    if (!item || form.method !== "post") { return; }
    event.preventDefault();
    if (form.getAttribute("aria-busy")) { return; }
    form.setAttribute("aria-busy", "true");
    var values = new FormData(form);
    if (button && button.name) { values.append(button.name, button.value); }
    fetch(form.action, { method: "POST", body: values }).then(function (answer) {
      return answer.text().then(function (html) { answered(item, form, answer, read(html)); });
    }).catch(function () {
      unanswered("No answer from the program: it may not be recorded. What you typed is still here; press the button again.");
    }).then(function () { form.removeAttribute("aria-busy"); });
  });

  live.addEventListener("htmx:beforeRequest", function (event) {
    if (document.visibilityState === "hidden") { event.preventDefault(); }
  });
  live.addEventListener("htmx:afterRequest", function (event) {
    var answer = event.detail.xhr;
    if (answer && answer.status === 200) { bring(read(answer.responseText)); return; }
    if (answer && answer.status === 204) { return; }  // leads to the log-in or the lock
    state.textContent = "No answer from the program: shown as of " + asOf + ". It is tried again.";
    state.classList.add("answer-lost");
    news.textContent = state.textContent;
  });
  document.getElementById("today-new").addEventListener("click", function (event) {
    if (window.htmx) { event.preventDefault(); wake(); }
  });
  function wake() { if (document.visibilityState === "visible" && window.htmx) { window.htmx.trigger(live, "wake"); } }
  document.addEventListener("visibilitychange", wake);
  window.addEventListener("online", wake);
})();
