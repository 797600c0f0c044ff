/* Who works with the keyboard goes on where he was: a page that is drawn anew would send him back to the top of the document.
   What the page says after a choice is told to those who do not see it change. */
(function () {
  "use strict";

  var KINDS = "a[href], button, input, select, textarea, summary, [aria-current=true]"; /* what was chosen of a row of links is a text, no link any more */
  var TYPED = "input, select, textarea"; /* the next letters are meant for the very same one, or for none */
  var keys = false; /* the last thing that was touched is the keyboard: on a phone a field that gets the focus would open one */
  var told = { path: null, search: "", text: "" }; /* the sentence on top of the page, and the address that it answers */
  var last = null; /* what had the focus, described while it stood there */
  var stead = null; /* what has the focus until that is there again */

  function words(one) {
    return (one.getAttribute("aria-label") || one.textContent).trim();
  }

  function alike(text) {
    return Array.prototype.filter.call(document.querySelectorAll(KINDS), function (one) {
      return !one.matches(TYPED) && words(one) === text;
    });
  }

  function describe(one) {
    var text = words(one);
    return {
      element: one,
      id: one.id,
      text: text,
      place: alike(text).indexOf(one), /* of a field none */
      part: one.closest("section"),
      path: window.location.pathname,
    };
  }

  function counterpart() {
    var others = last.place < 0 ? [] : alike(last.text);
    return (last.id && document.getElementById(last.id)) || others[Math.min(last.place, others.length - 1)];
  }

  /* Where the page goes on for whom it took away what had the focus. */
  function instead() {
    var main = document.querySelector("main");
    if (window.location.pathname !== last.path) {
      return main && main.querySelector("h1") && main;
    }
    return (last.part && last.part.isConnected && last.part.querySelector("h2, h3")) || main;
  }

  function go_on() {
    var nowhere = [null, document.body, stead].indexOf(document.activeElement) >= 0;
    if (!keys || last === null || !nowhere || last.element.isConnected) {
      return;
    }
    var same = window.location.pathname === last.path && counterpart();
    var to = same || instead();
    if (!to) {
      return;
    }
    var folded = to.closest("details:not([open])");
    to = folded && to.tagName !== "SUMMARY" ? folded.querySelector("summary") : to;
    if (to.tabIndex < 0) {
      to.setAttribute("tabindex", "-1");
    }
    stead = same ? null : to;
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
      if (last === null && document.activeElement.matches(KINDS)) {
        last = describe(document.activeElement); /* touched where it had the focus already, which no event says */
      }
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
    if (event.target !== stead) {
      stead = null;
      last = event.target.matches(KINDS) ? describe(event.target) : null;
    }
  });
  new MutationObserver(function () {
    go_on();
    tell();
  }).observe(document.body, { childList: true, subtree: true });
})();
