/* The boxes that find a machine: what is taken is opened, by a click as by Enter. */
(function () {
  "use strict";

  /* Whether Enter opens the first of several machines. Where a job is recorded only the machine of that tag, or the only one that answers, is opened. */
  var FIRST = { "shell-finder": true, "record-choose": false };

  var offered = {}; /* the text that the newest list of a box answers to */
  var waiting = {}; /* the text on which Enter was pressed before its answer came */

  function list_of(box) {
    return document.getElementById(box.getAttribute("aria-controls"));
  }

  function box_of(list) {
    return Object.keys(FIRST)
      .map(function (own) {
        return document.getElementById(own);
      })
      .find(function (box) {
        return box !== null && list !== null && box.getAttribute("aria-controls") === list.id;
      });
  }

  function open(address) {
    var parts = address.split("?");
    window.dash_clientside.set_props("shell-url", { pathname: parts[0], search: parts[1] ? "?" + parts[1] : "" });
    document.activeElement.blur(); /* which empties the box */
  }

  document.addEventListener(
    "keydown",
    function (event) {
      var box = event.target;
      if (event.key !== "Enter" || event.isComposing || !(box.id in FIRST)) {
        return;
      }
      event.preventDefault();
      event.stopPropagation();
      var list = list_of(box);
      var chosen = list === null ? null : list.querySelector("[data-combobox-selected]") || list.querySelector("[role=option]");
      if (offered[box.id] !== box.value) {
        waiting[box.id] = box.value;
      } else if (chosen !== null) {
        chosen.click();
      }
    },
    true
  );

  /* The box itself tells of a choice through a timer, and forgets it where an answer of the server comes in between: so the click is what counts. */
  document.addEventListener(
    "click",
    function (event) {
      var option = event.target.closest === undefined ? null : event.target.closest("[role=option]");
      if (option !== null && box_of(option.closest("[role=listbox]")) !== undefined) {
        var address = option.getAttribute("value");
        window.setTimeout(function () {
          open(address);
        }, 0);
      }
    },
    true
  );

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.driftbook = Object.assign({}, window.dash_clientside.driftbook, {
    machines_offered: function (list) {
      var own = window.dash_clientside.callback_context.inputs_list[0].id;
      var box = document.getElementById(own);
      var asked = list && list.length > 0 ? list[0].asked : null;
      offered[own] = asked;
      if (asked === null || waiting[own] !== asked) {
        return;
      }
      delete waiting[own];
      var exact = list[0].tag !== undefined && list[0].tag.toLowerCase() === asked.trim().toLowerCase();
      if (box !== null && box.value === asked && (FIRST[own] || list.length === 1 || exact)) {
        open(list[0].value);
      }
    },
    machine_taken: function (address) {
      /* The same machine can be taken again. */
      if (address) {
        window.dash_clientside.set_props(window.dash_clientside.callback_context.inputs_list[0].id, { value: null, searchValue: "" });
      }
    }
  });
})();
