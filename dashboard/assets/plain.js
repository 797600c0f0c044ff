/* A form of a plain page is sent once: a second press would be told that it is done already, and what is shown once would be gone. */
(function () {
  "use strict";

  var PATIENCE = 20000; /* milliseconds after which it can be pressed again: the answer may be lost */
  var sent = [];

  document.addEventListener("submit", function (event) {
    var form = event.target;
    if (event.defaultPrevented || form.method !== "post") {
      return;
    }
    if (sent.indexOf(form) >= 0) {
      event.preventDefault();
      return;
    }
    sent.push(form);
    window.setTimeout(function () {
      sent = sent.filter(function (one) {
        return one !== form;
      });
    }, PATIENCE);
  });
  window.addEventListener("pageshow", function () {
    sent = [];
  });
})();
