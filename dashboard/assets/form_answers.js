/* What the Record page says is of what was typed when it was asked: where the answer to the newest text stays away, nothing older looks valid. */
(function () {
  "use strict";

  var QUIET = 800; /* milliseconds after the last key: an ordinary answer is there by then, so nothing flickers */
  var LONGEST = 3000; /* milliseconds of typing without a pause after which it is said all the same */
  var FIRST_PATIENCE = 10000; /* milliseconds until an answer that does not come is asked for again; each time twice as long */
  var LONGEST_PATIENCE = 80000;

  var number = 0; /* of the last asking in this tab */
  var newest = null; /* mark of the newest asking; that of a form that came just now is empty */
  var painted = null; /* marks of what is shown, and of the probability that comes after it */
  var likely = null;
  var texts = {}; /* what was asked with each of the last marks */
  var shown = {}; /* what was typed when that was asked which is shown */
  var dirty = false; /* a key was pressed since the newest asking */
  var since = null; /* when the first key was pressed that is not answered yet */
  var timer = null;
  var retry = null;
  var patience = FIRST_PATIENCE;
  var once_more = null;

  function form() {
    return document.getElementById("record-form");
  }

  function each(selector, act) {
    var root = form();
    if (root !== null) {
      Array.prototype.forEach.call(root.querySelectorAll(selector), act);
    }
  }

  function fresh() {
    return !dirty && painted === newest;
  }

  /* Say beside what is shown that it is older than what is typed, or take that back. */
  function mark(old, fields) {
    each(".unanswered", function (words) {
      words.hidden = !old;
    });
    each(".said-of", function (part) {
      part.setAttribute("aria-busy", old ? "true" : "false");
    });
    each("[data-said]", function (slot) {
      var name = slot.getAttribute("data-said");
      slot.classList.toggle("of-older-text", old && (fields[name] || "") !== (shown[name] || ""));
    });
    var root = form();
    if (root !== null) {
      root.classList.toggle("is-unanswered", old);
    }
  }

  function mark_chance() {
    var root = form();
    if (root !== null) {
      root.classList.toggle("is-unlikely", likely !== newest || dirty);
    }
  }

  function look_later(collect) {
    var now = Date.now();
    since = since === null ? now : since;
    window.clearTimeout(timer);
    timer = window.setTimeout(
      function () {
        if (form() !== null) {
          mark(!fresh(), collect());
          mark_chance();
        }
      },
      Math.max(0, Math.min(QUIET, since + LONGEST - now))
    );
  }

  function wait_for_answer() {
    window.clearTimeout(retry);
    retry = window.setTimeout(function () {
      if (!fresh() && form() !== null && once_more !== null) {
        patience = Math.min(2 * patience, LONGEST_PATIENCE);
        once_more();
      }
    }, patience);
  }

  window.driftbookAnswers = {
    form: form,
    each: each,
    /* A form came; its server asks for its numbers itself, with no mark. */
    began: function (fields, again) {
      newest = "";
      painted = likely = since = null;
      texts = { "": fields };
      shown = fields;
      dirty = false;
      patience = FIRST_PATIENCE;
      once_more = again;
      look_later(function () {
        return fields;
      });
      wait_for_answer();
    },
    /* A key was pressed, or other fields are on their way. */
    touched: function (collect) {
      dirty = true;
      look_later(collect);
    },
    /* The numbers are asked for; gives the mark that comes back with them. */
    asking: function (fields) {
      number += 1;
      newest = String(number);
      texts[newest] = fields;
      dirty = false;
      look_later(function () {
        return fields;
      });
      wait_for_answer();
      return newest;
    },
    answered: function (asked, collect) {
      painted = asked;
      shown = texts[asked] || shown;
      if (fresh()) {
        texts = {};
        texts[newest] = shown;
        patience = FIRST_PATIENCE;
        window.clearTimeout(retry);
        since = null;
        mark(false, shown);
        if (likely === newest) {
          window.clearTimeout(timer);
          mark_chance();
        }
      }
    },
    chanced: function (asked) {
      likely = asked;
      if (likely === newest && !dirty) {
        mark_chance();
      }
    }
  };
})();
