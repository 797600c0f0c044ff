/* The Record page: collects what is typed, keeps the draft in this browser, and writes beside each field how it was understood. */
(function () {
  "use strict";

  var NAME = "driftbook-name";
  var STAGES = ["found", "left"];
  var SURE = 8000; /* milliseconds in which a draft can be thrown away by a second touch */
  var WAIT = 220; /* milliseconds without a key before the numbers are asked for */

  var kept = {}; /* every text of the form by its name, also of fields that are not shown just now */
  var latest = {}; /* the same as of the last key, before the numbers were asked for */
  var here = null; /* which draft this is, and in which units it is typed */
  var ways = {}; /* by stage the last way of measuring with dials whose fields came: what stands in them was typed for it */
  var begun = ""; /* how far the story of the machine went when what stands here was begun */
  var timer = null;
  var reshaping = []; /* the stages whose fields are on their way */

  var drafts = window.driftbookDrafts;
  var answers = window.driftbookAnswers;
  var handing = window.driftbookHanding;
  var filling = window.driftbookFilling;
  var write = filling.write;
  var store = drafts.store;
  var form = answers.form;
  var each = answers.each;

  function collect() {
    var fields = Object.assign({}, kept);
    each("input[name], select[name], textarea[name]", function (one) {
      fields[one.name] = one.value;
    });
    each("[data-tick]", function (one) {
      var box = one.querySelector("input");
      fields[one.getAttribute("data-tick")] = box !== null && box.checked ? "yes" : "";
    });
    return fields;
  }

  function same(one, other) {
    var names = Object.keys(Object.assign({}, one, other));
    return names.every(function (name) {
      return (one[name] || "") === (other[name] || "");
    });
  }

  /* Texts with the address for which the form was made: that of the moment may be the next page's already. */
  function made_for(fields) {
    return Object.assign({}, fields, here === null ? {} : { of: here.of });
  }

  function ask(fields) {
    kept = fields;
    window.dash_clientside.set_props("record-typed", { data: Object.assign(made_for(fields), { asked: answers.asking(fields) }) });
  }

  function ask_again() {
    if (form() !== null && document.getElementById("record-sections") !== null) {
      ask(collect());
    }
  }

  function has_dials(way) {
    return Boolean(way) && ["results", "none", "same"].indexOf(way) < 0;
  }

  function ways_came() {
    STAGES.forEach(function (stage) {
      var way = kept[stage + ".method"];
      ways[stage] = has_dials(way) ? way : ways[stage] || "";
    });
  }

  function later() {
    window.clearTimeout(timer);
    timer = window.setTimeout(ask_again, WAIT);
  }

  function draft_of(fields) {
    return {
      units: here.units,
      temperature: here.temperature,
      at: new Date().toISOString(),
      begun: begun,
      ways: Object.assign({}, ways),
      fields: fields
    };
  }

  /* Tells whether the draft is kept: what another tab has typed since is not written over. */
  function keep(fields) {
    if (here === null) {
      return false;
    }
    if (handing.holds(here.key, fields)) {
      return true;
    }
    var well = drafts.write(here.key, draft_of(fields));
    two_tabs(!well);
    return well;
  }

  function two_tabs(there) {
    var said = document.getElementById("record-tabs");
    if (said !== null && said.hidden === there) {
      said.hidden = !there;
    }
  }

  drafts.watch(function (key, gone) {
    if (here !== null && here.key === key) {
      two_tabs(!gone);
    }
  });

  /* Other fields are on their way; the numbers are asked for when they are there, with what stands in them. */
  function reshape(stage) {
    window.clearTimeout(timer);
    var fields = collect();
    kept = fields;
    answers.touched(collect);
    keep(fields);
    /* Dash drops an older call for a newer one: that asks for both, then. */
    if (reshaping.indexOf(stage) < 0) {
      reshaping.push(stage);
    }
    untouched(true);
    window.dash_clientside.set_props("record-shape", {
      data: { stage: reshaping.join(" "), fields: made_for(fields), was: Object.assign({}, ways) }
    });
  }

  /* Fields that are on their way out take nothing any more: it would be gone with them. */
  function untouched(yes) {
    STAGES.forEach(function (stage) {
      var part = document.getElementById("record-measure-" + stage);
      if (part !== null) {
        part.toggleAttribute("inert", yes && reshaping.indexOf(stage) >= 0);
      }
    });
  }

  function reshaped() {
    reshaping = [];
    untouched(false);
  }

  function story_of(of) {
    return new URLSearchParams(of).get("story") || "";
  }

  /* A draft that comes back was begun when the machine's story ended earlier than this form knows: both are said. */
  function with_begun(of) {
    of = of.replace(/&begun=[^&]*/, "");
    return begun === story_of(of) ? of : of + "&begun=" + encodeURIComponent(begun);
  }

  function begin_again() {
    window.clearTimeout(timer);
    kept = {};
    window.dash_clientside.set_props("record-key", { data: Object.assign({}, here, { again: Date.now() }) });
  }

  handing.attach({
    same: same,
    collect: collect,
    keep: keep,
    made_for: made_for,
    later: later,
    here: function () {
      return here;
    },
    /* The job itself is handed in: its numbers are not asked for meanwhile. */
    wait: function () {
      window.clearTimeout(timer);
    },
    /* What was typed is in the book. */
    left: function () {
      here = null;
      kept = {};
    }
  });

  function changed(event) {
    var root = form();
    if (root === null || !root.contains(event.target)) {
      return;
    }
    var name = event.target.getAttribute("name") || "";
    handing.typed();
    if (event.type === "change" && /^(found|left)\.method$/.test(name)) {
      reshape(name.split(".")[0]);
      return;
    }
    if (name === "by") {
      store(function (storage) {
        storage.setItem(NAME, event.target.value);
      });
    }
    latest = collect();
    answers.touched(collect);
    keep(latest);
    later();
  }

  document.addEventListener("driftbook-unanswered", function (event) {
    if (event.detail.output.indexOf("record-measure-") >= 0) {
      reshaped();
    }
  });
  document.addEventListener("driftbook-answers", function () {
    if (form() !== null) {
      later();
    }
  });

  document.addEventListener("input", changed);
  document.addEventListener("change", changed);

  /* What is typed here goes on as the draft of an amendment, unless one was begun already; then it stays where it is. */
  function hand_over(key) {
    if (here !== null && !drafts.has(key)) {
      window.clearTimeout(timer);
      drafts.hold(key, draft_of(collect()));
      if (drafts.has(key)) {
        drafts.drop_if(here.key, drafts.written(here.key));
        here = null;
      }
    }
  }

  /* The job number goes with the time until somebody types another one. */
  function follow(ref) {
    var field = document.getElementById("rf-ref");
    if (ref && field !== null && field.value === kept["ref.proposed"]) {
      kept["ref.proposed"] = ref;
      write(field, ref);
    }
  }

  var taps = {
    put: filling.put,
    more: function (places, at) {
      var stage = at.getAttribute("data-more");
      kept = collect();
      kept[stage + ".places"] = at.getAttribute("data-places");
      reshape(stage);
    },
    /* Gloves and a small screen: it takes a second touch, within a few seconds. */
    discard: function (_which, at) {
      var before = at.textContent;
      if (here !== null && !at.hasAttribute("data-asked")) {
        at.setAttribute("data-asked", "yes");
        at.textContent = at.getAttribute("data-sure");
        window.setTimeout(function () {
          at.removeAttribute("data-asked");
          at.textContent = before;
        }, SURE);
      } else if (here !== null) {
        drafts.drop_if(here.key, drafts.written(here.key));
        begin_again();
      }
    },
    draft: function (which) {
      if (here !== null && which === "take") {
        begin_again();
      } else if (here !== null) {
        drafts.hold(here.key, draft_of(collect()));
        two_tabs(false);
      }
    },
    handover: hand_over
  };

  /* Before the page's own script hears it: a link is on its way to another page then. */
  document.addEventListener(
    "click",
    function (event) {
      Object.keys(taps).forEach(function (name) {
        var at = event.target.closest === undefined ? null : event.target.closest("[data-" + name + "]");
        if (at !== null && form() !== null && form().contains(at)) {
          taps[name](at.getAttribute("data-" + name), at, event.detail === 0);
        }
      });
    },
    true
  );

  function paint(said) {
    each("[data-said]", function (slot) {
      var name = slot.getAttribute("data-said");
      var told = said[name] || [];
      var lines = told.map(function (one) {
        return one[0] + "\u0000" + one[1] + "\u0000" + JSON.stringify(one[2] || "");
      });
      if (slot.getAttribute("data-told") === lines.join("\u0001")) {
        return;
      }
      slot.setAttribute("data-told", lines.join("\u0001"));
      slot.textContent = "";
      told.forEach(function (one) {
        var line = document.createElement("span");
        line.className = "told told-" + one[0];
        line.textContent = one[1];
        slot.appendChild(line);
        (one[2] || []).forEach(function (answer) {
          var button = document.createElement("button");
          button.type = "button";
          button.className = "small-button";
          button.textContent = answer[0];
          button.setAttribute("data-put", answer[1]);
          slot.appendChild(button);
        });
      });
      var field = document.getElementById(slot.id.replace(/^rs-/, "rf-"));
      if (field !== null) {
        field.setAttribute("aria-describedby", slot.id);
        field.setAttribute(
          "aria-invalid",
          told.some(function (one) {
            return one[0] === "bad" || one[0] === "stop";
          })
            ? "true"
            : "false"
        );
      }
    });
  }

  /* A list of reasons that is made anew holds what was typed when it was asked for: the newest text stays. */
  new MutationObserver(function () {
    each("#record-reasons input[name]", function (field) {
      var text = latest[field.name];
      if (text !== undefined && text !== field.value) {
        write(field, text);
      }
    });
  }).observe(document.body, { childList: true, subtree: true });

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.driftbook = Object.assign({}, window.dash_clientside.driftbook, {
    record_draft: function (key) {
      if (!key) {
        return window.dash_clientside.no_update;
      }
      latest = {};
      handing.began();
      ways = {};
      reshaping = [];
      var draft = drafts.read(key.key);
      begun = draft.begun || story_of(key.of);
      here = Object.assign({}, key, { of: with_begun(key.of) });
      draft.of = here.of;
      draft.by =
        store(function (storage) {
          return storage.getItem(NAME);
        }) || "";
      draft.asked = Date.now();
      return draft;
    },
    record_keep: function (fields) {
      if (fields) {
        kept = Object.assign({}, fields);
        delete kept.asked;
        delete kept.of;
        if (fields.asked === undefined) {
          /* A form that came just now: it asks by itself. */
          answers.began(kept, ask_again);
          ways_came();
        }
      }
      return Object.keys(kept).length;
    },
    record_settle: function () {
      reshaped();
      /* Fields that came just now bring values of their own. */
      window.setTimeout(function () {
        if (document.getElementById("record-sections") !== null) {
          var fields = collect();
          var news = !same(fields, kept);
          ask(fields);
          ways_came();
          if (news) {
            keep(fields);
          }
        }
      }, 60);
    },
    record_paint: function (said) {
      if (said) {
        paint(said.fields || {});
        follow(said.ref);
        answers.answered(said.asked, collect);
      }
    },
    record_chanced: function (part) {
      if (part && part.props) {
        answers.chanced(part.props["data-asked"]);
      }
    }
  });
})();
