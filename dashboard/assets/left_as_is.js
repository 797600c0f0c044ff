/* A page that is drawn anew, for other colours or a further answer, is left as its reader had it: what is unfolded, what is typed and
   not asked yet, and a list that is open. */
(function () {
  "use strict";

  var TYPED = "main form[data-ask] input[id], main form[data-ask] select[id]";
  var LIST = "main input[id][aria-haspopup=listbox]";
  var folds = []; /* what the reader has unfolded or folded on this page, each described while it stood there */
  var typed = {}; /* what the reader has typed, by the id of the field, with the address at which it was */
  var list = null; /* the id of the box whose list is open, and what is typed into it */
  var path = window.location.pathname;
  var seen = new WeakSet(); /* what was put as it was already: from then on it is the reader's again */

  function words(one) {
    return one === null ? "" : one.textContent;
  }

  function heading(one) {
    var around = one.closest("section, article, main");
    return words(around.querySelector("h1, h2, h3"));
  }

  /* All that unfold under the same words: 'How these numbers are made' stands below every part of a page. */
  function alike(label) {
    return Array.prototype.filter.call(document.querySelectorAll("main details"), function (one) {
      return words(one.querySelector("summary")) === label;
    });
  }

  function described(one) {
    var label = words(one.querySelector("summary"));
    var others = alike(label);
    return { element: one, label: label, heading: heading(one), place: others.indexOf(one), of: others.length };
  }

  /* Under the same heading; where that names another month by now, at the same place among as many. */
  function counterpart(fold) {
    var others = alike(fold.label);
    var same = others.filter(function (one) {
      return heading(one) === fold.heading;
    });
    return same.length === 1 ? same[0] : others.length === fold.of ? others[fold.place] : null;
  }

  function fold_again() {
    folds.forEach(function (fold) {
      if (fold.element.isConnected) {
        return;
      }
      var one = counterpart(fold);
      if (one && !seen.has(one)) {
        seen.add(one);
        one.open = fold.open;
        fold.element = one;
      }
    });
  }

  function type_again() {
    Object.keys(typed).forEach(function (id) {
      var one = document.getElementById(id);
      if (typed[id].search !== window.location.search) {
        delete typed[id]; /* something was asked: what the fields say now is the answer's */
      } else if (one !== null && one !== typed[id].element) {
        typed[id].element = one;
        if (one.tagName === "SELECT") {
          one.value = typed[id].value;
        } else {
          window.dash_clientside.set_props(id, { value: typed[id].value });
        }
      }
    });
  }

  function open_again() {
    var one = list === null || list.element.isConnected ? null : document.getElementById(list.id);
    if (one !== null) {
      list = null;
      one.focus({ preventScroll: true });
      one.click();
    }
  }

  document.addEventListener("click", function (event) {
    var summary = event.target.closest ? event.target.closest("main details > summary") : null;
    if (summary !== null && !event.defaultPrevented) {
      var fold = described(summary.parentElement);
      fold.open = !fold.element.open; /* the browser turns it after this */
      folds = folds.filter(function (one) {
        return one.element !== fold.element;
      });
      folds.push(fold);
    }
  });
  document.addEventListener("input", function (event) {
    var one = event.target;
    if (one.matches && one.matches(TYPED)) {
      typed[one.id] = { element: one, value: one.value, search: window.location.search };
    }
  });

  new MutationObserver(function (changes) {
    if (window.location.pathname !== path) {
      path = window.location.pathname;
      folds = [];
      typed = {};
      list = null;
    }
    changes.forEach(function (change) {
      var box = change.target;
      if (change.type === "attributes" && box.isConnected && box.matches(LIST)) {
        list = box.getAttribute("data-expanded") === "true" ? { element: box, id: box.id } : null;
      }
    });
    fold_again();
    type_again();
    open_again();
  }).observe(document.body, { childList: true, subtree: true, attributes: true, attributeFilter: ["data-expanded"] });
})();
