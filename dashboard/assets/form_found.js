/* The drafts that lie in this browser, named where a machine is chosen: two half-done machines a morning are usual. */
(function () {
  "use strict";

  var drafts = window.driftbookDrafts;

  function when(at, zone) {
    var moment = new Date(at);
    if (isNaN(moment)) {
      return "";
    }
    var parts = {};
    try {
      new Intl.DateTimeFormat("en-GB", {
        timeZone: zone, day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit", hourCycle: "h23"
      })
        .formatToParts(moment)
        .forEach(function (part) {
          parts[part.type] = part.value;
        });
    } catch (error) {
      return at.slice(0, 16).replace("T", " ") + " UTC"; /* a zone that this browser does not know */
    }
    return parts.day + " " + parts.month.slice(0, 3) + " " + parts.year + ", " + parts.hour + ":" + parts.minute;
  }

  function worded(text, given) {
    return text.replace(/\{(\w+)\}/g, function (_all, name) {
      return given[name];
    });
  }

  /* The keys are made by dashboard/recording.py: site/tag/new, or site/tag/entry-leaf; a tag may hold a slash. */
  function parted(key, site) {
    var end = key.lastIndexOf("/");
    if (key.indexOf(site + "/") !== 0 || end <= site.length) {
      return null;
    }
    return { tag: key.slice(site.length + 1, end), entry: key.slice(end + 1).split("-")[0] };
  }

  function line(at, one) {
    var item = document.createElement("li");
    var link = document.createElement("a");
    var amends = one.of.entry !== "new";
    var text = at.getAttribute(amends ? "data-amends" : "data-job");
    link.href = at.getAttribute(amends ? "data-amend-at" : "data-record-at") + encodeURIComponent(amends ? one.of.entry : one.of.tag);
    link.textContent = worded(text, { tag: one.of.tag, entry: one.of.entry });
    item.appendChild(link);
    item.appendChild(document.createTextNode(", " + when(one.at, at.getAttribute("data-zone"))));
    return item;
  }

  function show() {
    var at = document.getElementById("record-drafts");
    if (at === null || at.hasAttribute("data-shown")) {
      return;
    }
    at.setAttribute("data-shown", "yes");
    var list = document.createElement("ul");
    drafts
      .all()
      .map(function (one) {
        return { of: parted(one.key, at.getAttribute("data-site")), at: one.at };
      })
      .filter(function (one) {
        return one.of !== null;
      })
      .sort(function (one, other) {
        return one.at < other.at ? 1 : -1;
      })
      .forEach(function (one) {
        list.appendChild(line(at, one));
      });
    if (list.childNodes.length) {
      at.appendChild(list);
      at.hidden = false;
    }
  }

  new MutationObserver(show).observe(document.body, { childList: true, subtree: true });
})();
