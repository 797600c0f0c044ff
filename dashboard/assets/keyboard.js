/* Who works with the keyboard goes on where he was: a page that is drawn anew would send him back to the top of the document.
   What the page says after a choice is told to those who do not see it change. */
(function () {
  "use strict";

  var KINDS = "a[href], button, input, select, textarea, summary";
  var CHOSEN = "[aria-current=true]"; /* what was chosen of a row of links: a text, no link any more */
  var PARTS = "nav, form, section, header, footer, main";
  var keys = false; /* the last thing that was touched is the keyboard: on a phone a field that gets the focus would open one */
  var told = { path: null, search: "", text: "" }; /* the sentence on top of the page, and the address that it answers */
  var last = null; /* what had the focus, described while it stood there */

  function text(one) {
    return (one.getAttribute("aria-label") || one.textContent || one.getAttribute("name") || "").trim();
  }

  /* The part of the page around it, by what does not change when the page is drawn anew. */
  function part(one) {
    var around = one.closest(PARTS);
    return around === null ? "" : around.tagName + (around.getAttribute("aria-label") || around.className);
  }

  function place(one) {
    return Array.prototype.indexOf.call((one.closest(PARTS) || document).querySelectorAll(KINDS + ", " + CHOSEN), one);
  }

  function describe(one) {
    return {
      element: one,
      id: one.id,
      kind: one.tagName,
      text: text(one),
      part: part(one),
      place: place(one),
      path: window.location.pathname,
      known: one.matches(KINDS + ", " + CHOSEN),
    };
  }

  function counterpart() {
    var same = last.id && document.getElementById(last.id);
    if (same) {
      return same;
    }
    var beside = Array.prototype.filter.call(document.querySelectorAll(KINDS + ", " + CHOSEN), function (one) {
      return part(one) === last.part;
    });
    return (
      beside.find(function (one) {
        return one.tagName === last.kind && text(one) === last.text;
      }) ||
      beside.find(function (one) {
        return last.text !== "" && text(one) === last.text; /* a link that was chosen, or a choice that was left */
      }) ||
      beside[Math.min(last.place, beside.length - 1)]
    );
  }

  function go_on() {
    var nowhere = document.activeElement === null || document.activeElement === document.body;
    if (!keys || last === null || !last.known || !nowhere || last.element.isConnected) {
      return;
    }
    var main = document.querySelector("main");
    var to = window.location.pathname === last.path ? counterpart() : main && main.querySelector("h1") && main;
    if (!to) {
      return;
    }
    var folded = to.closest("details:not([open])");
    to = folded && to.tagName !== "SUMMARY" ? folded.querySelector("summary") : to;
    if (to.matches(CHOSEN) && !to.matches(KINDS)) {
      to.setAttribute("tabindex", "-1");
    }
    to.focus({ preventScroll: true });
  }

  var READ_OUT_MS = 8000;
  var silence = 0;
  var voice = document.createElement("div"); /* stays while pages come and go, for only what changes in one place is read out */
  voice.className = "unseen";
  voice.setAttribute("role", "status");
  document.body.appendChild(voice);

  function tell() {
    var top = document.querySelector("main .sentence, main .blank");
    if (top === null) {
      return;
    }
    var now = { path: window.location.pathname, search: window.location.search, text: top.textContent.trim() };
    if (now.path !== told.path) {
      voice.textContent = "";
    } else if (now.search === told.search || now.text === told.text) {
      return;
    } else if (!top.closest("[role=status]")) {
      voice.textContent = now.text;
      window.clearTimeout(silence);
      silence = window.setTimeout(function () {
        voice.textContent = ""; /* who reads on to the end of the page does not meet it twice */
      }, READ_OUT_MS);
    }
    told = now;
  }

  document.addEventListener(
    "keydown",
    function () {
      keys = true;
    },
    true
  );
  document.addEventListener(
    "pointerdown",
    function () {
      keys = false;
      last = null;
    },
    true
  );
  document.addEventListener(
    "click",
    function (event) {
      var link = event.target.closest("a[href]");
      if (link !== null && event.isTrusted && event.detail === 0) {
        keys = true; /* a screen reader follows a link without a key and without a pointer */
        last = describe(link);
      }
    },
    true
  );
  document.addEventListener("focusin", function (event) {
    last = describe(event.target);
  });
  new MutationObserver(function () {
    go_on();
    tell();
  }).observe(document.body, { childList: true, subtree: true });
})();
