/* The few things that only the browser can do: colour scheme, the key "/", the page's title. */
(function () {
  "use strict";

  var KEY = "driftbook-scheme";

  function remembered() {
    try {
      return window.localStorage.getItem(KEY);
    } catch (error) {
      return null; /* storage may be forbidden: then the system's choice holds */
    }
  }

  function remember(scheme) {
    try {
      window.localStorage.setItem(KEY, scheme);
    } catch (error) {
      /* not remembered, and that is all */
    }
  }

  function preferred() {
    var kept = remembered();
    if (kept === "light" || kept === "dark") {
      return kept;
    }
    return window.matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
  }

  function mark(scheme) {
    document.documentElement.setAttribute("data-mantine-color-scheme", scheme);
    document.documentElement.setAttribute("data-ag-theme-mode", scheme);
  }

  mark(preferred());

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    driftbook: {
      scheme: function (clicks) {
        var scheme = preferred();
        if (clicks) {
          scheme = scheme === "dark" ? "light" : "dark";
          remember(scheme);
        }
        mark(scheme);
        return scheme;
      },
      show_scheme: function (scheme) {
        mark(scheme || preferred());
        return scheme || window.dash_clientside.no_update;
      },
      choose_month: function (month, search) {
        var query = new URLSearchParams(search || "");
        if (!month || document.getElementById("month-pick") === null) {
          return;
        }
        var shown = document.getElementById("month-body").querySelector("[data-month]");
        var now = query.get("month") || (shown !== null && shown.getAttribute("data-month"));
        if (now === month) {
          return;
        }
        query.set("month", month);
        window.dash_clientside.set_props("shell-url", { search: "?" + query.toString() });
      }
    }
  });

  window.dashMantineFunctions = Object.assign({}, window.dashMantineFunctions, {
    keepMatching: function (given) {
      /* The server chooses and orders; until its answer is there, what does not match any more must not be taken by Enter. */
      var words = given.search.toLowerCase().split(/\s+/).filter(Boolean);
      return given.options.filter(function (option) {
        var text = option.text || option.label.toLowerCase();
        return words.every(function (word) {
          /* As on the server: blanks and dashes of a tag do not matter, and it stands in the text without them too. */
          var bare = word.replace(/[\p{Pd}\u2212\u02d7\u2043]+/gu, "");
          return text.indexOf(word) >= 0 || (bare !== "" && text.indexOf(bare) >= 0);
        });
      });
    }
  });

  document.addEventListener("keydown", function (event) {
    var at = event.target;
    var typing = at.isContentEditable || /^(INPUT|TEXTAREA|SELECT)$/.test(at.tagName);
    if (event.key === "/" && !typing && !event.ctrlKey && !event.metaKey && !event.altKey) {
      var box = document.getElementById("shell-finder");
      if (box !== null) {
        event.preventDefault();
        box.focus();
      }
    }
  });

  /* Paper is narrower than the screen: while it is printed a chart is a picture that shrinks with its column. */
  var PAPER = 690; /* width of a printed column in CSS pixels: A4 less its margins */

  window.addEventListener("beforeprint", function () {
    document.querySelectorAll(".js-plotly-plot").forEach(function (plot) {
      if (window.Plotly && plot.clientWidth > PAPER) {
        window.Plotly.relayout(plot, { autosize: false, width: PAPER });
      }
    });
    document.querySelectorAll(".js-plotly-plot .main-svg").forEach(function (picture) {
      picture.setAttribute("viewBox", "0 0 " + picture.getAttribute("width") + " " + picture.getAttribute("height"));
    });
  });
  window.addEventListener("afterprint", function () {
    document.querySelectorAll(".js-plotly-plot").forEach(function (plot) {
      if (window.Plotly) {
        window.Plotly.relayout(plot, { autosize: true, width: null });
      }
    });
    document.querySelectorAll(".js-plotly-plot .main-svg").forEach(function (picture) {
      picture.removeAttribute("viewBox");
    });
  });

  var brand = document.title;

  function entitle() {
    var first = document.querySelector("main h1");
    var title = first === null ? brand : first.textContent + " · " + brand;
    if (document.title !== title) {
      document.title = title;
    }
  }

  /* The boxes with a list do not say of themselves whether the list is open. */
  function explain() {
    document.querySelectorAll("input[aria-haspopup=listbox]").forEach(function (box) {
      var open = box.getAttribute("data-expanded") === "true" ? "true" : "false";
      if (box.getAttribute("aria-expanded") !== open) {
        box.setAttribute("role", "combobox");
        box.setAttribute("aria-expanded", open);
      }
    });
  }

  /* On a narrow screen the pages stand in one row that slides: the one that is open is brought into sight. */
  var brought = null;

  function bring() {
    var here = document.querySelector(".pages .here");
    if (here === null || here === brought) {
      return;
    }
    brought = here;
    var row = here.closest(".pages");
    var at = here.getBoundingClientRect();
    var around = row.getBoundingClientRect();
    if (at.left < around.left || at.right > around.right - 24) {
      row.scrollLeft += at.left - around.left - 8;
    }
  }

  new MutationObserver(function () {
    entitle();
    explain();
    bring();
  }).observe(document.body, { childList: true, subtree: true, attributes: true, attributeFilter: ["data-expanded"] });
})();
