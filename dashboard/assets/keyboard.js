/* Who works with the keyboard goes on where he was: a page that is drawn anew would send him back to the top of the document. */
(function () {
  "use strict";

  var KINDS = "a[href], button, input, select, textarea, summary";
  var PARTS = "nav, form, section, header, footer, main";
  var keys = false; /* the last thing that was touched is the keyboard: on a phone a field that gets the focus would open one */
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
    return Array.prototype.indexOf.call((one.closest(PARTS) || document).querySelectorAll(KINDS), one);
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
      known: one.matches(KINDS),
    };
  }

  function counterpart() {
    var same = last.id && document.getElementById(last.id);
    if (same) {
      return same;
    }
    var beside = Array.prototype.filter.call(document.querySelectorAll(KINDS), function (one) {
      return part(one) === last.part;
    });
    return (
      beside.find(function (one) {
        return one.tagName === last.kind && text(one) === last.text;
      }) ||
      beside[Math.min(last.place, beside.length - 1)] /* what was chosen is no link any more: the one beside it */
    );
  }

  function go_on() {
    var nowhere = document.activeElement === null || document.activeElement === document.body;
    if (!keys || last === null || !last.known || !nowhere || last.element.isConnected) {
      return;
    }
    var main = document.querySelector("main");
    var to = window.location.pathname === last.path ? counterpart() : main && main.querySelector("h1") && main;
    if (to) {
      to.focus({ preventScroll: true });
    }
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
  document.addEventListener("focusin", function (event) {
    last = describe(event.target);
  });
  new MutationObserver(go_on).observe(document.body, { childList: true, subtree: true });
})();
