/* The Record page: collects what is typed, keeps the draft in this browser, and writes beside each field how it was understood. */
(function () {
  "use strict";

  var PREFIX = "driftbook-draft:";
  var NAME = "driftbook-name";
  var WAIT = 220; /* milliseconds without a key before the numbers are asked for */

  var kept = {}; /* every text of the form by its name, also of fields that are not shown just now */
  var latest = {}; /* the same as of the last key, before the numbers were asked for */
  var here = null; /* which draft this is, and in which units it is typed */
  var timer = null;
  var sending = false;

  function store(act) {
    try {
      return act(window.localStorage);
    } catch (error) {
      return null; /* storage may be forbidden or full: then there is no draft, and that is all */
    }
  }

  function form() {
    return document.getElementById("record-form");
  }

  function each(selector, act) {
    var root = form();
    if (root !== null) {
      Array.prototype.forEach.call(root.querySelectorAll(selector), act);
    }
  }

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

  function ask(fields) {
    kept = fields;
    window.dash_clientside.set_props("record-typed", { data: fields });
  }

  function later() {
    window.clearTimeout(timer);
    timer = window.setTimeout(function () {
      if (form() !== null && document.getElementById("record-sections") !== null) {
        ask(collect());
      }
    }, WAIT);
  }

  function keep(fields) {
    if (here === null) {
      return;
    }
    var draft = { units: here.units, temperature: here.temperature, at: new Date().toISOString(), fields: fields };
    store(function (storage) {
      storage.setItem(PREFIX + here.key, JSON.stringify(draft));
    });
  }

  function reshape(stage) {
    window.clearTimeout(timer);
    var fields = collect();
    ask(fields);
    keep(fields);
    window.dash_clientside.set_props("record-shape", { data: { stage: stage, fields: fields } });
  }

  function changed(event) {
    var root = form();
    if (root === null || !root.contains(event.target)) {
      return;
    }
    var name = event.target.getAttribute("name") || "";
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
    keep(latest);
    later();
  }

  function write(field, text) {
    /* The field belongs to the page's own script: its value is changed as by a key. */
    var owner = field.tagName === "TEXTAREA" ? window.HTMLTextAreaElement : window.HTMLInputElement;
    Object.getOwnPropertyDescriptor(owner.prototype, "value").set.call(field, text);
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  /* What was handed in was not answered: the button works again; where it may have been done (null) nothing is certain. */
  document.addEventListener("driftbook-unanswered", function (event) {
    var slot = document.getElementById("shell-notice");
    if (event.detail.output === "record-answer.children" && sending) {
      window.dash_clientside.driftbook.record_answered(null);
      if (event.detail.done === null) {
        window.dash_clientside.set_props("record-answer", { children: slot.getAttribute("data-unsaved") });
      }
    }
  });
  document.addEventListener("driftbook-answers", function () {
    if (form() !== null) {
      later();
    }
  });

  document.addEventListener("input", changed);
  document.addEventListener("change", changed);
  document.addEventListener("click", function (event) {
    var more = event.target.closest === undefined ? null : event.target.closest("[data-more]");
    if (more !== null) {
      var stage = more.getAttribute("data-more");
      kept = Object.assign(collect());
      kept[stage + ".places"] = more.getAttribute("data-places");
      reshape(stage);
    }
  });

  function paint(said) {
    each("[data-said]", function (slot) {
      var name = slot.getAttribute("data-said");
      var told = said[name] || [];
      var lines = told.map(function (one) {
        return one[0] + "\u0000" + one[1];
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

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.driftbook = Object.assign({}, window.dash_clientside.driftbook, {
    record_draft: function (key) {
      if (!key) {
        return window.dash_clientside.no_update;
      }
      here = key;
      latest = {};
      sending = false;
      var text = store(function (storage) {
        return storage.getItem(PREFIX + key.key);
      });
      var draft = {};
      try {
        draft = JSON.parse(text || "{}");
      } catch (error) {
        draft = {};
      }
      draft.by =
        store(function (storage) {
          return storage.getItem(NAME);
        }) || "";
      draft.asked = Date.now();
      return draft;
    },
    record_keep: function (fields) {
      if (fields) {
        kept = fields;
      }
      return Object.keys(kept).length;
    },
    record_settle: function () {
      /* Fields that came just now bring values of their own. */
      window.setTimeout(function () {
        if (document.getElementById("record-sections") !== null) {
          var fields = collect();
          if (!same(fields, kept)) {
            ask(fields);
          }
        }
      }, 60);
    },
    record_restore: function () {
      /* A list of reasons was made anew while one of them was being typed: the newest text stays. */
      window.setTimeout(function () {
        each("#record-reasons input[name]", function (field) {
          var text = latest[field.name];
          if (text !== undefined && text !== field.value) {
            write(field, text);
          }
        });
      }, 0);
    },
    record_paint: function (said) {
      paint(said || {});
    },
    record_send: function (clicks) {
      if (!clicks || sending) {
        return window.dash_clientside.no_update;
      }
      sending = true;
      window.clearTimeout(timer);
      var button = document.getElementById("record-save");
      button.setAttribute("aria-disabled", "true");
      var fields = collect();
      keep(fields);
      return { fields: fields, n: clicks };
    },
    record_answered: function (answer) {
      sending = false;
      var button = document.getElementById("record-save");
      if (button !== null) {
        button.removeAttribute("aria-disabled");
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
    record_done: function (key) {
      if (!key) {
        return window.dash_clientside.no_update;
      }
      here = null;
      sending = false;
      kept = {};
      store(function (storage) {
        storage.removeItem(PREFIX + key);
      });
      window.setTimeout(function () {
        var head = document.getElementById("record-confirmed");
        if (head !== null) {
          head.focus();
        }
      }, 30);
      return true;
    },
    record_discard: function (clicks) {
      if (!clicks || here === null) {
        return;
      }
      var key = here;
      window.clearTimeout(timer);
      kept = {};
      store(function (storage) {
        storage.removeItem(PREFIX + key.key);
      });
      window.dash_clientside.set_props("record-key", { data: Object.assign({}, key, { again: Date.now() }) });
    }
  });
})();
