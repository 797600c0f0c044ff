/* A link to a part of a page leads there once that part is drawn: the answer comes after the address, and a link goes to the top. */
(function () {
  "use strict";

  var wanted = window.location.hash;

  function arrive() {
    var part = wanted && document.getElementById(wanted.slice(1));
    if (!part) {
      return;
    }
    wanted = "";
    if (part.getBoundingClientRect().top > 0.75 * window.innerHeight) {
      part.scrollIntoView(); /* what is in sight below what was pressed stays there */
    }
  }

  document.addEventListener("click", function (event) {
    var link = event.target instanceof Element ? event.target.closest("a[href]") : null;
    if (link !== null && !event.ctrlKey && !event.metaKey && !event.shiftKey && event.button === 0) {
      wanted = link.hash;
      window.setTimeout(arrive, 0);
    }
  });
  new MutationObserver(arrive).observe(document.body, { childList: true, subtree: true });
})();
