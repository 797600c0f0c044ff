/* Drafts of the Record page in this browser, which its tabs share: none of them writes over what another one has typed since, without a word. */
(function () {
  "use strict";

  var PREFIX = "driftbook-draft:";

  var known = {}; /* the text of each draft as this tab read or wrote it last */

  function store(act) {
    try {
      return act(window.localStorage);
    } catch (error) {
      return null; /* storage may be forbidden or full: then there is no draft, and that is all */
    }
  }

  function peek(key) {
    return store(function (storage) {
      return storage.getItem(PREFIX + key);
    });
  }

  function hold(key, draft) {
    var text = JSON.stringify(draft);
    store(function (storage) {
      storage.setItem(PREFIX + key, text);
      known[key] = text;
    });
  }

  function drop(key) {
    delete known[key];
    store(function (storage) {
      storage.removeItem(PREFIX + key);
    });
  }

  window.driftbookDrafts = {
    store: store,
    hold: hold, /* write it, whatever stands there */
    drop: drop,
    read: function (key) {
      var text = peek(key);
      known[key] = text;
      try {
        return JSON.parse(text || "{}");
      } catch (error) {
        return {};
      }
    },
    /* Write it, unless another tab wrote since. Tells whether it is kept, as far as anything is kept here. */
    write: function (key, draft) {
      var there = peek(key);
      if (there !== null && there !== known[key]) {
        return false;
      }
      hold(key, draft);
      return true;
    },
    /* Every draft of this browser with the moment at which it was kept, in any order. */
    all: function () {
      return (
        store(function (storage) {
          return Object.keys(storage)
            .filter(function (key) {
              return key.indexOf(PREFIX) === 0;
            })
            .map(function (key) {
              var at = "";
              try {
                at = String(JSON.parse(storage.getItem(key)).at || "");
              } catch (error) {
                at = ""; /* not written by this page */
              }
              return { key: key.slice(PREFIX.length), at: at };
            });
        }) || []
      );
    },
    has: function (key) {
      return peek(key) !== null;
    },
    /* Give the text that this tab read or wrote last, and take a draft away only where it is still that text. */
    written: function (key) {
      return known[key];
    },
    drop_if: function (key, text) {
      if (text && peek(key) === text) {
        drop(key);
      }
    },
    /* Hear of it when another tab writes a draft or takes it away. */
    watch: function (heard) {
      window.addEventListener("storage", function (event) {
        if (event.key !== null && event.key.indexOf(PREFIX) === 0) {
          heard(event.key.slice(PREFIX.length), event.newValue === null);
        }
      });
    }
  };
})();
