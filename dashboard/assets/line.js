/* The line between a page and its server: what the page says and does where an answer does not come, or is not the one that it needs. */
(function () {
  "use strict";

  var CALL = "/_dash-update-component";
  var RENEWED = "driftbook-renewed";
  var FIRST_WAIT = 1500; /* milliseconds until the server is asked whether it is there again */
  var LONGEST_WAIT = 15000;
  var BOOK_WAIT = 10000; /* milliseconds between two looks for a book that cannot be worked with */

  var ask = window.fetch;
  var away = false; /* the server did not answer, and the page waits for it */
  var stale = false; /* something that is shown waits for an answer that did not come */
  var leaving = false; /* the page is on its way to another: what it still asked for is cut off, and that says nothing */
  var LONGEST_LEAVE = 5000; /* milliseconds after which it stayed after all, as with a file that was taken along */

  function stay() {
    leaving = false;
  }

  function leave() {
    leaving = true;
    window.setTimeout(stay, LONGEST_LEAVE);
  }

  window.addEventListener("beforeunload", leave);
  window.addEventListener("pageshow", stay);

  /* Several calls may want the page to go at once: the first one leads, a second would break off its way. Tells whether it went. */
  function go(act) {
    if (leaving) {
      return false;
    }
    leave();
    act();
    return true;
  }

  function notice(said) {
    if (window.dash_clientside && window.dash_clientside.set_props) {
      window.dash_clientside.set_props("shell-notice", { children: said });
    }
  }

  function text(name) {
    var slot = document.getElementById("shell-notice");
    return (slot && slot.getAttribute("data-" + name)) || "";
  }

  /* What a call was to fill, what it was called by, and for which choices of the address; null where it is not for an address. */
  function read(init) {
    try {
      var call = JSON.parse(init.body);
      var search = [call.inputs || []].flat(2).find(function (one) {
        return one && one.id === "shell-url" && one.property === "search";
      });
      return { output: call.output || "", by: call.changedPropIds || [], search: search ? search.value || "" : null };
    } catch (error) {
      return { output: "", by: [], search: null };
    }
  }

  function tell(name, detail) {
    document.dispatchEvent(new CustomEvent(name, { detail: detail }));
  }

  /* What is typed on the Record page asks again by itself, and so does whoever looks for a machine or records a job. */
  function asks_again(call) {
    return (
      call.by.length > 0 &&
      call.by.every(function (one) {
        return /^(record-typed|record-send|shell-finder|record-choose)\./.test(one);
      })
    );
  }

  function again() {
    window.location.reload();
  }

  function to_sign_in(where) {
    var here = window.location.pathname + window.location.search;
    return go(function () {
      window.location.assign(where === "/sign-in" ? "/sign-in?next=" + encodeURIComponent(here) : where);
    });
  }

  /* Tell whether the page was not loaded again for this edition yet: where two servers differ it would go on for ever. */
  function first_time(edition) {
    try {
      var before = window.sessionStorage.getItem(RENEWED);
      window.sessionStorage.setItem(RENEWED, edition);
      return before !== edition;
    } catch (error) {
      return false; /* without a memory it cannot be told */
    }
  }

  /* Whoever goes to another page gets it from the new program at once; a page that is worked on stays until its reader loads it again. */
  function renewed(said, call) {
    var goes = call.output.indexOf("..shell-content.children.") === 0 && first_time(said.edition) && go(again);
    if (!goes) {
      notice(said.notice);
    }
  }

  function refused(answer, call) {
    answer
      .clone()
      .json()
      .then(function (said) {
        if (answer.status === 401 && said.sign_in) {
          if (!to_sign_in(said.sign_in)) {
            notice(said.notice);
          }
        } else if (answer.status === 409 && said.edition) {
          renewed(said, call);
        } else {
          notice(said.notice || text("failed"));
        }
      })
      .catch(function () {
        notice(text("failed"));
      });
  }

  function lost(call) {
    stale = stale || !asks_again(call);
    if (!away) {
      away = true;
      notice(text("away"));
      window.setTimeout(look, FIRST_WAIT, FIRST_WAIT);
    }
  }

  function look(waited) {
    var longer = Math.min(waited * 1.5, LONGEST_WAIT);
    ask("/healthz", { cache: "no-store" })
      .then(function (answer) {
        if (answer.status >= 500 || (stale && !go(again))) {
          window.setTimeout(look, longer, longer);
        } else if (!stale) {
          away = false;
          notice(null);
          tell("driftbook-answers", null);
        }
      })
      .catch(function () {
        window.setTimeout(look, longer, longer);
      });
  }

  /* A page on which it says that the book cannot be worked with: it comes by itself when the book is there, unless its reader is typing. */
  function look_for_book() {
    var field = document.activeElement;
    if (document.querySelector("main .waits-for-book") && !(field && /^(INPUT|TEXTAREA|SELECT)$/.test(field.tagName) && field.value)) {
      ask("/readyz", { cache: "no-store" }).then(function (answer) {
        if (answer.ok && document.querySelector("main .waits-for-book")) {
          go(again);
        }
      }, function () {});
    }
  }

  window.setInterval(look_for_book, BOOK_WAIT);

  window.fetch = function (where, init) {
    if (String(where).indexOf(CALL) < 0 || !init) {
      return ask.apply(this, arguments);
    }
    var call = read(init);
    tell("driftbook-asked", { output: call.output });
    var headers = new Headers(init.headers);
    headers.set("X-Driftbook-Edition", document.documentElement.getAttribute("data-edition") || "");
    return ask.call(this, where, Object.assign({}, init, { headers: headers })).then(
      function (answer) {
        if (answer.status >= 502) {
          lost(call); /* a server in front says so for the one behind */
        } else if (answer.status >= 400) {
          refused(answer, call);
        }
        if (answer.status >= 400) {
          tell("driftbook-unanswered", { output: call.output, done: answer.status >= 500 ? null : false });
        } else if (call.search !== null) {
          tell("driftbook-answered", { output: call.output, search: call.search });
        }
        return answer;
      },
      function (fault) {
        if (fault.name !== "AbortError") {
          if (!leaving) {
            lost(call);
          }
          tell("driftbook-unanswered", { output: call.output, done: null });
        }
        throw fault;
      }
    );
  };
})();
