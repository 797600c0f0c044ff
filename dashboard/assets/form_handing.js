/* Handing a form of the Record page in: the press, what comes of it, and a form that was left before the answer was there. */
(function () {
  "use strict";

  var LEAVING = 3000; /* milliseconds after which a job that was to be handed in has been, or its form is gone, as a rule */
  var STILL = 500; /* milliseconds until that is looked at again, on a phone that is slower */
  var OPENED = 1000; /* milliseconds in which another page takes old notices away as it opens: a new one comes after that */

  var drafts = window.driftbookDrafts;
  var form = window.driftbookAnswers.form;
  var page = null; /* what the script of the form gives: its texts, its draft, and its asking for numbers */
  var sending = false;
  var sent = null; /* the draft that was handed in, as it was then */
  var leaving = null;
  var uncertain = false; /* nobody knows whether what was handed in is in the book */

  function rest() {
    var button = document.getElementById("record-save");
    sending = false;
    if (button !== null) {
      button.removeAttribute("aria-disabled");
    }
  }

  /* What was answered to the last tap is not of what is typed from now on. */
  function forget_answer() {
    var box = document.getElementById("record-answer");
    if (box !== null && box.textContent !== "") {
      window.dash_clientside.set_props("record-answer", { children: null });
    }
  }

  /* On a slow phone the form can be gone before what was handed in is on its way: then it was not recorded, and that is said. */
  document.addEventListener("driftbook-asked", function (event) {
    if (event.detail.output === "record-answer.children") {
      window.clearTimeout(leaving);
    }
  });

  function left_too_soon() {
    if (sending && form() === null) {
      var slot = document.getElementById("shell-notice");
      rest();
      notice(slot.getAttribute("data-unasked"));
    } else if (sending) {
      leaving = window.setTimeout(left_too_soon, STILL);
    }
  }

  function notice(text) {
    window.setTimeout(function () {
      window.dash_clientside.set_props("shell-notice", { children: text });
    }, OPENED);
  }

  /* What was handed in was not answered: the button works again; where it may have been done (null) nothing is certain. */
  document.addEventListener("driftbook-unanswered", function (event) {
    var slot = document.getElementById("shell-notice");
    if (event.detail.output === "record-answer.children" && sending) {
      rest();
      page.later();
      if (event.detail.done === null) {
        uncertain = true;
        window.dash_clientside.set_props("record-answer", { children: slot.getAttribute("data-unsaved") });
      }
    }
  });

  window.driftbookHanding = {
    attach: function (of) {
      page = of;
    },
    /* A form comes anew: nothing of it is on its way. */
    began: function () {
      sending = false;
      uncertain = false;
    },
    /* Tell whether a draft is on its way as it is: written anew it would be another draft, and stay when the job is in the book. */
    holds: function (key, fields) {
      return sending && sent !== null && sent.key === key && page.same(fields, sent.fields);
    },
    typed: function () {
      if (!sending && !uncertain) {
        forget_answer();
      }
    }
  };

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.driftbook = Object.assign({}, window.dash_clientside.driftbook, {
    record_send: function (clicks) {
      if (!clicks || sending) {
        return window.dash_clientside.no_update;
      }
      sending = true;
      window.clearTimeout(leaving);
      leaving = window.setTimeout(left_too_soon, LEAVING);
      page.wait();
      var button = document.getElementById("record-save");
      button.setAttribute("aria-disabled", "true");
      var fields = page.collect();
      var here = page.here();
      sent = page.keep(fields) ? { key: here.key, text: drafts.written(here.key), fields: fields } : null;
      uncertain = false;
      forget_answer();
      return { fields: page.made_for(fields), n: clicks };
    },
    record_answered: function (answer) {
      /* Emptied by the page itself it is no answer. */
      if (answer && !uncertain) {
        rest();
        page.later(); /* the press took the place of an asking that was on its way */
      }
      if (answer) {
        window.setTimeout(function () {
          var box = document.getElementById("record-answer");
          if (box !== null && box.textContent !== "") {
            box.focus();
          }
        }, 30);
      }
    },
    record_handed: function (handed) {
      if (!handed) {
        return;
      }
      var here = page.here();
      if (window.location.pathname === "/record" && form() !== null && here !== null && here.key === handed.key) {
        var query = new URLSearchParams(window.location.search);
        query.delete("amend");
        query.set("asset", handed.tag);
        query.set("saved", handed.entry);
        window.dash_clientside.set_props("shell-url", { search: "?" + query.toString() });
        return;
      }
      /* Its form was left before the answer came: that is said where its reader is now. */
      if (sent !== null && sent.key === handed.key) {
        drafts.drop_if(handed.key, sent.text);
        sent = null;
        rest();
      }
      notice(handed.told);
    },
    record_done: function (key) {
      if (!key) {
        return window.dash_clientside.no_update;
      }
      page.left();
      sending = false;
      /* What was typed since, here or in another tab, is another job. */
      if (sent !== null && sent.key === key) {
        drafts.drop_if(key, sent.text);
      }
      sent = null;
      window.setTimeout(function () {
        var head = document.getElementById("record-confirmed");
        if (head !== null) {
          head.focus();
        }
      }, 30);
      return true;
    }
  });
})();
