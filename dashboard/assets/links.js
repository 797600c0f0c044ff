/* Links of a page whose answer is still on its way: each changes what it says, and leaves what else was chosen meanwhile. */
(function () {
  "use strict";

  var HEADER = "nav.pages a[href], nav.switch a[href]"; /* drawn by Dash, which follows them as they were written */
  var KEPT = ["site", "units"]; /* choices that go along from page to page */
  var PLACES = ["after", "before"]; /* a place in a list is one of the list that was shown */
  var made = {}; /* for each part of the page the choices of the address that it answers, by its id */

  document.addEventListener("driftbook-answered", function (event) {
    if (event.detail.search !== window.location.search) {
      return; /* the answer of an address that was left meanwhile */
    }
    event.detail.output.split("...").forEach(function (one) {
      made[one.replace(/^\.\.|\.\.$/g, "").split(".")[0]] = event.detail.search;
    });
  });

  function made_for(link) {
    for (var one = link; one !== null; one = one.parentElement) {
      if (one.id && made[one.id] !== undefined) {
        return made[one.id];
      }
    }
    return window.location.search;
  }

  function put(query, name, value) {
    if (value === null) {
      query.delete(name);
    } else {
      query.set(name, value);
    }
  }

  /* The address of a link as its writer would have written it today. */
  function today(link) {
    var to = new URL(link.href);
    var answered = made_for(link);
    if (answered === window.location.search) {
      return to;
    }
    var then = new URLSearchParams(answered);
    var now = new URLSearchParams(window.location.search);
    if (to.pathname !== window.location.pathname) {
      KEPT.forEach(function (name) {
        if (to.searchParams.get(name) === then.get(name)) {
          put(to.searchParams, name, now.get(name));
        }
      });
      return to;
    }
    new Set([...then.keys(), ...to.searchParams.keys()]).forEach(function (name) {
      var value = to.searchParams.get(name);
      if (value !== then.get(name)) {
        put(now, name, PLACES.indexOf(name) < 0 ? value : null);
      }
    });
    to.search = now.toString();
    return to;
  }

  function go(link) {
    var to = today(link);
    window.history.pushState({}, "", to.pathname + to.search + to.hash);
    window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
    window.scrollTo(0, 0);
  }

  window.driftbook = Object.assign({}, window.driftbook, { go: go });

  document.addEventListener(
    "click",
    function (event) {
      var link = event.target.closest ? event.target.closest(HEADER) : null;
      var elsewhere = event.metaKey || event.shiftKey || event.altKey || event.ctrlKey;
      if (link === null || elsewhere || event.button !== 0 || made_for(link) === window.location.search) {
        return;
      }
      event.preventDefault();
      event.stopPropagation();
      go(link);
    },
    true
  );
})();
